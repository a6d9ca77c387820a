"""The blank workbook and its CSV twins."""

from __future__ import annotations

import zipfile

import fastexcel
import openpyxl
import pytest
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records import blanks


@pytest.fixture(scope="module")
def workbook(tmp_path_factory):
    return blanks.write_workbook(tmp_path_factory.mktemp("blank") / "records.xlsx")


def parts(path, start):
    with zipfile.ZipFile(path) as book:
        names = sorted(name for name in book.namelist() if name.startswith(start))
        return "".join(book.read(name).decode() for name in names)


def test_the_same_bytes_every_time(workbook, tmp_path):
    again = blanks.write_workbook(tmp_path / "again.xlsx")
    assert again.read_bytes() == workbook.read_bytes()


def test_a_sheet_a_table_and_the_guide_last(workbook):
    names = fastexcel.read_excel(workbook).sheet_names
    assert names == [*TABLES, blanks.GUIDE]


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_the_second_row_holds_our_headings(workbook, table):
    sheet = fastexcel.read_excel(workbook).load_sheet(table.name, header_row=1)
    wanted = [column.name for column in table.columns if not column.flat]
    assert sheet.to_polars().columns == wanted


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_a_csv_twin_holds_the_same_headings(tmp_path, table):
    blanks.write_csvs(tmp_path)
    text = (tmp_path / f"{table.name}.csv").read_text(encoding="utf-8")
    assert text == ",".join(c.name for c in blanks.columns_to_fill(table)) + "\n"


def test_words_and_yes_no_have_drop_down_lists(workbook):
    sheets = parts(workbook, "xl/worksheets/sheet")
    assert '"none,some,most"' in sheets
    assert '"yes,no"' in sheets


def test_a_rule_warns_and_never_forbids(workbook):
    sheets = parts(workbook, "xl/worksheets/sheet")
    rules = sheets.count("<dataValidation ")
    assert rules > 30
    assert sheets.count('errorStyle="warning"') == rules


def test_headings_carry_meaning_unit_and_limits(workbook):
    comments = parts(workbook, "xl/comments")
    assert "above 0 and at most 40 uL" in comments
    assert "volume given" in comments


def test_sheets_print_on_a4_with_their_headings_on_every_page(workbook):
    sheets = parts(workbook, "xl/worksheets/sheet")
    assert sheets.count('paperSize="9"') == len(TABLES) + 1
    assert parts(workbook, "xl/workbook.xml").count("Print_Titles") == len(TABLES)


def test_the_guide_gives_the_cautions(workbook):
    guide = parts(workbook, "xl/sharedStrings.xml")
    for word in ("Ventilate", "Stings", "sharps box", "licensed practice"):
        assert word in guide


def test_no_cell_of_the_workbook_is_a_formula(workbook):
    book = openpyxl.load_workbook(workbook)
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells if cell.value is not None} == {"s"}
