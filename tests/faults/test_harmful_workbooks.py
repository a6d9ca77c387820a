"""Workbooks made to do harm are refused before they are read, by name and in a sentence."""

import io
import os
import re
import signal
import time
import zipfile

import opendocument_files as ods
import pytest
import xlsxwriter
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.records import workbook_limits, workbook_process
from queen_outcomes.records.map.seen import opened
from queen_outcomes.records.workbook import Workbook, open_workbook
from queen_outcomes.records.workbook_process import WorkbookElsewhere

HEADINGS = ("queen_id", "checked_on")


def small(*rows) -> bytes:
    out = io.BytesIO()
    with xlsxwriter.Workbook(out) as book:
        sheet = book.add_worksheet("Sheet1")
        for number, row in enumerate([HEADINGS, ("Q1", "2026-06-01"), *rows]):
            sheet.write_row(number, 0, row)
    return out.getvalue()


def changed(content: bytes, part: str, change) -> bytes:
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as book,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as other,
    ):
        for name in book.namelist():
            text = book.read(name)
            other.writestr(name, change(text) if name == part else text)
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


def with_row(cells: bytes, row: bytes = b"1048576"):
    def change(xml: bytes) -> bytes:
        more = b'<row r="' + row + b'">' + cells + b"</row></sheetData>"
        return xml.replace(b"</sheetData>", more)

    return change


def read_all(content: bytes, name: str) -> None:
    book = open_workbook(content, name)
    for sheet in book.sheets:
        book.read(sheet)


def refused(content: bytes, name: str = "checks.xlsx") -> str:
    with pytest.raises(RecordsError) as caught:
        read_all(content, name)
    assert name in caught.value.text()
    return caught.value.text()


@pytest.mark.parametrize(
    "cell",
    [
        b'<c r="XFD1048576"><v>1</v></c>',
        b'<c r="xfd1048576"><v>1</v></c>',
        b"<c r='XFD1048576'><f>1+1</f></c>",
        b'<c r="XFD1048576" t="inlineStr"><is><t>x</t></is></c>',
    ],
)
def test_a_cell_in_the_farthest_corner_is_refused_and_aborts_nothing(cell):
    said = refused(changed(small(), SHEET, with_row(cell)))
    assert "1048576 rows and 16384 columns" in said
    assert "Ctrl+End" in said


@pytest.mark.parametrize(
    "cell",
    [
        b'<c r="&#88;FD1048576"><v>1</v></c>',
        b'<c x="&gt;" foo=">" r="XFD1048576"><v>1</v></c>',
    ],
)
def test_a_place_that_is_hidden_from_the_look_costs_the_reader_alone(cell):
    # what comes of it depends on the reader: it may refuse the file, die of it, or not see it
    book = changed(small(), SHEET, with_row(cell))
    assert isinstance(open_workbook(book, "checks.xlsx"), WorkbookElsewhere)
    assert "checks.xlsx" in refused(book)


def test_map_looks_at_no_workbook_that_would_cost_too_much(tmp_path):
    content = changed(small(), SHEET, with_row(b'<c r="XFD1048576"><v>1</v></c>'))
    (tmp_path / "checks.xlsx").write_bytes(content)
    (grid,) = opened.every(tmp_path)
    assert "too large to be looked at" in grid.problem


def test_empty_cells_far_off_are_no_harm():
    content = changed(small(), SHEET, with_row(b'<c r="XFD1048576" s="1"/>'))
    frame = open_workbook(content, "checks.xlsx").read("Sheet1")
    assert frame.rows()[:2] == [HEADINGS, ("Q1", "2026-06-01")]
    assert frame.width == 2


def test_repeats_of_an_ods_cell_are_counted_before_they_are_made(tmp_path):
    far = ods.row(
        ods.cell("x", number_columns_repeated=16384), number_rows_repeated=1048576
    )
    content = ods.write(tmp_path / "checks.ods", [ods.row(*HEADINGS), far]).read_bytes()
    assert "1048577 rows and 16384 columns" in refused(content, "checks.ods")


def test_repeats_of_nothing_below_an_ods_table_are_no_harm(tmp_path):
    empty = ods.row(ods.cell(number_columns_repeated=16384), number_rows_repeated=1048574)
    rows = [ods.row(*HEADINGS), ods.row("Q1", "2026-06-01"), empty]
    content = ods.write(tmp_path / "checks.ods", rows).read_bytes()
    book = open_workbook(content, "checks.ods")
    assert isinstance(book, Workbook)
    assert book.read("Sheet1").height == 2


def test_a_small_file_that_unpacks_to_much_is_refused():
    def blown(xml: bytes) -> bytes:
        return xml.replace(b"</worksheet>", b" " * (2**26 + 2**20) + b"</worksheet>")

    content = changed(small(), SHEET, blown)
    assert len(content) < 2**20
    assert "GB once unpacked" in refused(content)


def test_a_part_whose_size_is_a_lie_is_refused():
    content = bytearray(changed(small(), SHEET, lambda xml: xml + b" " * 100_000))
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        real = book.getinfo(SHEET).file_size.to_bytes(4, "little")
    assert content.count(real) == 2  # in the part's head and in the list at the end
    told = bytes(content).replace(real, (900).to_bytes(4, "little"))
    assert "damaged" in refused(told)


def test_a_workbook_elsewhere_is_what_it_is_here():
    content = small(("Q2", "2026-06-02"))
    here, there = Workbook(content, "book.xlsx"), WorkbookElsewhere(content, "book.xlsx")
    assert there.sheets == here.sheets == ["Sheet1"]
    assert there.epoch_days == here.epoch_days
    assert there.read("Sheet1").equals(here.read("Sheet1"))
    assert there.details("Sheet1") == here.details("Sheet1")
    assert there.marks("Sheet1") == here.marks("Sheet1")
    assert there.first_column("Sheet1") == 0
    assert not there.is_empty("Sheet1")


def test_a_reading_process_that_dies_is_told_of_and_takes_nothing_along():
    there = WorkbookElsewhere(small(), "book.xlsx")
    os.kill(there._process.pid, signal.SIGSEGV)
    with pytest.raises(RecordsError, match="cannot be read") as caught:
        there.read("Sheet1")
    assert "book.xlsx" in caught.value.text()


def test_a_reading_process_that_takes_too_long_is_ended(monkeypatch):
    there = WorkbookElsewhere(small(), "book.xlsx")
    os.kill(there._process.pid, signal.SIGSTOP)
    monkeypatch.setattr(workbook_process, "LONGEST_S", 0.2)
    began = time.monotonic()
    with pytest.raises(RecordsError) as caught:
        there.read("Sheet1")
    assert "took longer" in caught.value.text()
    assert time.monotonic() - began < 10


def test_a_book_that_is_too_large_to_be_plain_is_read_elsewhere(monkeypatch):
    monkeypatch.setattr(workbook_limits, "PLAIN_CELLS", 3)
    book = open_workbook(small(), "book.xlsx")
    assert isinstance(book, WorkbookElsewhere)
    assert re.match("queen_id", book.read("Sheet1").row(0)[0])
