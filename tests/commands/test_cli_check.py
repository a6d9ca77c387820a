"""`check`: what it prints, its JSON, and the exit code."""

from __future__ import annotations

import datetime as dt
import json
import os

import pytest
from queen_outcomes.base import console as terminal
from queen_outcomes.records import expectations

DONE = "queen_id,inseminated_at\nQ-1,2026-05-01\nQ-2,2026-05-02\n"
LOOKS = "queen_id,checked_on,eggs\nQ-1,2026-05-20,yes\nQ-2,2026-05-20,no\n"


def keep(station, inseminations=DONE, checks=LOOKS, **more):
    files = {"inseminations": inseminations, "checks": checks, **more}
    for name, text in files.items():
        (station / "records" / f"{name}.csv").write_text(text, "utf-8")
    return station


@pytest.fixture
def flawed(station):
    """Seventy-five checks of an id spelled otherwise, and one whose day nobody can read."""
    days = [dt.date(2026, 5, 3) + dt.timedelta(n // 2) for n in range(75)]
    looks = [f"q 0{1 + n % 2},{day},yes" for n, day in enumerate(days)]
    lines = [LOOKS.partition("\n")[0], *looks, "Q-1,after the rain,yes"]
    return keep(station, checks="\n".join(lines) + "\n")


def test_records_to_mend_end_with_1(command, flawed):
    assert command("check", flawed).code == 1


def test_sound_records_end_with_0_and_say_what_will_count(command, station):
    ran = command("check", keep(station))
    assert ran.code == 0
    assert "nothing to mend" in ran.out
    assert ran.out.splitlines()[-1] == (
        "2 queens, 2 checks and 0 exits will count, which is all there are."
    )


def test_the_summary_counts_each_source(command, flawed):
    lines = command("check", flawed).out.splitlines()
    counts = [line.split() for line in lines if line.startswith("checks.csv")]
    assert counts[0][:5] == ["checks.csv", "checks", "76", "75", "1"]


def test_one_fault_of_many_cells_is_told_once_with_the_setting(command, flawed):
    lines = command("check", flawed).out.splitlines()
    (first,) = [line for line in lines if "spelled otherwise" in line]
    assert first.startswith("  1. ")
    assert "checks reach no row of inseminations" in first
    at = lines.index(first)
    assert lines[at + 1] == "     at checks.csv:2, checks.csv:3 ..."
    assert lines[at + 3 : at + 5] == ["       [records]", '       fold = ["queen_id"]']
    assert sum("fold = " in line for line in lines) == 1


def test_an_unreadable_day_is_told_with_its_cause(command, flawed):
    out = command("check", flawed).out
    assert (
        'of 76 cells cannot be read: "after the rain", which is a text and no date'
        in out
    )
    assert "checks.csv:77" in out


def test_json_gives_the_same_as_data(command, flawed):
    told = json.loads(command("check", flawed, "--json").out)
    kinds = [piece["kind"] for piece in told["advice"]]
    assert kinds == ["spelled_otherwise", "unread_cells"]
    assert told["advice"][0]["count"] == 75
    assert told["advice"][0]["settings"] == ['[records]\nfold = ["queen_id"]']
    assert told["counted"]["checks"]["quarantined"] == 1
    assert told["closing"] in command("check", flawed).out
    assert [row["line"] for row in told["quarantine"]] == [77]


def test_what_would_refuse_a_build_ends_with_3_after_all_is_told(command, station):
    ran = command("check", keep(station, DONE.replace("2026", "26-13-")))
    assert ran.code == 3
    assert "no insemination can be used" in ran.err
    assert "will count" in ran.out


def test_a_fault_of_the_settings_ends_with_2(command, station):
    keep(station)
    (station / "station.toml").write_text("[records]\nfolds = []\n", "utf-8")
    ran = command("check", station)
    assert ran.code == 2
    assert 'did you mean "fold"?' in ran.err


MAPPED = """
[tables]
exits = "gone.csv"
[columns.exits]
left_on = "Day"
[[read]]
from = "looks.csv"
table = "checks"
each = ["1st", "2nd"]
[read.columns]
queen_id = "No."
checked_on = { from = "{} date", dates = "dmy" }
eggs = { from = "{} look", blank = "no" }
checker = { value = "Ada" }
"""


def test_mapping_tells_how_each_sheet_is_read_and_reads_no_row(command, station):
    keep(
        station,
        checks="queen_id,checked_on\n",
        looks="No.,1st date,1st look,2nd date,2nd look\nQ-1,never,x,,\n",
        gone="queen_id,Day\nQ-1,2026-06-01\n",
    )
    (station / "records" / "shopping.txt").write_text("sugar\n", "utf-8")
    with (station / "station.toml").open("a", encoding="utf-8") as file:
        file.write(MAPPED)
    ran = command("check", station, "--mapping")
    assert ran.code == 1
    told = ran.out.split("\n\n")
    assert (
        "looks.csv -> checks, record 2 of each row\n"
        '  queen_id = "No."\n'
        '  checked_on = "2nd date"  (dates dmy)\n'
        '  eggs = "2nd look"  (blank means no on rows with a date)\n'
        '  checker = always "Ada"'
    ) in told
    assert (
        'gone.csv -> exits\n  queen_id = "queen_id"\n  left_on = "Day"  (dates iso)'
        in told
    )
    assert "shopping.txt: not read" in ran.out
    data = json.loads(command("check", station, "--mapping", "--json").out)
    assert data["unread"] == ["shopping.txt"]
    assert {(r["source"], r["table"], r["slot"]) for r in data["mapping"]} >= {
        ("looks.csv", "checks", 1),
        ("looks.csv", "checks", 2),
        ("inseminations.csv", "inseminations", None),
    }


def test_expectations_count_only_where_that_is_asked(command, station, monkeypatch):
    asked = []
    monkeypatch.setattr(expectations, "verify", lambda *_: asked.append(True))
    assert command("check", keep(station)).code == 0
    assert asked == []
    assert command("check", station, "--verify").code == 0
    assert asked == [True]


def test_on_a_terminal_all_but_settings_keeps_to_80_columns(
    command, flawed, monkeypatch
):
    name = "the station's own list of checks in the yard, 2026.csv"
    (flawed / "records" / name).write_text("x\n", "utf-8")
    monkeypatch.setattr(terminal, "is_live", lambda _: True)
    size = os.terminal_size((80, 24))
    monkeypatch.setattr(terminal.shutil, "get_terminal_size", lambda *_, **__: size)
    lines = command("check", flawed).out.splitlines()
    long = [line for line in lines if len(line) > 80]
    assert len(lines) > 15
    assert [line for line in long if "ignore = " not in line] == []


def test_no_build_is_made(command, flawed):
    command("check", flawed)
    assert not (flawed / "build").exists()
