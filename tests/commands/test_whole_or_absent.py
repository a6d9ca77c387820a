"""What a command writes is whole or absent, and stands as it was where the disk is full."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest
from demo_station import build_trial_station

ARMS = ("--arm", "single 8=8", "--arm", "single 12=12", "--difference", "0.2")


@pytest.fixture
def full(monkeypatch):
    """A disk that takes nothing more."""

    def put(_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", put)


def contents(place: Path) -> dict[str, bytes]:
    return {
        path.relative_to(place).as_posix(): path.read_bytes()
        for path in sorted(place.rglob("*"))
        if path.is_file() and not path.is_symlink()
    }


@pytest.mark.usefixtures("full")
@pytest.mark.parametrize("name", ["new", "demo"])
def test_a_station_is_made_whole_or_not_at_all(command, tmp_path, name):
    ran = command(name, tmp_path / "station")
    assert ran.code == 2
    assert str(tmp_path / "station") in ran.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["new", "demo"])
@pytest.mark.parametrize("place", ["typo/station", "other/records/station"])
def test_a_station_is_not_made_where_none_may_stand(command, tmp_path, name, place):
    assert command("new", tmp_path / "other").code == 0
    before = contents(tmp_path)
    ran = command(name, tmp_path / place)
    assert ran.code == 2
    assert "not there" in ran.err or "nothing is written into records/" in ran.err
    assert contents(tmp_path) == before


def test_the_new_station_s_secret_is_its_owner_s_and_the_demo_s_everybody_s(
    command, tmp_path
):
    keys = []
    for number, name in enumerate(["new", "new", "demo", "demo"]):
        place = tmp_path / str(number)
        assert command(name, place).code == 0
        assert (place / "pseudonyms.key").stat().st_mode & 0o777 == 0o600
        keys.append((place / "pseudonyms.key").read_text("utf-8"))
    assert keys[0] != keys[1]
    assert keys[2] == keys[3]


@pytest.mark.parametrize(
    ("name", "flag"),
    [
        ("due", "--csv"),
        ("due", "--ics"),
        ("plan", "--csv"),
        ("plan", "--sheet"),
        ("export", None),
        ("build", "--pseudonyms"),
    ],
)
def test_a_folder_that_is_not_there_is_refused(command, station, name, flag):
    target = station / "typo" / "out"
    ran = command(name, station, *([flag] if flag else []), target)
    assert ran.code == 2
    assert "the folder to write into is not there" in ran.err
    assert not (station / "typo").exists()


@pytest.fixture(scope="module")
def finished(shared, tmp_path_factory):
    source = shared.folder("trial_station", build_trial_station)
    place = tmp_path_factory.mktemp("full") / "station"
    return shutil.copytree(source, place, symlinks=True)


@pytest.mark.slow
@pytest.mark.usefixtures("full")
@pytest.mark.parametrize(
    "words",
    [
        ("due", "--csv", "due.csv", "--ics", "due.ics"),
        ("plan", *ARMS, "--csv", "list.csv", "--sheet", "sheet.html"),
        ("export", "out"),
        ("export", "--format", "csv", "out"),
        ("audit", "--operator", "Ash"),
        ("compare",),
        ("sheets",),
    ],
    ids=lambda words: " ".join(words[:3]),
)
def test_a_full_disk_leaves_everything_as_it_was(
    command, finished, words, monkeypatch, tmp_path
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "due.csv").write_text("earlier", encoding="utf-8")
    before = contents(finished), contents(tmp_path)
    name, *rest = words
    ran = command(name, finished, *rest)
    assert ran.code == 2
    assert "No space left" in ran.err
    assert ".queen-outcomes-" not in ran.err
    assert (contents(finished), contents(tmp_path)) == before


@pytest.mark.usefixtures("full")
def test_a_full_disk_leaves_the_settings_as_they_were(command, station):
    rows = "".join(f"Q{n},2026-05-{n:02d},Ada\n" for n in range(1, 15))
    (station / "records" / "bench.csv").write_text(f"Queen,Date,Operator\n{rows}")
    before = contents(station)
    ran = command("map", station, "--accept")
    assert (ran.code, "station.toml" in ran.err) == (2, True)
    assert contents(station) == before
