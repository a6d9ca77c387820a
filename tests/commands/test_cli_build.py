"""The weekly build, with small steps in place of the real ones."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from queen_outcomes.base import folders
from queen_outcomes.base.console import Console
from queen_outcomes.build import steps as weekly
from queen_outcomes.build import weekly as weekly_build
from queen_outcomes.facts import exports as contract

QUIET = Console(quiet=True)


def hashes(station):
    return folders.read_run(folders.latest(station / "build"))["results"]


@pytest.fixture
def built(command, station, small_steps, outcome):
    small_steps["outcomes"] = [outcome()]
    assert command("build", station).code == 0
    return station


def test_stdout_is_the_page_to_open_and_stderr_a_line_a_step(
    command, station, small_steps
):
    ran = command("build", station)
    assert ran.out == f"{station}/build/latest/dashboard/index.html\n"
    lines = [line.split()[0] for line in ran.err.splitlines()]
    assert lines[:5] == ["read", "check", "changes", "tables", "draw"]


def test_the_journal_tells_how_the_build_was_made(built):
    run = folders.read_run(built / "build" / "latest")
    assert run["as_of"] == "2026-07-01"
    assert run["settings"]["outcomes"]["laying_days"] == [21]
    assert set(run["files"]) == {"station.toml"}
    assert [step["step"] for step in run["steps"]][-2:] == ["draw", "close"]
    assert set(run["results"]) == set(contract.TABLES)
    assert {"version", "started", "python", "libraries"} <= set(run)


def test_the_flag_outranks_the_settings_day(command, built):
    command("build", built, "--as-of", "2026-06-01")
    assert folders.read_run(built / "build" / "latest")["as_of"] == "2026-06-01"


def test_without_any_day_it_is_today(built):
    (built / "station.toml").write_text("", encoding="utf-8")
    now = dt.datetime(2026, 8, 9, 23, 30, tzinfo=dt.UTC)
    assert weekly_build.build(built, QUIET, now=now).journal["as_of"] == "2026-08-09"


def test_the_same_records_give_the_same_tables(command, built):
    first = hashes(built)
    command("build", built)
    assert hashes(built) == first


def test_the_build_before_moves_to_the_history_trimmed(command, built):
    before = folders.latest(built / "build").name
    command("build", built)
    kept = built / "build" / "history" / before
    assert sorted(path.name for path in kept.iterdir()) == ["run.json", "tables"]


def test_the_history_keeps_what_the_settings_say(command, built):
    (built / "station.toml").write_text("[show]\nhistory_builds = 1\n")
    for _ in range(3):
        command("build", built)
    assert len(list((built / "build" / "history").iterdir())) == 1


def test_a_failed_build_leaves_latest_as_it_was(command, built, monkeypatch):
    def fail(_):
        raise OSError(28, "No space left on device")

    before = hashes(built)
    steps = (*weekly.STEPS[:-1], weekly.Step("draw", fail))
    monkeypatch.setattr(weekly, "STEPS", steps)
    ran = command("build", built)
    assert ran.code == 2
    assert "No space left" in ran.err
    assert hashes(built) == before


@pytest.mark.parametrize("link", ["lost", "dangling"])
def test_a_failed_build_without_the_link_destroys_nothing(
    command, built, monkeypatch, link
):
    last, before = folders.latest(built / "build").name, hashes(built)
    (built / "build" / "latest").unlink()
    if link == "dangling":
        (built / "build" / "latest").symlink_to("20200101T000000000000Z-abcdef")

    def fail(_):
        raise OSError(28, "No space left on device")

    steps = (*weekly.STEPS[:-1], weekly.Step("draw", fail))
    monkeypatch.setattr(weekly, "STEPS", steps)
    ran = command("build", built)
    assert ran.code == 2
    assert f"now leads to {last}" in ran.err
    assert hashes(built) == before
    assert (built / "build" / "latest" / "station.duckdb").is_file()


@pytest.mark.parametrize("link", ["lost", "dangling"])
def test_without_the_link_the_build_before_is_found_and_said(
    command, built, small_steps, outcome, link
):
    last = folders.latest(built / "build").name
    (built / "build" / "latest").unlink()
    if link == "dangling":
        (built / "build" / "latest").symlink_to("20200101T000000000000Z-abcdef")
    small_steps["outcomes"] = [outcome(state="no", settled_by=["checks.csv:9"])]
    ran = command("build", built)
    assert ran.code == 0
    assert f"now leads to {last}" in ran.err
    kept = built / "build" / "history" / last
    assert sorted(path.name for path in kept.iterdir()) == ["run.json", "tables"]
    steps = folders.read_run(built / "build" / "latest")["steps"]
    assert [step["rows"] for step in steps if step["step"] == "changes"] == [1]
    assert "leads to" not in command("build", built).err


def test_without_the_link_the_last_build_can_still_be_read(command, built):
    (built / "build" / "latest").unlink()
    assert "as of 2026-07-01" in command("due", built).err


def test_until_leaves_the_store_and_does_not_switch(command, built):
    before = folders.latest(built / "build")
    ran = command("build", built, "--until", "tables")
    assert ran.out.endswith("/station.duckdb\n")
    assert folders.latest(built / "build") == before
    assert (built / "build" / ran.out.strip().split("/")[-2]).is_dir()


def test_until_an_unknown_step_suggests_the_nearest(command, built):
    ran = command("build", built, "--until", "tabels")
    assert ran.code == 2
    assert "did you mean tables?" in ran.err


def test_a_second_build_says_who_holds_the_lock(command, built):
    with folders.hold(built / "build", dt.datetime.now(dt.UTC)):
        ran = command("build", built)
    assert ran.code == 2
    assert "process" in ran.err


def test_strict_ends_with_1_when_rows_were_quarantined(command, station, small_steps):
    source = {"source": "a.csv", "table": "checks", "rows_read": 2, "quarantined": 1}
    small_steps["sources"] = [source]
    assert command("build", station).code == 0
    assert command("build", station, "--strict").code == 1
    assert folders.latest(station / "build")


def test_json_gives_the_journal(command, built):
    assert json.loads(command("build", built, "--json").out)["as_of"] == "2026-07-01"


def test_changes_compare_with_the_build_before(command, built, small_steps, outcome):
    small_steps["outcomes"] = [outcome(state="no", settled_by=["checks.csv:9"])]
    command("build", built)
    rows = folders.read_run(built / "build" / "latest")["steps"]
    assert {
        step["step"]: step["rows"] for step in rows if step["step"] == "changes"
    } == {"changes": 1}


def test_a_station_path_with_brackets_is_no_pattern(command, built):
    odd = built.rename(built.with_name("bees [2026] it's"))
    command("build", odd)
    assert command("build", odd).code == 0
