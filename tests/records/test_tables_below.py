"""Tables that stand below each other on one sheet, each read as a sheet of its own."""

from __future__ import annotations

import datetime as dt
import io

import openpyxl
import pytest
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.facts.reading import takes
from reading import stage

ROWS = [
    ["Bench book", None, None, None],
    ["Queen", "Done", "Dose", "Load"],
    ["Q1", "1/5", 8, "S1"],
    ["Q2", "2/5", 7, "S2"],
    [None, None, None, None],
    ["Semen 2025", None, None, None],
    ["Load", "Taken", "Drones", "Left over"],
    ["S1", "29/4", 60, None],
    ["S2", "30/4", 80, None],
    [None, None, None, None],
    ["Who", "Left", "Why", None],
    ["Q2", "20/5", "dead", None],
]
SETTINGS = {
    "dates": {"order": "dmy"},
    "files": {"{}": {"year": 2025, "tables_below": ["semen  2025", "Who"], "header": 2}},
    "read": [
        {
            "from": "{}",
            "table": "inseminations",
            "columns": {"queen_id": "Queen", "inseminated_at": "Done", "dose_ul": "Dose"},
        },
        {
            "from": "{}//Semen 2025",
            "table": "semen",
            "columns": {"semen_batch": "Load", "collected_at": "Taken", "drones_handled": "Drones"},
        },
        {
            "from": "{}//Who",
            "table": "exits",
            "columns": {"queen_id": "Who", "left_on": "Left", "reason": "Why"},
        },
    ],
}
NO_CHECKS = {"inseminations__csv": None}


def as_xlsx():
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Bench"
    for row in ROWS:
        sheet.append(row)
    sheet.merge_cells("A6:D6")
    held = io.BytesIO()
    book.save(held)
    return "book.xlsx#Bench", {"book__xlsx": held.getvalue()}


def as_csv(encoding):
    lines = [";".join("" if cell is None else str(cell) for cell in row) for row in ROWS]
    text = "\r\n".join(lines).replace("Left over", "Übrig")
    return "book.csv", {"book__csv": text.encode(encoding)}


def named(settings, source):
    """Put a source's name into settings."""
    if isinstance(settings, dict):
        return {named(k, source): named(v, source) for k, v in settings.items()}
    if isinstance(settings, list):
        return [named(each, source) for each in settings]
    return settings.replace("{}", source) if isinstance(settings, str) else settings


@pytest.mark.parametrize(
    "made", [as_xlsx(), as_csv("utf-8"), as_csv("cp1252"), as_csv("utf-16")], ids=lambda m: m[0]
)
def test_each_table_is_read_with_the_lines_of_the_sheet(tmp_path, made):
    source, files = made
    store, read = stage(tmp_path, named(SETTINGS, source), **NO_CHECKS, **files)
    assert store.rows(
        "SELECT queen_id, CAST(inseminated_at AS DATE), dose_ul, ref_line(ref) "
        "FROM staged_inseminations ORDER BY ref"
    ) == [("Q1", dt.date(2025, 5, 1), 8.0, 3), ("Q2", dt.date(2025, 5, 2), 7.0, 4)]
    assert store.rows(
        "SELECT semen_batch, CAST(collected_at AS DATE), drones_handled, ref_line(ref) "
        "FROM staged_semen ORDER BY ref"
    ) == [("S1", dt.date(2025, 4, 29), 60, 8), ("S2", dt.date(2025, 4, 30), 80, 9)]
    assert store.rows("SELECT queen_id, left_on, reason, ref_line(ref) FROM staged_exits") == [
        ("Q2", dt.date(2025, 5, 20), "dead", 12)
    ]
    names = [one.name for one in read.sources]
    assert {f"{source}//semen 2025", f"{source}//Who", source} <= set(names)


def test_a_table_below_that_nothing_reads_is_told(tmp_path):
    source, files = as_xlsx()
    settings = named(SETTINGS, source)
    settings["read"].pop()
    _, read = stage(tmp_path, settings, **NO_CHECKS, **files)
    assert list(read.unread) == [f"{source}//Who"]


def test_a_text_that_no_row_begins_with_is_refused(tmp_path):
    source, files = as_xlsx()
    settings = named(SETTINGS, source)
    settings["files"][source]["tables_below"] = ["Semen 2025", "Who", "Sperm"]
    with pytest.raises(RecordsError, match='no row begins with "Sperm"'):
        stage(tmp_path, settings, **NO_CHECKS, **files)


@pytest.mark.parametrize(
    ("pattern", "name", "taken"),
    [
        ("book.xlsx", "book.xlsx#A//B", False),
        ("book.xlsx#*", "book.xlsx#A//B", False),
        ("book.xlsx#A//B", "book.xlsx#A", False),
        ("book.xlsx#a//b", "in/book.xlsx#A//B", True),
        ("*//B*", "book.csv//B 2", True),
        ("book.csv//B", "book.csv//C", False),
    ],
)
def test_a_pattern_takes_a_table_below_by_its_text_alone(pattern, name, taken):
    assert takes(pattern, name) is taken
