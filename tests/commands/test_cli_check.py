"""`check`: the summary, the problems by kind, and the exit code."""

from __future__ import annotations

import json

import pytest


def problem(line, **other):
    row = {"source": "checks.csv", "line": line, "table": "checks"}
    said = {"reason": "no_date", "message": "no day: write the day of the look"}
    return {**row, **said, **other}


@pytest.fixture
def flawed(station, small_steps):
    counts = {"rows_read": 9, "accepted": 4, "quarantined": 5, "repeated": 0}
    small_steps["sources"] = [{"source": "checks.csv", "table": "checks", **counts}]
    small_steps["quarantine"] = [problem(line) for line in range(2, 7)]
    small_steps["listed"] = [problem(8, severity="look", reason="older_brood")]
    return station


def test_quarantined_rows_end_with_1(command, flawed):
    assert command("check", flawed).code == 1


def test_sound_records_end_with_0(command, station, small_steps):
    ran = command("check", station)
    assert ran.code == 0
    assert "nothing to mend" in ran.out


def test_the_summary_counts_each_source(command, flawed):
    lines = command("check", flawed).out.splitlines()
    assert lines[1].split() == ["checks.csv", "checks", "9", "4", "5", "0", "1"]


def test_problems_are_counted_by_kind_with_the_first_examples(command, flawed):
    out = command("check", flawed).out
    assert "no_date in checks: 5" in out
    assert "checks.csv:2  no day: write the day of the look" in out
    assert "and 2 more; --json gives all" in out
    assert out.index("no_date") < out.index("older_brood")


def test_json_gives_the_full_lists(command, flawed):
    told = json.loads(command("check", flawed, "--json").out)
    assert len(told["quarantine"]) == 5
    assert told["listed"][0]["reason"] == "older_brood"


def test_no_build_is_made(command, flawed):
    command("check", flawed)
    assert not (flawed / "build").exists()
