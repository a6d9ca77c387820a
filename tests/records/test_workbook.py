"""Sheets of workbooks: true rows, dates of both calendars, errors, odd layouts."""

import datetime as dt

import pytest
import xlsxwriter
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import parse
from queen_outcomes.records.staging import stage_records
from reading import folder

HEAD = ["queen_id", "checked_on", "eggs", "pattern_pct"]


def stage_book(path, write, *, name="checks.xlsx", settings=None, **options):
    """Stage a workbook that `write` fills."""
    folder(path, checks__csv=None)
    book = xlsxwriter.Workbook(path / name, options)
    write(book)
    book.close()
    store = Store()
    read = stage_records(store, path, parse(settings or {}))
    return store, read


def checks(store):
    return store.records("SELECT * FROM staged_checks ORDER BY ref")


@pytest.mark.parametrize("newer", [False, True])
def test_rows_dates_and_truths_are_read_below_a_merged_title(tmp_path, newer):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        sheet.merge_range("B2:E2", "Our checks")
        sheet.write_row("B4", HEAD)
        sheet.write("B6", 12)
        sheet.write_datetime("C6", dt.datetime.fromisoformat("2024-05-01"), day)
        sheet.write("D6", True)
        sheet.write("E6", 82.5)
        sheet.write_row("B7", ["012", 45413 - 1462 * newer, 0, 80])

    store, _ = stage_book(tmp_path, write, date_1904=newer)
    rows = checks(store)
    assert [row["source_line"] for row in rows] == [6, 7]
    assert [row["queen_id"] for row in rows] == ["12", "012"]
    assert {row["checked_on"] for row in rows} == {dt.date(2024, 5, 1)}
    assert [row["eggs"] for row in rows] == [True, False]
    assert [row["pattern_pct"] for row in rows] == [82.5, 80.0]


def test_an_error_in_a_cell_is_unread_and_not_empty(tmp_path):
    def write(book):
        sheet = book.add_worksheet("checks")
        sheet.write_row(0, 0, HEAD)
        sheet.write_row(1, 0, ["Q1", "2025-06-20"])
        sheet.write_formula(1, 3, "=1/0", None, "#DIV/0!")

    store, _ = stage_book(tmp_path, write)
    assert checks(store)[0]["pattern_pct__unread"] == "#DIV/0!"


def test_a_number_with_a_point_is_read_beside_a_decimal_comma(tmp_path):
    def write(book):
        sheet = book.add_worksheet("checks")
        sheet.write_row(0, 0, HEAD)
        for row, value in enumerate([0.125, "80,5", "1.234"], start=1):
            sheet.write_row(row, 0, ["Q1", "2025-06-20", "", value])

    store, _ = stage_book(tmp_path, write, settings={"numbers": {"decimal": ","}})
    assert [row["pattern_pct"] for row in checks(store)] == [0.125, 80.5, None]
    assert checks(store)[2]["pattern_pct__unread"] == "1.234"


def test_sheets_are_tables_by_their_names(tmp_path):
    def write(book):
        book.add_worksheet("Checks 2025").write_row(0, 0, HEAD)
        book.add_worksheet("exits")
        book.add_worksheet("chekcs").write(0, 0, "x")
        book.add_worksheet("Sheet4")

    _, read = stage_book(tmp_path, write, name="book.xlsx")
    assert [s.name for s in read.sources] == [
        "book.xlsx#Checks 2025",
        "inseminations.csv",
    ]
    notes = "\n".join(read.notes)
    assert "book.xlsx#exits: not read, since the sheet is empty" in notes
    assert "book.xlsx#chekcs" in notes
    assert "Sheet4" not in notes


def test_a_sheet_named_in_the_settings_is_taken(tmp_path):
    def write(book):
        book.add_worksheet("May").write_row(0, 0, HEAD)
        book.add_worksheet("Other").write(0, 0, "x")

    _, read = stage_book(
        tmp_path,
        write,
        name="book.xlsx",
        settings={"tables": {"checks": "book.xlsx#may"}},
    )
    assert read.sources[0].name == "book.xlsx#May"


def test_two_hundred_columns_are_fine(tmp_path):
    def write(book):
        sheet = book.add_worksheet("checks")
        sheet.write_row(0, 0, HEAD + [f"more {n}" for n in range(196)])
        sheet.write_row(1, 0, ["Q1", "2025-06-20"] + ["x"] * 198)

    store, read = stage_book(tmp_path, write)
    (told,) = [note for note in read.notes if "not used" in note]
    assert "196 columns are not used" in told
    assert told.endswith("and 186 more")
    assert len(store.columns("raw_1")) == 203


def test_a_workbook_of_several_sheets_must_be_told_which(tmp_path):
    def write(book):
        for name in ("May", "June"):
            book.add_worksheet(name).write_row(0, 0, HEAD)

    with pytest.raises(RecordsError, match="several sheets"):
        stage_book(
            tmp_path,
            write,
            name="book.xlsx",
            settings={"tables": {"checks": "book.xlsx"}},
        )
