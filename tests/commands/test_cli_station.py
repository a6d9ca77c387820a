"""`new` and `demo`: the folders they make and refuse."""

from __future__ import annotations

import pytest
from queen_outcomes.base import resources
from queen_outcomes.facts.settings import load


def test_new_makes_settings_a_workbook_and_twins(command, tmp_path):
    ran = command("new", tmp_path / "mine")
    assert ran.code == 0
    names = [path.name for path in (tmp_path / "mine" / "records").iterdir()]
    assert names == ["records.xlsx"]
    assert (tmp_path / "mine" / "blanks" / "checks.csv").is_file()
    assert load(tmp_path / "mine").name == "Our station"
    assert "queen-outcomes build" in ran.err


def test_demo_copies_the_settings_and_every_record(command, tmp_path):
    ran = command("demo", tmp_path / "demo")
    assert ran.code == 0
    source = {path.name for path in (resources.folder("demo") / "records").iterdir()}
    copied = {path.name for path in (tmp_path / "demo" / "records").iterdir()}
    assert copied == source
    assert f"next: queen-outcomes build {tmp_path / 'demo'}" in ran.err


@pytest.mark.parametrize("name", ["new", "demo"])
def test_a_folder_with_files_is_refused_untouched(command, tmp_path, name):
    (tmp_path / "diary.txt").write_text("mine", encoding="utf-8")
    ran = command(name, tmp_path)
    assert ran.code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["diary.txt"]


@pytest.mark.slow
def test_a_station_right_after_new_builds_and_says_what_to_fill_in(command, tmp_path):
    place = tmp_path / "mine"
    assert command("new", place).code == 0
    ran = command("build", place)
    assert ran.code == 0
    assert f"there are no rows yet; fill in {place / 'records'}" in ran.err
    assert (place / "build" / "latest" / "dashboard" / "index.html").is_file()


@pytest.mark.slow
def test_the_blank_workbook_s_own_words_are_no_unread_table(command, tmp_path):
    place = tmp_path / "mine"
    assert command("new", place).code == 0
    assert "How to fill in" not in command("check", place).err
