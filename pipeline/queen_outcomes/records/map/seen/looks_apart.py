"""Looks written into one cell, each with its day: "5.6. eggs", "19/11 eggs; 9/3 good brood".

The parts of such cells stand at the right end of the sheet, as the reader will have them, under
headings of their own; what is then found in them is found as in any other column.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from queen_outcomes.records import apart
from queen_outcomes.records.map.seen import meanings
from queen_outcomes.records.map.seen.contents import (
    MOST,
    Contents,
    clock_of,
    day_of,
    is_tick,
    number_of,
)
from queen_outcomes.records.map.seen.fits import FINDINGS, PARTLY
from queen_outcomes.records.map.seen.headings import Heading
from queen_outcomes.records.map.seen.opened import Cell, Row
from queen_outcomes.records.map.seen.sheet import Sheet, SheetColumn

_MOST = 8
"""So many looks stand in a cell at the most."""
_FEWEST, _KNOWN = 3, 0.25
"""So many cells hold a day and words, one beside other such columns, and of such a share of the
words it is known what they say."""
_OF_LOOKS = frozenset(["checked_on", FINDINGS])
_CHECKS = "checks"


def part(sheet: Sheet) -> Sheet:
    """Give a sheet the days and words of its looks as columns in the place of theirs."""
    sure = {c.at: most for c in sheet.columns if _heads_looks(c) and (most := _parts(c))}
    # "autumn" and what nobody knows is one more look beside those
    more = {c.at: most for c in sheet.columns if sure and _may_be_one(c) and (most := _parts(c, 1))}
    wanted = sure | more
    if not wanted or _has_other_looks(sheet, wanted):
        return sheet
    several = sum(wanted.values()) > 1
    columns, made, rows = list(sheet.columns), [], list(sheet.rows)
    width = max(*(len(row.cells) for row in rows), *(column.at + 1 for column in columns))
    for column in [c for c in columns if c.at in wanted]:
        most = wanted[column.at]
        texts = [row.cells[column.at].whole if column.at < len(row.cells) else "" for row in rows]
        taken = apart.taken_apart(filter(None, texts), most)
        names = apart.names(column.name, most)
        for number in range(most):
            slot = str(len(made) // 2 + 1) if several else ""
            for side in (0, 1):
                held = [taken[text][number][side] if text else "" for text in texts]
                made.append(_column(width + len(made), names[2 * number + side], slot, held, side))
    sheet.columns = [c for c in columns if c.at not in wanted] + made
    sheet.apart = {c.name: wanted[c.at] for c in columns if c.at in wanted}
    sheet.rows = [_longer(row, width, made, at) for at, row in enumerate(rows)]
    return sheet


def _column(at: int, name: str, slot: str, texts: Sequence[str], side: int) -> SheetColumn:
    phrases = frozenset([f"topic:{_CHECKS}"]), frozenset([f"column:{'checked_on' if not side else FINDINGS}"])
    said = Heading(name, phrases, slot=slot)
    return SheetColumn(at, said, Contents([Cell(text) for text in texts], dated=not side))


def _longer(row: Row, width: int, made: Iterable[SheetColumn], at: int) -> Row:
    blank = [Cell()] * (width - len(row.cells))
    return replace(row, cells=(*row.cells, *blank, *(c.contents.cells[at] for c in made)))


def _heads_looks(column: SheetColumn) -> bool:
    said = column.heading
    return bool(column.name) and (
        said.of("column") <= _OF_LOOKS and bool(said.of("column") or _CHECKS in said.of("topic"))
    )


def _may_be_one(column: SheetColumn) -> bool:
    said = column.heading
    return bool(column.name) and not said.of("column") and not said.of("topic") - {_CHECKS}


def _parts(column: SheetColumn, fewest: int = _FEWEST) -> int:
    """Give how many looks its cells have; 0 where days and words do not stand in most."""
    held = column.contents
    texts = [cell.whole for cell in held.kept]
    if len(texts) < fewest or held.day_share >= PARTLY:
        return 0
    most = apart.parts_in(texts)
    if not 0 < most <= _MOST:
        return 0
    parts = [one for made in apart.taken_apart(texts, most).values() for one in made if all(one)]
    days = sum(day_of(day) is not None for day, _ in parts)
    said = sum(not _is_value(words) for _, words in parts)
    known = sum(meanings.of_findings(words) is not None for _, words in parts)
    enough = days >= MOST * len(parts) and said >= MOST * len(parts)
    return most if parts and enough and known >= _KNOWN * len(parts) else 0


def _is_value(words: str) -> bool:
    """Tell whether beside a day stands an hour, a figure or a mark, and no word."""
    return bool(clock_of(words) or number_of(words) or is_tick(words)) or not any(map(str.isalpha, words))


def _has_other_looks(sheet: Sheet, wanted: Iterable[int]) -> bool:
    """Tell whether the sheet has the day of a look in a column of its own, too."""
    return any(
        _heads_looks(column) and column.contents.day_share >= PARTLY
        for column in sheet.columns
        if column.at not in wanted
    )
