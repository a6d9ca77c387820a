"""The ten stations' habits: few questions, and every cell as the truth has it.

Read by the plain second reading that `map` shows before it writes; the truth files of
`tests/habits` were written without sight of either reader.
"""

import csv
import shutil
from pathlib import Path

import pytest
from compare import KEY, as_written, compare, folded
from queen_outcomes.records.map import shown
from queen_outcomes.records.map.proposal import mapping
from queen_outcomes.records.map.running import begin

HABITS = Path(__file__).parents[2] / "habits"
# what station.md says, put as answers; everything else is a default
ANSWERS = {
    "01_wide_words": {"word:findings:ok": "queen_seen=yes"},
    "02_merged_colours": {
        "colours:Queen book 2024.xlsx#Queens:*:*": {"#FFF2A8": {"marked": "yes"}}
    },
    "06_units_in_cells": {"blank:yard list.tsv:checks:*": "leave"},
    "08_colony_only": {"percent:looks.csv:checks:pattern_pct": "share"},
    "09_two_years": {"prefix:*:inseminations:queen_id": "yes"},
    "10_ticks_initials": {
        "blank:yard round.csv:checks:*": "no",
        "word:drone_in_worker:-": "none",
    },
}
# rows whose colony held no queen: they read well, and the linking sets them apart
UNPLACED = {"08_colony_only": 2}


def folder(name):
    return next(path for path in HABITS.iterdir() if path.name.startswith(name[:2]))


@pytest.mark.parametrize(
    "name", sorted(p.name for p in HABITS.iterdir() if p.name[0] in "01")
)
def test_ten_habits(name, tmp_path):
    place = HABITS / name
    # the records alone: a station that has no settings yet
    shutil.copytree(place / "records", tmp_path / "records")
    begun = begin(tmp_path)
    answers = ANSWERS.get(name, {})
    begun.answer(answers)
    asked = {question.id for question in begun.asked if question.kind != "words"}
    assert len(asked | set(answers)) <= 3
    begun.accept()
    assert not begun.open
    made = mapping(begun.proposal)
    sources = {source for rule in made.rules for source in rule.sources}
    read: dict[str, list] = {}
    for part in begun.proposal.station.parts:
        if part.source in sources:
            read.setdefault(part.table, []).extend(
                shown.rows(begun.proposal, made, part)
            )
    if "queens" not in read:
        first = {}
        for row in read["inseminations"]:
            first.setdefault(row["queen_id"], row)
        read["queens"] = list(first.values())
    _compare(name, place, read)


def _compare(name, place, read):
    compared = 0
    for path in sorted((place / "truth").glob("*.csv")):
        if path.stem not in KEY:
            continue
        with path.open(encoding="utf-8", newline="") as file:
            truth = list(csv.DictReader(file))
        # "?" marks a cell that cannot be read: nothing, or the row has no place
        legible = [
            {k: v for k, v in row.items() if not v.startswith("?")}
            for row in read.get(path.stem, [])
            if not any(
                v.startswith("?") for k, v in row.items() if k.endswith(("_on", "_at"))
            )
        ]
        report = compare(
            path.stem, legible, truth, folded if name.startswith("05") else as_written
        )
        assert not report.wrong, report.wrong[:3]
        assert not report.missing, report.missing[:3]
        assert report.rows_extra == (
            UNPLACED.get(name, 0) if path.stem == "checks" else 0
        )
        compared += report.right
    assert compared > 500
