"""The blank records: one workbook with a sheet a table, and CSV twins.

Everything in them comes from the dictionary; the bytes are always the same. The
columns that only a station with one flat sheet keeps are left out.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

from queen_outcomes.base import resources
from queen_outcomes.facts.column import Column, Table
from queen_outcomes.facts.dictionary import TABLES

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

MADE = dt.datetime(2026, 1, 1)  # noqa: DTZ001 - a workbook's times know no zone
"""The workbook's date of making, fixed so that its bytes are."""
GUIDE = "How to fill in"
TITLE_ROW, HEADING_ROW, FIRST_ROW, LAST_ROW = 0, 1, 2, 1999
PRINTED_ROWS = 30
EARLIEST = dt.date(1990, 1, 1)
YES_NO = ("yes", "no")
FORMATS = {"date": "yyyy-mm-dd", "datetime": "yyyy-mm-dd hh:mm"}
WHAT_A_CELL_HOLDS = {
    "id": "a label",
    "label": "a name",
    "text": "free text",
    "date": "a day, such as 2026-06-01",
    "datetime": "a day and time, such as 2026-06-01 10:30",
    "number": "a number",
    "integer": "a whole number",
    "yes_no": "yes or no",
}


def columns_to_fill(table: Table) -> list[Column]:
    """Give the columns that a blank asks for."""
    return [column for column in table.columns if not column.flat]


def what_to_write(column: Column) -> str:
    """Say in one line what a cell may hold."""
    if column.words:
        return "one of: " + ", ".join(column.words)
    if column.hard is None:
        return WHAT_A_CELL_HOLDS[column.kind] + (
            f", in {column.unit}" if column.unit else ""
        )
    words = f"{WHAT_A_CELL_HOLDS[column.kind]}, {column.hard.words(column.unit)}"
    usual = f"; usually {column.soft.words()}" if column.soft else ""
    return words + usual


def write_csvs(folder: Path) -> list[Path]:
    """Write an empty CSV file for each table, its headings only."""
    written = []
    for table in TABLES.values():
        path = folder / f"{table.name}.csv"
        headings = ",".join(column.name for column in columns_to_fill(table))
        path.write_text(headings + "\n", encoding="utf-8", newline="\n")
        written.append(path)
    return written


def write_workbook(path: Path) -> Path:
    """Write the blank workbook."""
    import xlsxwriter

    with xlsxwriter.Workbook(str(path)) as book:
        book.set_properties({"title": "Blank records", "created": MADE})
        for table in TABLES.values():
            _add_table(book, table)
        _add_guide(book)
    return path


def _add_table(book: Workbook, table: Table) -> None:
    sheet = book.add_worksheet(table.name)
    columns = columns_to_fill(table)
    last = len(columns) - 1
    need = "required" if table.required else "optional"
    title = f"{table.name} ({need} table): one row is {table.grain}"
    bold = book.add_format({"bold": True, "font_size": 13, "align": "left"})
    sheet.merge_range(TITLE_ROW, 0, TITLE_ROW, last, title, bold)
    for at, column in enumerate(columns):
        _add_column(book, sheet, at, column)
    sheet.freeze_panes(FIRST_ROW, 1)
    _lay_out(sheet, last)


def _lay_out(sheet: Worksheet, last: int) -> None:
    """Make a sheet to print: A4 across, one page wide, headings on every page."""
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.set_margins(0.4, 0.4, 0.5, 0.5)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(TITLE_ROW, HEADING_ROW)
    sheet.print_area(0, 0, HEADING_ROW + PRINTED_ROWS, last)
    sheet.hide_gridlines(0)
    sheet.set_footer("&L&A&RPage &P of &N")


def _add_column(book: Workbook, sheet: Worksheet, at: int, column: Column) -> None:
    heading = book.add_format(
        {
            "bold": column.required,
            "bg_color": "#F2D98D" if column.required else "#EDEDED",
            "border": 1,
            "text_wrap": True,
            "valign": "top",
        }
    )
    sheet.write_string(HEADING_ROW, at, column.name, heading)
    need = "Required. " if column.required else ""
    comment = f"{need}{column.meaning}\n{what_to_write(column)}"
    size = {"author": "queen-outcomes", "x_scale": 2, "y_scale": 1.2}
    sheet.write_comment(HEADING_ROW, at, comment, size)
    form = {"num_format": FORMATS.get(column.kind, "@" if column.kind == "id" else "")}
    cells = book.add_format({name: value for name, value in form.items() if value})
    wide = 17 if column.kind == "datetime" else max(11, len(column.name) + 3)
    sheet.set_column(at, at, 30 if column.kind == "text" else wide, cells)
    rule = _rule(column)
    if rule:
        sheet.data_validation(FIRST_ROW, at, LAST_ROW, at, rule)


def _rule(column: Column) -> dict[str, Any] | None:
    """Give the cell's rule: it warns and never forbids, for a record outranks a form."""
    told = what_to_write(column)
    common = {
        "error_type": "warning",
        "error_title": column.name,
        "error_message": told[:255],
        "input_title": column.name,
        "input_message": told[:255],
    }
    words = YES_NO if column.kind == "yes_no" else column.words
    if words:
        return {"validate": "list", "source": list(words), **common}
    if column.kind in FORMATS:
        rule = {"validate": "date", "criteria": ">=", "value": EARLIEST}
        return {**rule, **common}
    bounds = _bounds(column)
    kind = "integer" if column.kind == "integer" else "decimal"
    return {"validate": kind, **bounds, **common} if bounds else None


def _bounds(column: Column) -> dict[str, Any]:
    if column.hard is None:
        return {}
    low, high = column.hard.low, column.hard.high
    if low is not None and high is not None:
        return {"criteria": "between", "minimum": low, "maximum": high}
    if low is not None:
        return {"criteria": ">" if column.hard.low_open else ">=", "value": low}
    return {"criteria": "<=", "value": high}


def _add_guide(book: Workbook) -> None:
    """Add the last sheet: plain words, cautions, and every column on paper."""
    sheet = book.add_worksheet(GUIDE)
    bold = book.add_format({"bold": True, "valign": "top"})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 1, 58)
    sheet.set_column(2, 2, 62)
    row = 0
    for line in resources.read("reports", "text", "how_to_fill_in.txt").splitlines():
        heading = line.startswith("# ")
        text = line.removeprefix("# ")
        sheet.merge_range(row, 0, row, 2, text, bold if heading else wrap)
        sheet.set_row(row, 15 * max(1, -(-len(text) // 130)))
        row += 1
    for table in TABLES.values():
        sheet.merge_range(row + 1, 0, row + 1, 2, f"{table.name}: {table.grain}", bold)
        row += 2
        for column in columns_to_fill(table):
            need = " (required)" if column.required else ""
            sheet.write_string(row, 0, column.name + need, wrap)
            sheet.write_string(row, 1, column.meaning, wrap)
            sheet.write_string(row, 2, what_to_write(column), wrap)
            row += 1
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
