"""What stands under "ul": a hive in two languages, a volume in all where nobody has the letter µ.

A hive with its accent ("úl") is one, and a heading with the sign or the capital ("µl", "uL") a volume.
What else the sheet names and the cells tell of "ul"; what they leave open is asked.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import replace

from queen_outcomes.records.map.seen.contents import MOST, Contents
from queen_outcomes.records.map.seen.fits import can_hold
from queen_outcomes.records.map.seen.sheet import Either, Sheet, SheetColumn
from queen_outcomes.records.map.seen.words import fold, labels_in

HIVE, DOSE = "colony_id", "dose_ul"
_WORD = "ul"
_MOST_UL = 30
"""No queen is given more µl (common practice)."""
_OFTEN = 4
"""Each amount stands so often on average; of hives few have so many rows."""
_ONE_ROW_EACH = frozenset(["column:inseminated_at", "topic:inseminations"])


def settle(sheets: Sequence[Sheet]) -> None:
    """Say of each "ul" whether hives or volumes stand under it, and what is to be asked."""
    for sheet in sheets:
        for column in list(sheet.columns):
            if fold(column.name) == _WORD and column.contents.filled:
                _settle(sheet, column)


def _settle(sheet: Sheet, column: SheetColumn) -> None:
    others = [c for c in sheet.columns if c is not column]
    if column.name in sheet.chosen:
        sheet.either[column.name] = Either((DOSE, HIVE))
    elif _has_accent(column.name):
        _name(sheet, column, HIVE)
    elif not _may_be_doses(column.contents) or any(map(_is_dose, others)):
        if column.name == _WORD and f"column:{HIVE}" in _labels(sheet):
            _name(sheet, column, HIVE)
    elif any(c.heading.labels & _ONE_ROW_EACH for c in others):
        if set(column.name) & set("µμL") or any(map(_is_hive, others)):
            _name(sheet, column, DOSE)
            return
        few = len(column.contents.counts) * _OFTEN <= column.contents.filled
        sheet.either[column.name] = Either((DOSE, HIVE), DOSE if few else "")
        _name(sheet, column, DOSE if few else "")


def _labels(sheet: Sheet) -> frozenset[str]:
    """Give what the word says in the language of the sheet."""
    return labels_in(sheet.language).get(_WORD, frozenset()) if sheet.language else frozenset()


def _name(sheet: Sheet, column: SheetColumn, kind: str) -> None:
    """Give a heading one of its two meanings; as it is where none was found."""
    if kind:
        unit = "" if kind == HIVE else "uL"
        said = replace(column.heading, phrases=(frozenset([f"column:{kind}"]),), unit=unit)
        sheet.columns[sheet.columns.index(column)] = replace(column, heading=said)


def _has_accent(text: str) -> bool:
    return any(map(unicodedata.combining, unicodedata.normalize("NFKD", text)))


def _may_be_doses(held: Contents) -> bool:
    numbers = [number.value for number in held.numbers if number]
    low = [number for number in numbers if 0 <= number <= _MOST_UL]
    return len(low) >= MOST * held.filled


def _is_dose(column: SheetColumn) -> bool:
    return DOSE in column.heading.of("column") and can_hold("number", DOSE, column.contents) > 0


def _is_hive(column: SheetColumn) -> bool:
    """Tell whether another heading is the hive's, by its accent where it is the same word."""
    same = fold(column.name) == _WORD
    clear = _has_accent(column.name) if same else column.heading.of("column") == {HIVE}
    return clear and can_hold("id", HIVE, column.contents) > 0
