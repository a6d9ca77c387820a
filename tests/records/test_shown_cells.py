"""What a person sees of a workbook beside its texts: per cent, merges, fills, strikes."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile

import opendocument_files as ods
import polars as pl
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.store import Store
from queen_outcomes.commands.failures import exit_code
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import Habits
from queen_outcomes.records import spreadsheet_xml, workbook, workbook_limits
from queen_outcomes.records.grid import SheetGrid, cell_name, filled_down, open_grid
from queen_outcomes.records.headings import TableNames
from queen_outcomes.records.opendocument import OpenDocument
from queen_outcomes.records.sheet_details import Merge, as_per_cent
from queen_outcomes.records.sources import RecordFile, Source

HEAD = ["queen_id", "checked_on", "pattern_pct"]
NAMES = TableNames.of(TABLES["checks"], {})


def book_of(write, **options) -> bytes:
    """The bytes of a workbook that `write` fills."""
    file = io.BytesIO()
    book = xlsxwriter.Workbook(file, {"in_memory": True, **options})
    write(book)
    book.close()
    return file.getvalue()


def grid_of(path, content: bytes, habits=None, sheet="Sheet1") -> SheetGrid:
    path.write_bytes(content)
    file = RecordFile(path.name, path)
    book = workbook.Workbook(content, path.name)
    source = Source(f"{path.name}#{sheet}", file, file.sha256, sheet=sheet, book=book)
    return open_grid(Store(), source, NAMES, habits or Habits())


def texts(grid: SheetGrid) -> list[list[str | None]]:
    return [list(row[3:]) for row in pl.concat(grid.batches()).rows()]


# --- what a person sees

FORMS = {"0%": 2, "0.0%": 3, "0.00%": 4, "[Red]0 %;-0 %": 2}
CELLS = st.one_of(
    st.tuples(st.just("share"), st.integers(-300, 20000), st.sampled_from([*FORMS])),
    st.tuples(st.just("number"), st.integers(-10**6, 10**6), st.sampled_from([1, 8, 1000])),
    st.tuples(st.just("sign"), st.integers(0, 100), st.sampled_from(['0"%"', r"0\%"])),
    st.tuples(st.just("day"), st.dates(dt.date(1995, 1, 1), dt.date(2090, 1, 1)), st.none()),
    st.tuples(st.just("text"), st.from_regex(r"[A-Za-zéß%=][A-Za-z0-9 %é&<>]{0,8}[a-z]", fullmatch=True), st.none()),
    st.tuples(st.just("empty"), st.none(), st.none()),
)  # fmt: skip


def put(book, sheet, row, column, kind, value, form) -> str | None:
    """Write a cell, and give what a person reads there."""
    if kind == "share":
        digits = FORMS[form]
        sheet.write_number(row, column, value / 10**digits, book.add_format({"num_format": form}))
        whole, part = divmod(abs(value), 10 ** (digits - 2))
        said = f"{whole}.{part:0{digits - 2}d}".rstrip("0").rstrip(".") if part else str(whole)
        return f"{'-' if value < 0 else ''}{said} %"
    if kind == "number":
        sheet.write_number(row, column, value / form)
        return f"{value / form:.3f}".rstrip("0").rstrip(".")
    if kind == "sign":
        sheet.write_number(row, column, value, book.add_format({"num_format": form}))
        return str(value)
    if kind == "day":
        day = book.add_format({"num_format": "d.m.yy"})
        sheet.write_datetime(row, column, dt.datetime.combine(value, dt.time()), day)
        return f"{value.isoformat()} 00:00:00"
    if kind == "text":
        sheet.write_string(row, column, value)
        return value
    return None


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.lists(CELLS, min_size=3, max_size=3), min_size=1, max_size=6),
    st.integers(0, 4),
    st.integers(0, 3),
    st.booleans(),
)
def test_a_random_sheet_is_read_as_a_person_sees_it(rows, down, right, newer):
    seen = {}

    def write(book):
        sheet = book.add_worksheet("Sheet1")
        for r, row in enumerate(rows, down):
            for c, cell in enumerate(row, right):
                seen[r, c] = put(book, sheet, r, c, *cell)

    content = book_of(write, date_1904=newer)
    book = workbook.Workbook(content, "book.xlsx")
    frame, first = book.read("Sheet1"), book.first_column("Sheet1")
    read = {
        (r, c + first): text
        for c, column in enumerate(frame)
        for r, text in enumerate(column)
        if text is not None
    }
    assert read == {place: text for place, text in seen.items() if text is not None}


@pytest.mark.parametrize(
    ("share", "shown"),
    [("0.95", "95 %"), ("1", "100 %"), ("0.07", "7 %"), ("0.005", "0.5 %"), ("-0.1", "-10 %"), ("#N/A", None), ("nan", None)],
)  # fmt: skip
def test_a_share_is_written_as_the_per_cent_shown(share, shown):
    assert as_per_cent(share) == shown


def test_cells_that_do_not_say_where_they_stand_are_counted():
    """The place is optional (ECMA-376 part 1, 18.3.1.4, attribute r)."""

    def write(book):
        sheet = book.add_worksheet("Sheet1")
        for row in (0, 1, 3):
            sheet.write_string(row, 0, "x")
            sheet.write_number(row, 1, 0.5, book.add_format({"num_format": "0%"}))

    content = _edited(
        book_of(write), "xl/worksheets/sheet1.xml", lambda xml: re.sub(r'<c r="\w+"', "<c", xml)
    )
    frame = workbook.Workbook(content, "book.xlsx").read("Sheet1")
    assert frame["1"].to_list() == ["50 %", "50 %", None, "50 %"]


@pytest.mark.parametrize("form", ["as written", "no places", "prefixed", "apostrophes"])
def test_an_error_in_a_cell_is_its_text(form):
    """A cell of type e holds the error's name (ECMA-376 part 1, 18.18.11)."""

    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, ["date=e", 3, "z"])
        sheet.write_formula(1, 0, '=IF(1>2,"t",1/0)', None, "#DIV/0!")
        sheet.write_row(1, 1, [4, "z"])
        sheet.write_formula(2, 0, "=NA()", None, "#N/A")

    def edit(xml):
        xml = xml.replace("1&gt;2", "1>2")  # as XML allows
        match form:
            case "no places":
                return re.sub(r'<c r="\w+"', "<c", xml)
            case "prefixed":
                return _prefixed(xml)
            case "apostrophes":
                return xml.replace('t="e"', "t='e'")
        return xml

    content = _edited(book_of(write), "xl/worksheets/sheet1.xml", edit)
    rows = workbook.Workbook(content, "book.xlsx").read("Sheet1").rows()
    assert rows == [
        ("date=e", "3", "z"),
        ("#DIV/0!", "4", "z"),
        ("#N/A", None, None),
    ]


def test_elements_may_carry_a_prefix():
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_number(1, 0, 0.5, book.add_format({"num_format": "0%"}))
        sheet.write_formula(1, 1, "=4+4", None, "")
        sheet.merge_range(3, 0, 4, 0, "x")

    content = _edited(book_of(write), "xl/worksheets/sheet1.xml", _prefixed)
    book = workbook.Workbook(content, "book.xlsx")
    assert book.read("Sheet1").row(1) == ("50 %", "=4+4")
    assert len(book.details("Sheet1").merges) == 1


def _prefixed(xml: str) -> str:
    xml = re.sub(r"<(/?)(?=[a-zA-Z])", r"<\1x:", xml)
    return xml.replace("xmlns=", "xmlns:x=")


def _edited(content: bytes, part: str, edit) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            new.writestr(name, edit(text.decode()) if name == part else text)
    return out.getvalue()


# --- formulas


def test_a_formula_that_was_never_calculated_is_told_and_not_empty(tmp_path):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, [*HEAD, "note"])
        sheet.write_row(1, 0, ["Q1", "2025-06-20"])
        sheet.write_formula(1, 2, "=4+4", None, "")
        sheet.write_row(2, 0, ["Q2", "2025-06-20"])
        sheet.write_formula(2, 2, "=4+4")  # its writer puts 0 and asks to calculate
        sheet.write_row(3, 0, ["Q3", "2025-06-20"])
        sheet.write_formula(3, 2, "=4+4", None, 8)

    grid = grid_of(tmp_path / "checks.xlsx", book_of(write))
    assert [row[2] for row in texts(grid)] == ["=4+4", "=4+4", "8"]
    (note,) = grid.notes
    assert "2 formulas were never calculated (C2, C3)" in note


def test_formulas_of_both_forms_are_told():
    """Some formulas carry attributes (ECMA-376 part 1, 18.3.1.40), most carry none."""

    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, HEAD)
        sheet.write_formula(1, 0, "=4+4", None, "")
        sheet.write_formula(1, 1, "=5+5", None, "")

    content = _edited(
        book_of(write),
        "xl/worksheets/sheet1.xml",
        lambda xml: xml.replace("<f>5+5", '<f t="array" ref="B2">5+5'),
    )
    assert workbook.Workbook(content, "checks.xlsx").read("Sheet1").row(1)[:2] == ("=4+4", "=5+5")


def test_a_formula_whose_result_is_an_empty_text_is_empty(tmp_path):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, HEAD)
        sheet.write_row(1, 0, ["Q1", "2025-06-20"])
        sheet.write_formula(1, 2, '=IF(A2="","x","")', None, "")

    # a spreadsheet program marks such a result as a text
    content = _edited(
        book_of(write), "xl/worksheets/sheet1.xml", lambda xml: xml.replace('r="C2"', 'r="C2" t="str"')
    )  # fmt: skip
    grid = grid_of(tmp_path / "checks.xlsx", content)
    assert texts(grid) == [["Q1", "2025-06-20", ""]]
    assert grid.notes == []


def test_places_are_right_where_the_first_columns_are_empty(tmp_path):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row("C2", HEAD)
        sheet.merge_range("C3:C4", "Q1")
        sheet.write_column("D3", ["2025-06-20", "2025-06-21"])
        sheet.write("E3", 0.8, book.add_format({"num_format": "0%"}))
        sheet.write_formula("E4", "=4+4", None, "")
        sheet.write_column("F3", ["x"], book.add_format({"bg_color": "yellow"}))

    grid = grid_of(tmp_path / "checks.xlsx", book_of(write))
    assert texts(grid) == [
        ["Q1", "2025-06-20", "80 %", "x"],
        ["Q1", "2025-06-21", "=4+4", None],
    ]
    assert "(E4)" in grid.notes[0]
    assert grid.marks().rows() == [(3, ["#FFFF00"], False, False)]


def test_formulas_left_of_all_values_make_their_column():
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_formula("B2", "=4+4", None, "")
        sheet.write("D3", 0.8, book.add_format({"num_format": "0%"}))
        sheet.write_formula("E3", "=1/0", None, "#DIV/0!")

    book = workbook.Workbook(book_of(write), "checks.xlsx")
    assert book.read("Sheet1").rows()[1:] == [
        ("=4+4", None, None, None),
        (None, None, "80 %", "#DIV/0!"),
    ]


def test_an_empty_sheet_begins_in_its_first_column():
    book = workbook.Workbook(book_of(lambda made: made.add_worksheet("Sheet1")), "checks.xlsx")
    assert book.read("Sheet1").is_empty()
    assert book.first_column("Sheet1") == 0


# --- merged cells and headings


def two_rows(book):
    sheet = book.add_worksheet("Sheet1")
    sheet.merge_range("A1:G1", "Our checks")
    sheet.merge_range("A3:A4", "Queen")
    sheet.merge_range("B3:C3", "1st look")
    sheet.write("D3", "2nd look")
    sheet.write_row("B4", ["Date", "Eggs", "Date", "Eggs"])
    sheet.merge_range("F3:F4", "Line")
    sheet.write("G4", "Note")
    sheet.merge_range("F5:F7", "Blue")
    for row, queen in ((4, "Q1"), (5, "Q2"), (8, "Q3")):
        sheet.write_row(row, 0, [queen, "2025-06-01", "y"])


def test_two_rows_of_headings_are_joined(tmp_path):
    grid = grid_of(tmp_path / "book.xlsx", book_of(two_rows), Habits(header=(3, 4)))
    assert grid.columns == [
        "Queen",
        "1st look Date",
        "1st look Eggs",
        "2nd look Date",
        "2nd look Eggs",
        "Line",
        "Note",
    ]


def test_a_cell_merged_downwards_fills_its_rows_and_makes_none(tmp_path):
    grid = grid_of(tmp_path / "book.xlsx", book_of(two_rows), Habits(header=(3, 4)))
    assert [row[5] for row in texts(grid)] == ["Blue", "Blue", None]
    assert pl.concat(grid.batches())["source_line"].to_list() == [5, 6, 9]


@pytest.mark.parametrize(
    ("merge", "texts"),
    [
        (Merge(1, 0, 3, 0), ["a", "b", "b", "b", "c"]),
        (Merge(1, 0, 9, 0), ["a", "b", "b", "b", "c"]),
        (Merge(1, 0, 1, 1), ["a", "b", None, " ", "c"]),
        (Merge(2, 0, 3, 0), ["a", "b", None, " ", "c"]),
        (Merge(1, 1, 3, 1), ["a", "b", None, " ", "c"]),
        (Merge(9, 0, 11, 0), ["a", "b", None, " ", "c"]),
    ],
)
def test_a_text_is_filled_down_into_what_is_empty_below_it(merge, texts):
    frame = pl.DataFrame({"0": ["a", "b", None, " ", "c"]})
    assert filled_down(frame, [merge])["0"].to_list() == texts


@pytest.mark.parametrize(
    ("merge", "texts"),
    [
        (Merge(2, 0, 3, 0), [None, None, "b", "b", None]),
        (Merge(2, 0, 4, 0), [None, None, "b", "b", "b"]),
        (Merge(0, 0, 1, 0), [None, None, "b", None, None]),
    ],
)
def test_what_is_empty_above_a_merged_cell_or_behind_it_stays_empty(merge, texts):
    frame = pl.DataFrame({"0": [None, None, "b", None, None]})
    assert filled_down(frame, [merge])["0"].to_list() == texts
    first = pl.DataFrame({"0": ["a", None, None]})
    assert filled_down(first, [Merge(0, 0, 1, 0)])["0"].to_list() == ["a", "a", None]


def test_rows_of_single_letters_are_rows(tmp_path):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, HEAD)
        sheet.write_row(1, 0, ["Q", "", ""])
        sheet.write_row(2, 0, ["", " ", ""])
        sheet.write_row(3, 0, ["", "", "7"])

    grid = grid_of(tmp_path / "book.xlsx", book_of(write))
    assert pl.concat(grid.batches())["source_line"].to_list() == [2, 4]


def test_a_merged_heading_of_one_row_names_all_its_columns(tmp_path):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, HEAD)
        sheet.merge_range(0, 3, 0, 4, "Note")
        sheet.write_row(1, 0, ["Q1", "2025-06-20", 80, "a", "b"])

    grid = grid_of(tmp_path / "book.xlsx", book_of(write))
    assert grid.columns == [*HEAD, "Note", "Note (2)"]
    assert NAMES.match(grid.headings)["note"] == [3]


def test_a_text_under_a_merged_cell_is_told(tmp_path):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, HEAD)
        sheet.merge_range(1, 0, 2, 0, "Q1")
        sheet.write(2, 0, "Q2")
        sheet.write(3, 0, "Q3")
        sheet.write_column(1, 1, ["2025-06-20", "2025-06-21", "2025-06-22"])

    grid = grid_of(tmp_path / "book.xlsx", book_of(write))
    assert [row[0] for row in texts(grid)] == ["Q1", "Q2", "Q3"]
    assert "1 text lies under merged cells (A3)" in grid.notes[0]


@pytest.mark.parametrize("header", [(2,), (9,), (1, 2)])
def test_headings_where_no_row_begins_are_refused(tmp_path, header):
    def write(book):
        book.add_worksheet("Sheet1").write_row(0, 0, HEAD)

    with pytest.raises(RecordsError, match="no headings on the line") as caught:
        grid_of(tmp_path / "book.xlsx", book_of(write), Habits(header=header))
    assert exit_code(caught.value) == 3


# --- rows


def marked(book):
    sheet = book.add_worksheet("Sheet1")
    form = book.add_format
    sheet.write_row(0, 0, HEAD, form({"bg_color": "#AAAAAA", "font_strikeout": True}))
    struck, yellow = form({"font_strikeout": True}), form({"bg_color": "yellow"})
    sheet.write_row(1, 0, ["Q1", "2025-06-20", 80])
    sheet.write_row(2, 0, ["Q2", "2025-06-20"], struck)
    sheet.write(2, 2, 80)
    sheet.write(3, 0, "Q3", struck)  # one cell mended, not the row
    sheet.write_row(3, 1, ["2025-06-20", 80])
    sheet.write_row(4, 0, ["Q4", "2025-06-20"])
    sheet.write_blank(4, 2, None, yellow)
    sheet.set_row(5, None, form({"bg_color": "#d0d0d0"}), {"hidden": True})
    sheet.write_row(5, 0, ["Q5", "2025-06-20"], form({"bg_color": "white"}))
    sheet.set_row(6, None, yellow)  # empty: no record
    sheet.write(7, 0, "Q6", struck)  # half of the row
    sheet.write(7, 1, "2025-06-20")


def test_fills_strikes_and_hidden_rows_are_handed_on(tmp_path):
    grid = grid_of(tmp_path / "checks.xlsx", book_of(marked))
    assert grid.marks().rows() == [
        (3, [], True, False),
        (4, [], False, False),
        (5, ["#FFFF00"], False, False),
        (6, ["#D0D0D0"], False, True),
        (8, [], False, False),
    ]
    told = " ".join(grid.notes)
    assert "1 row is struck through (row 3)" in told
    assert "1 row is hidden (row 6)" in told


def test_what_the_settings_pass_over_is_not_told_as_read(tmp_path):
    habits = Habits(struck="pass over", hidden="pass over")
    assert grid_of(tmp_path / "checks.xlsx", book_of(marked), habits).notes == []


def test_rows_that_do_not_say_their_number_are_counted(tmp_path):
    """The number is optional (ECMA-376 part 1, 18.3.1.73, attribute r)."""

    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, HEAD)
        for row in (1, 2, 3):
            sheet.write_row(row, 0, [f"Q{row}", "2025-06-20"])
        sheet.set_row(1, None, None, {"hidden": True})
        sheet.set_row(3, None, book.add_format({"bg_color": "yellow"}), {})

    content = _edited(
        book_of(write), "xl/worksheets/sheet1.xml", lambda xml: re.sub(r'<row r="\d+"', "<row", xml)
    )  # fmt: skip
    marks = grid_of(tmp_path / "checks.xlsx", content).marks()
    assert marks.rows() == [(2, [], False, True), (4, ["#FFFF00"], False, False)]


@pytest.mark.parametrize(
    ("colour", "shown"),
    [
        ('<fgColor theme="4"/>', "#4F81BD"),  # accent1 of the writer's own theme
        ('<fgColor theme="0" tint="-0.249977111117893"/>', "#BFBFBF"),  # white, 25 % darker
        ('<fgColor theme="1"/>', "#000000"),
        ('<fgColor indexed="13"/>', "#FFFF00"),  # ECMA-376 part 1, 18.8.27
        ('<fgColor indexed="5"/>', "#FFFF00"),
        ('<fgColor indexed="47"/>', "#FFCC99"),
        ('<fgColor indexed="64"/>', None),  # the screen's own
    ],
)
def test_colours_of_the_theme_and_of_the_palette(tmp_path, colour, shown):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, HEAD)
        sheet.write_row(1, 0, ["Q1", "2025-06-20"], book.add_format({"bg_color": "#123456"}))

    content = _edited(
        book_of(write), "xl/styles.xml", lambda xml: xml.replace('<fgColor rgb="FF123456"/>', colour)
    )  # fmt: skip
    rows = grid_of(tmp_path / "checks.xlsx", content).marks()["fills"].to_list()
    assert rows == ([[shown]] if shown else [])


@pytest.mark.parametrize(
    ("tint", "shown"),
    [
        # the tints that programs offer of the accent 4F81BD, as they show them
        (0.799981688894314, "DCE6F1"),
        (0.599993896298105, "B8CCE4"),
        (0.399975585192419, "95B3D7"),
        (-0.249977111117893, "366092"),
        (-0.499984740745262, "244062"),
        (0.0, "4F81BD"),
    ],
)
def test_a_tint_moves_a_colour_s_lightness(tint, shown):
    """ECMA-376 part 1, 18.3.1.19: in lightness, so that hue and saturation stay."""
    found = spreadsheet_xml._tinted("4F81BD", tint)
    parts = [[int(text[at : at + 2], 16) for at in (0, 2, 4)] for text in (found, shown)]
    assert max(abs(one - other) for one, other in zip(*parts, strict=True)) <= 2
    assert spreadsheet_xml._tinted("FFFFFF", 0.5) == "FFFFFF"
    assert spreadsheet_xml._tinted("000000", -0.5) == "000000"


def test_a_large_sheet_is_believed_how_far_it_reaches(monkeypatch):
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write("B2", "x")
        sheet.write("AB7", "y")
        sheet.write_blank("AD9", None, book.add_format({"bg_color": "yellow"}))

    def reach(content):
        with zipfile.ZipFile(io.BytesIO(content)) as book:
            return spreadsheet_xml.SpreadsheetXml(book).extent("Sheet1")

    content = book_of(write)
    assert reach(content) == (7, 28)
    monkeypatch.setattr(spreadsheet_xml, "PLAIN_BYTES", 0)
    assert reach(content) == (9, 30)
    sheet = "xl/worksheets/sheet1.xml"
    one = _edited(content, sheet, lambda xml: re.sub(r'<dimension ref="[^"]+"', '<dimension ref="C4"', xml))
    assert reach(one) == (4, 3)
    silent = _edited(content, sheet, lambda xml: re.sub(r'<dimension ref="[^"]+"/>', "", xml))
    assert reach(silent) == (0, 0)
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        assert spreadsheet_xml.SpreadsheetXml(book).extent("other") == (0, 0)


# --- .ods

STYLES = """
<style:style style:name="struck" style:family="table-cell">
  <style:text-properties style:text-line-through-style="solid"/></style:style>
<style:style style:name="yellow" style:family="table-cell" style:parent-style-name="struck">
  <style:table-cell-properties fo:background-color="#ffff00"/>
  <style:text-properties style:text-line-through-style="none"/></style:style>
"""


def test_an_opendocument_sheet_is_read_as_it_is_shown(tmp_path):
    cell, row = ods.cell, ods.row
    rows = [
        row(cell(number_columns_repeated=1020), number_rows_repeated=2),
        row(*HEAD, "note", "line"),
        row(
            "Q1",
            cell("1.5.24", value_type="date", date_value="2024-05-01"),
            cell("95 %", value_type="percentage", value="0.95"),
            cell("10:30", value_type="time", time_value="PT10H30M00S"),
            cell("Blue", number_rows_spanned=2),
        ),
        row(
            cell("Q2", style_name="struck"),
            cell(value_type="date", date_value="2024-05-02T10:30:00"),
            cell(formula="of:=4+4"),
            cell("x", style_name="yellow"),
            "<table:covered-table-cell/>",
            visibility="filter",
        ),
        row(cell("", style_name="yellow"), number_rows_repeated=1048570),
    ]
    path = ods.write(tmp_path / "checks.ods", rows, STYLES)
    grid = grid_of(path, path.read_bytes())
    assert texts(grid) == [
        ["Q1", "2024-05-01", "95 %", "10:30:00", "Blue"],
        ["Q2", "2024-05-02T10:30:00", "=4+4", "x", "Blue"],
    ]
    assert grid.marks().rows() == [(5, ["#FFFF00"], False, True)]
    assert any("1 formula was never calculated (C5)" in note for note in grid.notes)


FORMATS = """
<style:style style:name="gone" style:family="table"><style:table-properties table:display="false"/>
  </style:style>
<style:style style:name="there" style:family="table"><style:table-properties table:display="true"/>
  </style:style>
<style:style style:name="red" style:family="table-cell">
  <style:table-cell-properties fo:background-color="#ff0000"/></style:style>
<style:style style:name="clear" style:family="table-cell" style:parent-style-name="red">
  <style:table-cell-properties fo:background-color="transparent"/></style:style>
<style:style style:name="struck" style:family="table-cell" style:parent-style-name="red">
  <style:text-properties style:text-line-through-type="single"/></style:style>
<style:style style:name="mended" style:family="table-cell" style:parent-style-name="struck">
  <style:text-properties style:text-line-through-style="solid" style:text-line-through-type="none"/>
  </style:style>
"""


def open_ods(tmp_path, rows, **more) -> OpenDocument:
    path = ods.write(tmp_path / "a.ods", rows, FORMATS, **more)
    with zipfile.ZipFile(path) as book:
        return OpenDocument(book, "a.ods")


def test_repeats_of_an_opendocument_sheet_are_counted_out(tmp_path):
    """Cells and rows that are alike are written once (OpenDocument, table:number-rows-repeated)."""
    cell, row = ods.cell, ods.row
    share = {"value_type": "percentage", "value": "0.5"}
    rows = [
        row("a", cell("50 %", number_columns_repeated=2, **share), cell(), "e"),
        row(cell(number_columns_repeated=3), number_rows_repeated=4),
        row(cell("50 %", **share), cell(formula="of:=1+1"), number_rows_repeated=2),
        row("x", cell("y", number_columns_spanned=2), "<table:covered-table-cell/>", cell("z", number_rows_spanned=3)),
        row(cell(number_columns_repeated=900), number_rows_repeated=1000),
    ]  # fmt: skip
    book = open_ods(tmp_path, rows)
    found = book.details("Sheet1")
    assert found.percents == ((0, 1), (0, 2), (5, 0), (6, 0))
    assert found.uncalculated == {(5, 1): "=1+1", (6, 1): "=1+1"}
    assert found.merges == (Merge(7, 1, 7, 2), Merge(7, 3, 9, 3))
    assert (found.is_hidden, found.has_marked_rows) == (False, False)
    # eight rows of five columns are in use; what is empty and repeated is not
    assert book.most_places == 8 * 5
    assert book.details("other").percents == ()


def test_a_cell_of_an_opendocument_sheet_looks_as_its_own_style_its_row_or_its_column(tmp_path):
    cell, row = ods.cell, ods.row
    columns = '<table:table-column table:number-columns-repeated="2"/>'
    columns += '<table:table-column table:default-cell-style-name="red"/><table:table-column/>'
    rows = [
        columns,
        row("a", "b", "c", "d", cell("e", style_name="mended")),
        row("a", cell("b", style_name="struck"), cell("c", style_name="clear"), cell("d", style_name="none")),
        row("a", default_cell_style_name="struck", visibility="collapse"),
        row("a", number_rows_repeated=2, visibility="filter"),
        row("a", visibility="visible"),
    ]  # fmt: skip
    book = open_ods(tmp_path, rows)
    marks = book.marks("Sheet1", 5)
    assert marks.fills == {0: {"#FF0000"}, 1: {"#FF0000"}, 2: {"#FF0000"}}
    assert marks.struck == {1: {1}, 2: {0}}
    # of the rows that are hidden those above the last one asked for
    assert marks.hidden == {2, 3, 4}
    assert book.marks("Sheet1", 4).hidden == {2, 3}
    assert book.details("Sheet1").has_marked_rows


@pytest.mark.parametrize(("style", "hidden"), [("gone", True), ("there", False), ("zork", False)])
def test_a_hidden_opendocument_sheet_is_told(tmp_path, style, hidden):
    book = open_ods(tmp_path, [ods.row("a")], sheet=f'A" table:style-name="{style}')
    assert book.details("A").is_hidden is hidden


@pytest.mark.parametrize(
    ("duration", "shown"),
    [("PT10H30M05S", "10:30:05"), ("PT9H", "09:00:00"), ("PT5M", "00:05:00"), ("PT36H00M01,5S", "36:00:01"), ("soon", "soon")],
)  # fmt: skip
def test_a_duration_is_shown_as_a_time_of_day(tmp_path, duration, shown):
    cell = ods.cell("x", value_type="time", time_value=duration)
    assert open_ods(tmp_path, [ods.row(cell)]).details("Sheet1").texts == {(0, 0): shown}


# --- limits


def test_a_cell_far_outside_the_table_is_refused_before_room_is_made():
    def write(book):
        sheet = book.add_worksheet("Sheet1")
        sheet.write(0, 0, "queen_id")
        sheet.write(1_048_575, 16_383, "x")

    book = workbook.Workbook(book_of(write), "book.xlsx")
    with pytest.raises(RecordsError, match="far outside") as caught:
        book.read("Sheet1")
    assert "1048576 rows and 16384 columns" in caught.value.text()


def test_a_workbook_that_unpacks_to_too_much_is_refused(monkeypatch):
    monkeypatch.setattr(workbook_limits, "MOST_BYTES", 1000)
    with pytest.raises(RecordsError, match="too large"):
        workbook.Workbook(book_of(lambda book: book.add_worksheet()), "book.xlsx")


def test_cells_are_named_as_spreadsheets_name_them():
    places = [(0, 0), (3, 25), (4, 26), (0, 701), (0, 702), (1_048_575, 16_383)]
    names = ["A1", "Z4", "AA5", "ZZ1", "AAA1", "XFD1048576"]
    assert [cell_name(place) for place in places] == names


def test_an_error_that_a_formula_shows_is_its_text(tmp_path):
    """OpenDocument 1.3 part 4, 5.12; as which type programs write it differs (from memory)."""
    made = ods.row(
        ods.cell("#DIV/0!", formula="of:=1/0", value_type="string", string_value=""),
        ods.cell("#WERT!", formula="of:=x", value_type="float", value="0"),
        # a text that looks like one, another that a formula made, and one from a format
        ods.cell("#N/A"),
        ods.cell("#12", formula="of:=y", value_type="string", string_value="#12"),
        ods.cell("#12", formula="of:=12", value_type="float", value="12"),
        ods.cell("Err:502", formula="of:=z", value_type="string", string_value=""),
    )
    own = ' xmlns:own="urn:example" own:value-type="error"'
    made = made.replace(' table:formula="of:=z"', f' table:formula="of:=z"{own}')
    # a note at the cell is not what it shows, nor one at a cell without a formula
    note = "<office:annotation><text:p>ask Ann</text:p></office:annotation>"
    made = made.replace("<text:p>#DIV", f"{note}<text:p>#DIV").replace(
        "<text:p>#N/A", f"{note}<text:p>#N/A"
    )
    rows = [ods.row(*"abcdef"), made, ods.row("later", "1")]
    path = ods.write(tmp_path / "checks.ods", rows)
    found = workbook.Workbook(path.read_bytes(), "checks.ods").read("Sheet1").rows()
    assert found[1] == ("#DIV/0!", "#WERT!", "#N/A", "#12", "12", "Err:502")
    assert found[2] == ("later", "1", None, None, None, None)


def test_comments_on_cells_are_told_but_for_those_on_headings(tmp_path):
    def write(book):
        sheet = book.add_worksheet()
        sheet.write_row(0, 1, HEAD)
        sheet.write_comment(0, 1, "Required. The station's label of the queen")
        sheet.write_row(1, 1, ["Q1", "2025-06-20", 80])
        sheet.write_comment(1, 1, "sold\n15.7.")
        sheet.write_row(2, 1, ["Q2", "2025-06-20", 80])
        sheet.write_comment(2, 2, "wing torn")
        book.add_worksheet("Other").write_comment(3, 0, "elsewhere")

    (note,) = grid_of(tmp_path / "b.xlsx", book_of(write)).notes
    assert note.startswith("b.xlsx#Sheet1: 2 comments on cells")
    assert 'B2 "sold 15.7."; C3 "wing torn"' in note


def test_a_workbook_without_comments_tells_none(tmp_path):
    def write(book):
        book.add_worksheet().write_row(0, 0, HEAD)
        book.worksheets()[0].write_row(1, 0, ["Q1", "2025-06-20", 80])

    assert grid_of(tmp_path / "b.xlsx", book_of(write)).notes == []
