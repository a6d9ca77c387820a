"""No command writes into a station's records, builds or seasons because a flag names them."""

from __future__ import annotations

import pytest

FLAGS = [
    ("due", "--csv"),
    ("due", "--ics"),
    ("plan", "--csv"),
    ("plan", "--sheet"),
    ("export", None),
]


@pytest.mark.parametrize("kept", ["records", "build", "seasons"])
@pytest.mark.parametrize(("name", "flag"), FLAGS)
def test_a_kept_folder_is_refused(command, station, name, flag, kept):
    target = station / kept / "new"
    before = sorted(station.rglob("*"))
    ran = command(name, station, *([flag] if flag else []), target)
    assert ran.code == 2
    assert f"nothing is written into {kept}/" in ran.err
    assert str(target) in ran.err
    assert sorted(station.rglob("*")) == before


@pytest.mark.parametrize("lead", ["link", "dots", "itself"])
def test_no_way_round_leads_there(command, station, tmp_path, lead):
    (tmp_path / "aside").symlink_to(station / "records")
    target = {
        "link": tmp_path / "aside" / "due.csv",
        "dots": station / "blanks" / ".." / "records" / "due.csv",
        "itself": station / "records",
    }[lead]
    ran = command("export", station, target)
    assert ran.code == 2
    assert "nothing is written into records/" in ran.err


def test_a_place_beside_them_is_not_refused(command, station):
    ran = command("due", station, "--csv", station / "due.csv")
    assert ran.code == 2
    assert "there is no build yet" in ran.err
