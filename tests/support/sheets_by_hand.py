"""Sheets as `map` sees them, made by hand: columns of ours with what stands in them."""

from __future__ import annotations

from itertools import zip_longest

from queen_outcomes.records.map.seen.contents import Contents
from queen_outcomes.records.map.seen.feed import Feed, Use
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.opened import Cell, CellGrid, Row
from queen_outcomes.records.map.seen.sheet import Sheet, SheetColumn, lay_out
from queen_outcomes.records.map.seen.station import Part, Station


def cell(text) -> Cell:
    """Give a cell of a text, or of (text, kind)."""
    return (
        text
        if isinstance(text, Cell)
        else Cell(*([text] if isinstance(text, str) else text))
    )


def grid(text: str, source: str = "sheet.csv") -> CellGrid:
    """Give the grid of lines of cells parted by commas."""
    lines = [line.split(",") for line in text.strip("\n").split("\n")]
    rows = [
        Row(number, tuple(Cell(c.strip()) for c in cells))
        for number, cells in enumerate(lines, 1)
    ]
    return CellGrid(source, tuple(rows), typed_text=True)


def sheet(text: str, source: str = "sheet.csv") -> Sheet:
    """Lay out such a grid."""
    return lay_out(grid(text, source))


def columns_of(columns: dict[str, list], first: int = 0) -> list[SheetColumn]:
    """Give columns of a sheet: heading -> its cells."""
    return [
        SheetColumn(at, heading(name), Contents([cell(text) for text in texts]))
        for at, (name, texts) in enumerate(columns.items(), first)
    ]


def part(
    source: str, table: str, headings: dict[str, str] | None = None, **columns
) -> Part:
    """Give a rule that feeds columns of ours from these cells, under our names or others.

    Parameters
    ----------
    source, table : str
    headings : dict, optional
        Our column -> the sheet's heading, where it is another.
    **columns : list
        Our column -> its cells, each a text, (text, kind) or Cell.
    """
    names = {ours: (headings or {}).get(ours, ours) for ours in columns}
    cells = [[cell(text) for text in texts] for texts in columns.values()]
    rows = [
        Row(number, tuple(line))
        for number, line in enumerate(zip_longest(*cells, fillvalue=Cell()), 2)
    ]
    top = Row(1, tuple(Cell(name) for name in names.values()))
    made = Sheet(CellGrid(source, (top, *rows)), header=[1], rows=rows)
    made.columns = columns_of({names[ours]: texts for ours, texts in columns.items()})
    return Part(made, Feed(table, {ours: Use([name]) for ours, name in names.items()}))


def station(*parts: Part) -> Station:
    """Give the station that these rules make, each of a sheet of its own unless it is one."""
    sheets = {one.source: one.sheet for one in parts}
    return Station(list(sheets.values()), list(parts))


def ids(questions):
    return [question.id for question in questions]
