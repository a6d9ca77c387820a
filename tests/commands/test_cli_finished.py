"""`due`, `explain` and `export`: what they read, print and refuse."""

from __future__ import annotations

import csv
import json

import pytest
from queen_outcomes.outcomes import explain as trail


@pytest.fixture
def built(command, station, small_steps, due_row):
    late = due_row | {"queen_id": "Q0", "course_id": "Q0/1", "status": "missed"}
    small_steps["due"] = [late, due_row]
    assert command("build", station).code == 0
    return station


@pytest.mark.parametrize("words", [["due"], ["explain", "Q1"], ["export", "out"]])
def test_without_a_build_the_command_to_run_is_told(
    command, station, words, monkeypatch
):
    monkeypatch.chdir(station)
    ran = command(*words)
    assert (ran.code, ran.out) == (2, "")
    assert "`queen-outcomes build`" in ran.err


def test_due_prints_due_before_missed_and_the_day_on_stderr(command, built):
    ran = command("due", built)
    assert ran.err == "as of 2026-07-01\n"
    assert [line.split()[0] for line in ran.out.splitlines()] == [
        "queen_id",
        "Q1",
        "Q0",
    ]


def test_newer_records_are_told_with_the_command(command, built):
    (built / "records" / "checks.csv").write_text("a", encoding="utf-8")
    assert f"run queen-outcomes build {built}" in command("due", built).err


def test_due_as_json_is_a_list_of_rows(command, built):
    rows = json.loads(command("--json", "due", built).out)
    assert [row["on"] for row in rows] == ["2026-07-03", "2026-07-03"]


def test_due_writes_calendar_and_csv_and_prints_their_paths(command, built, tmp_path):
    ics, table = tmp_path / "due.ics", tmp_path / "due.csv"
    ran = command("due", built, "--ics", ics, "--csv", table)
    assert ran.out == f"{ics}\n{table}\n"
    assert ics.read_bytes().count(b"BEGIN:VEVENT\r\n") == 1
    with table.open(encoding="utf-8", newline="") as file:
        assert [row["queen_id"] for row in csv.DictReader(file)] == ["Q1", "Q0"]


def test_a_file_in_a_folder_there_is_not_is_no_bug(command, built, tmp_path):
    ran = command("due", built, "--ics", tmp_path / "none" / "due.ics")
    assert ran.code == 2
    assert "Traceback" not in ran.err


def test_explain_prints_each_section(command, built, monkeypatch):
    rows = [["checks.csv:2", "eggs\x1b[0m"]]
    sections = [
        {"title": "Records", "columns": ["where", "what"], "rows": rows},
        {"title": "Outcomes", "columns": [], "rows": []},
    ]
    told = {"queen_id": "Q1", "sections": sections}
    monkeypatch.setattr(trail, "explain", lambda *_, **__: told)
    ran = command("explain", built, "Q1")
    assert "Records\nwhere         what\nchecks.csv:2  eggs\\u001b[0m\n" in ran.out
    assert ran.out.endswith("Outcomes\nnothing recorded\n")


def test_export_takes_the_folder_it_stands_in(command, built, tmp_path, monkeypatch):
    monkeypatch.chdir(built)
    ran = command("export", tmp_path / "out", "--format", "csv")
    assert ran.code == 0
    assert ran.out.splitlines()[-1].endswith("datapackage.json")


def test_too_many_words_are_refused(command):
    ran = command("export", "a", "b", "c")
    assert ran.code == 2
    assert "[DIR] DEST" in ran.err
