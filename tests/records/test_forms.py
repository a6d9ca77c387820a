"""Forms, one a sheet: labels left and values right of them, and the table below."""

from __future__ import annotations

import datetime as dt
import io

import openpyxl
import pytest
from queen_outcomes.base.errors import RecordsError
from reading import stage

BELOW = {"tables_below": ["CHECKS"]}
SETTINGS = {
    "dates": {"order": "dmy"},
    "files": {"cards.xlsx": {"form": True, **BELOW}},
    "words": {"yes": ["seen"]},
    "read": [
        {
            "from": "cards.xlsx",
            "table": "inseminations",
            "columns": {"queen_id": "Queen", "inseminated_at": "Done", "dose_ul": "Dose"},
        },
        {
            "from": "cards.xlsx",
            "table": "co2",
            "each": ["1st", "2nd"],
            "columns": {"queen_id": "Queen", "given_at": "{} gas"},
        },
        {
            "from": "cards.xlsx#*//CHECKS",
            "table": "checks",
            "columns": {"queen_id": "Queen", "checked_on": "Day", "eggs": "Eggs", "note": "Note"},
        },
    ],
}
ALONE = {"inseminations__csv": None, "checks__csv": None}


def cards(*queens):
    """A workbook of cards: name, day of insemination or None, checks."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, done, checks in queens:
        sheet = book.create_sheet(f"Card {name}")
        sheet["A1"] = "QUEEN CARD"
        sheet.merge_cells("A1:D1")
        sheet.append([])
        sheet.append(["Queen:", name, "Note", "of the card"])
        sheet.append(["Done", done, "Dose", "8 ul"])
        sheet["A5"] = "1st gas"
        sheet.merge_cells("A5:B5")
        sheet["C5"] = done
        sheet.append(["2nd gas", None])
        sheet.append([])
        sheet.append(["CHECKS"])
        sheet.append(["Day", "Eggs", "Note"])
        for check in checks:
            sheet.append(check)
    held = io.BytesIO()
    book.save(held)
    return {"cards__xlsx": held.getvalue(), **ALONE}


QUEENS = [
    ("Q1", "1.6.2025", [["9.6.2025", "seen", None], [dt.date(2025, 6, 20), "no", "late"]]),
    ("Q2", dt.date(2025, 6, 2), [["11.6.2025", "seen", None]]),
    ("Q3", None, []),
]


def test_a_form_is_one_record_and_its_cells_stand_in_each_row_below_it(tmp_path):
    store, _ = stage(tmp_path, SETTINGS, **cards(*QUEENS))
    assert store.rows(
        "SELECT queen_id, CAST(inseminated_at AS DATE), dose_ul, ref_line(ref) "
        "FROM staged_inseminations ORDER BY ref"
    ) == [
        ("Q1", dt.date(2025, 6, 1), 8.0, 3),
        ("Q2", dt.date(2025, 6, 2), 8.0, 3),
        ("Q3", None, 8.0, 3),  # told: no day
    ]
    assert store.rows("SELECT queen_id, CAST(given_at AS DATE) FROM staged_co2 ORDER BY ref") == [
        ("Q1", dt.date(2025, 6, 1)),
        ("Q2", dt.date(2025, 6, 2)),
    ]
    # a heading of the table comes before the form's own label
    assert store.rows(
        "SELECT queen_id, checked_on, eggs, note, ref_line(ref) FROM staged_checks ORDER BY ref"
    ) == [
        ("Q1", dt.date(2025, 6, 9), True, None, 10),
        ("Q1", dt.date(2025, 6, 20), False, "late", 11),
        ("Q2", dt.date(2025, 6, 11), True, None, 10),
    ]


def test_labels_that_nothing_reads_are_told_of_the_form_alone(tmp_path):
    _, read = stage(tmp_path, SETTINGS, **cards(QUEENS[0]))
    assert [note for note in read.notes if "no rule reads" in note] == [
        'cards.xlsx#Card Q1: no rule reads the columns "Note"'
    ]


def test_a_form_without_a_table_below_it(tmp_path):
    settings = SETTINGS | {"files": {"cards.xlsx": {"form": True}}, "read": SETTINGS["read"][:1]}
    store, _ = stage(tmp_path, settings, **{**cards(("Q1", "1.6.2025", [])), "checks__csv": "queen_id,checked_on\nQ1,9.6.2025\n"})
    assert store.rows("SELECT queen_id, dose_ul FROM staged_inseminations") == [("Q1", 8.0)]


def test_a_text_file_is_no_form(tmp_path):
    settings = {"files": {"checks.csv": {"form": True}}}
    with pytest.raises(RecordsError, match="a form cannot be read"):
        stage(tmp_path, settings)
