"""Tables that stand below each other on a sheet, told by a second row of other headings.

What `map` finds so it writes as `tables_below`; each is then looked at as a sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from queen_outcomes.facts.reading import BELOW, takes
from queen_outcomes.records import below
from queen_outcomes.records.map.seen.contents import day_of, is_ditto
from queen_outcomes.records.map.seen.opened import Cell, CellGrid, Row
from queen_outcomes.records.map.seen.sheet import heads_columns
from queen_outcomes.records.map.seen.words import fold

Begins = Callable[[str], Sequence[str] | None]
"""A sheet's name -> the texts with which its further tables begin, as the settings have
them; None where they do not speak of the sheet."""
_LEAST_ROWS = 2
"""Under headings of their own stand so many rows with two texts, or it is no table."""
_LEAST_SAME = 2
"""So many cells that say what one above them says, of the same table, make a row a record."""
_OTHERS = 0.5
"""Share of a row's headings that are new, from which on they are another table's."""


def by_settings(settings: Mapping[str, Any], is_known: Callable[[str], bool]) -> Begins:
    """Give what the settings say of the sheets they know; None of the others."""
    files = settings.get("files", {})

    def begins(source: str) -> Sequence[str] | None:
        said = [
            text
            for pattern, habits in files.items()
            if isinstance(habits, dict) and takes(pattern, source)
            for text in _listed(habits.get("tables_below", []))
        ]
        return said if said or is_known(source) else None

    return begins


def _listed(value: Any) -> list[str]:
    return [value] if isinstance(value, str) else [str(each) for each in value]


def parted(grid: CellGrid, begins: Sequence[str] | None) -> list[CellGrid]:
    """Part a sheet into its tables, the first under the sheet's own name.

    Parameters
    ----------
    grid : CellGrid
    begins : sequence of str or None
        The texts with which further tables begin; None: they are looked for.
    """
    firsts = [next((cell.text for cell in row.cells if cell.text), "") for row in grid.rows]
    wanted = list(_found(grid, firsts)) if begins is None else list(begins)
    spans = below.spans(firsts, wanted) if wanted else {}
    if len(spans) < 2:
        return [grid]
    own = {text: rows for text, rows in spans.items() if text}
    return [
        replace(
            grid,
            source=f"{grid.source}{BELOW}{text}" if text else grid.source,
            rows=grid.rows[rows.start : rows.stop],
            spans=frozenset((row - rows.start, at) for row, at in grid.spans if row in rows),
            tables_below=() if text else tuple(own),
            encoding="" if text else grid.encoding,
            undecided=(),
        )
        for text, rows in spans.items()
    ]


def _found(grid: CellGrid, firsts: Sequence[str]) -> Iterator[str]:
    """Give the texts with which further tables begin: a title, or the first heading."""
    heads: list[str] = []
    heads_at = 0
    for at, row in enumerate(grid.rows):
        if not heads_columns(row) or any(map(_is_whole_day, row.cells)):
            continue
        theirs = [fold(cell.text) for cell in row.cells if cell.text]
        if not heads:
            heads, heads_at = theirs, at
            continue
        title = _title(grid.rows, at)
        begin = at if title is None else title
        others = sum(text not in heads for text in theirs)
        apart = begin > 0 and not grid.rows[begin - 1].filled
        under = [row for row in grid.rows[at + 1 : at + 1 + _LEAST_ROWS] if len(row.filled) > 1]
        plain = "//" not in firsts[begin] and firsts.index(firsts[begin]) == begin
        above = grid.rows[heads_at + 1 : begin]
        if apart and not any(len(row.filled) > 1 for row in above):
            heads, heads_at = theirs, at  # with no row below them the texts above were titles
        elif _goes_on(row, above):
            continue
        elif apart and plain and len(under) == _LEAST_ROWS and others > _OTHERS * len(theirs):
            yield firsts[begin]
            heads, heads_at = theirs, at


def _goes_on(row: Row, above: Sequence[Row]) -> bool:
    """Tell whether a row is one more record, whatever words stand in it.

    A mark for "the same" heads nothing, and headings do not say what cells above them say.
    """
    if any(is_ditto(cell.text) for cell in row.cells):
        return True
    held = {(at, other.text(at)) for other in above for at in other.filled}
    return sum((at, row.text(at)) in held for at in row.filled) >= _LEAST_SAME


def _is_whole_day(cell: Cell) -> bool:
    """Tell whether a cell holds a day with its year: a record, though its "N" and "Y" are words."""
    seen = day_of(cell.text) if cell.text else None
    return cell.kind == "date" or (seen is not None and not seen.yearless)


def _title(rows: Sequence[Row], at: int) -> int | None:
    """Give the row right above that holds one text alone; None where there is none."""
    return at - 1 if at and len(rows[at - 1].filled) == 1 else None
