"""The blank workbook and its CSV twins."""

from __future__ import annotations

import zipfile

import fastexcel
import openpyxl
import pytest
from queen_outcomes.base import resources
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


def column_of(sheet, heading):
    return next(cell for cell in sheet[2] if cell.value == heading)


def rule_at(sheet, cell):
    return next(
        (
            rule
            for rule in sheet.data_validations.dataValidation
            if f"{cell.column_letter}3" in rule.sqref
        ),
        None,
    )


def test_how_a_sheet_is_laid_out(workbook):
    book = openpyxl.load_workbook(workbook)
    sheet, columns = (
        book["inseminations"],
        blanks.columns_to_fill(TABLES["inseminations"]),
    )
    last = sheet.cell(2, len(columns)).column_letter
    assert sheet["A1"].value.startswith("inseminations (required table): one row is ")
    assert book["co2"]["A1"].value.startswith("co2 (optional table): ")
    assert [str(area) for area in sheet.merged_cells.ranges] == [f"A1:{last}1"]
    assert sheet.freeze_panes == "B3"
    assert sheet.print_title_rows == "$1:$2"
    assert sheet.print_area.endswith(f"$A$1:${last}$32")
    setup = sheet.page_setup
    assert (setup.orientation, setup.fitToWidth or 1, setup.fitToHeight) == (
        "landscape",
        1,
        0,
    )
    margins = sheet.page_margins
    assert (margins.left, margins.right, margins.top, margins.bottom) == (
        0.4,
        0.4,
        0.5,
        0.5,
    )
    assert sheet.print_options.gridLines is True
    assert sheet.sheet_view.showGridLines is not False
    at, dose, note = (
        column_of(sheet, n) for n in ("inseminated_at", "dose_ul", "note")
    )
    widths = {
        c.value: sheet.column_dimensions[c.column_letter].width
        for c in (at, dose, note)
    }
    assert [round(width) for width in widths.values()] == [18, 12, 31]
    meant = column_of(sheet, "dose_meant_ul")
    assert round(sheet.column_dimensions[meant.column_letter].width) == 17
    assert (at.font.b, at.fill.fgColor.rgb[-6:]) == (True, "F2D98D")
    assert (bool(note.font.b), note.fill.fgColor.rgb[-6:]) == (False, "EDEDED")
    assert at.comment.text.startswith("Required. ")
    assert not note.comment.text.startswith("Required")
    assert sheet.column_dimensions[at.column_letter]._style is not None
    assert at.border.left.style == dose.border.top.style == "thin"


@pytest.mark.parametrize(
    ("table", "heading", "kind", "operator", "bounds"),
    [
        ("inseminations", "dose_ul", "decimal", "between", ("0", "40")),
        (
            "inseminations",
            "inseminated_at",
            "date",
            "greaterThanOrEqual",
            ("32874", None),
        ),
        ("checks", "checked_on", "date", "greaterThanOrEqual", ("32874", None)),
        ("inseminations", "leak", "list", None, ('"none,some,most"', None)),
        ("checks", "eggs", "list", None, ('"yes,no"', None)),
        ("inseminations", "note", None, None, None),
        ("inseminations", "queen_id", None, None, None),
    ],
)
def test_the_rule_of_a_cell(workbook, table, heading, kind, operator, bounds):
    sheet = openpyxl.load_workbook(workbook)[table]
    rule = rule_at(sheet, column_of(sheet, heading))
    if kind is None:
        assert rule is None
        return
    assert (rule.type, rule.operator or "between") == (kind, operator or "between")
    assert (rule.formula1, rule.formula2) == bounds
    assert str(rule.sqref).split(":")[1].endswith("2000")


def test_the_guide_lists_every_column_below_its_words(workbook):
    guide = openpyxl.load_workbook(workbook)[blanks.GUIDE]
    rows = [[cell.value for cell in row] for row in guide.iter_rows()]
    asked = [
        [c.name + " (required)" * c.required, c.meaning, blanks.what_to_write(c)]
        for table in TABLES.values()
        for c in blanks.columns_to_fill(table)
    ]
    assert [row for row in rows if row[1]] == asked
    titles = [f"{table.name}: {table.grain}" for table in TABLES.values()]
    assert [row[0] for row in rows if not row[1] and row[0] in titles] == titles
    below = rows.index(asked[0])
    assert (rows[below - 1][0], rows[below - 2]) == (titles[0], [None] * 3)
    assert not rows[0][0].startswith("#")
    assert [round(guide.column_dimensions[c].width) for c in "ABC"] == [25, 59, 63]
    assert {
        str(area)[0] + str(area).split(":")[1][0] for area in guide.merged_cells.ranges
    } == {"AC"}
    bold = {row[0].value for row in guide.iter_rows() if row[0].font.b}
    assert set(titles) < bold
    long = next(
        n
        for n, row in enumerate(rows, 1)
        if row[0] and len(row[0]) > 130 and not row[1]
    )
    assert guide.row_dimensions[long].height == 15 * -(-len(rows[long - 1][0]) // 130)
    assert guide.row_dimensions[1].height is None


def test_the_guide_stands_line_by_line_and_then_column_by_column(workbook):
    sheet = openpyxl.load_workbook(workbook)[blanks.GUIDE]
    lines = resources.read("reports", "text", "how_to_fill_in.txt").splitlines()
    expected = [(line.removeprefix("# ") or None, None, None) for line in lines]
    wide = [f"A{row}:C{row}" for row in range(1, len(lines) + 1)]
    for table in TABLES.values():
        expected += [(None,) * 3, (f"{table.name}: {table.grain}", None, None)]
        wide.append(f"A{len(expected)}:C{len(expected)}")
        for column in blanks.columns_to_fill(table):
            need = " (required)" if column.required else ""
            expected.append((column.name + need, column.meaning, blanks.what_to_write(column)))
    assert list(sheet.iter_rows(values_only=True)) == expected
    assert {str(area) for area in sheet.merged_cells.ranges} == set(wide)
    bold = [sheet.cell(row, 1).font.b or False for row in range(1, len(lines) + 1)]
    assert bold == [line.startswith("# ") for line in lines]
    for row, line in enumerate(lines, 1):
        folded = -(-len(line.removeprefix("# ")) // 130) or 1
        assert (sheet.row_dimensions[row].height or 15) == 15 * folded
    widths = [round(sheet.column_dimensions[name].width) for name in "ABC"]
    assert widths == [25, 59, 63]
    setup = sheet.page_setup
    assert (setup.orientation, setup.fitToWidth or 1, setup.fitToHeight) == ("landscape", 1, 0)


def test_what_a_heading_means_has_room_to_be_read(workbook):
    """Twice as wide as a comment usually is, and a fifth higher; hidden until pointed at."""
    drawn = parts(workbook, "xl/drawings/vmlDrawing")
    asked = sum(len(blanks.columns_to_fill(table)) for table in TABLES.values())
    assert drawn.count("width:192pt;height:66.75pt") == drawn.count("visibility:hidden") == asked
