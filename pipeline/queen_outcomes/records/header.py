"""Headings: which line holds them, and which of our columns each one is.

Compares names only; what stands below the headings is none of its business.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from queen_outcomes.facts.column import Table

SEARCHED_ROWS = 30
"""Titles and remarks may stand above the headings, within so many rows."""
RESERVED = ("source_line", "broken", "broken_text")
"""Columns that every raw table has besides the source's own."""
_INVISIBLE = re.compile("[\ufeff\u200b-\u200f\u2060\u00ad]")


def tidy(heading: object) -> str:
    """Take invisible characters and superfluous blanks out of a heading."""
    text = "" if heading is None else str(heading)
    return " ".join(_INVISIBLE.sub("", text).split())


def canonical(heading: str) -> str:
    """Write a heading the way our own column names are written."""
    return re.sub(r"[\s\-]+", "_", tidy(heading).casefold())


def unique(headings: Iterable[object]) -> list[str]:
    """Make headings usable as column names: named, and all different."""
    taken = set(RESERVED)
    names = []
    for number, heading in enumerate(headings, start=1):
        plain = tidy(heading) or f"column {number}"
        name, copy = plain, 2
        while name.casefold() in taken:
            name, copy = f"{plain} ({copy})", copy + 1
        taken.add(name.casefold())
        names.append(name)
    return names


@dataclass(frozen=True)
class Names:
    """What the headings of one table may be called."""

    table: Table
    ours: Mapping[str, str]
    """The station's heading, folded -> our column."""

    @classmethod
    def of(cls, table: Table, columns: Mapping[str, str]) -> Names:
        """Take a table and the station's own headings for its columns."""
        theirs = {tidy(theirs).casefold(): ours for ours, theirs in columns.items()}
        return cls(table, theirs)

    def match(self, headings: Sequence[object]) -> dict[str, list[int]]:
        """Give the places of the headings that stand for each of our columns.

        A heading that the station maps comes before the canonical name.
        """
        mapped: dict[str, list[int]] = {}
        plain: dict[str, list[int]] = {}
        for place, heading in enumerate(headings):
            folded, name = tidy(heading).casefold(), canonical(tidy(heading))
            if folded in self.ours:
                mapped.setdefault(self.ours[folded], []).append(place)
            elif name in self.table.names:
                plain.setdefault(name, []).append(place)
        found = plain | mapped
        return {name: found[name] for name in self.table.names if name in found}

    def missing(self, known: Iterable[str]) -> list[str]:
        """Give the columns that a source must have and this one lacks."""
        there = set(known)
        lacking = [
            column.name
            for column in self.table.columns
            if column.required and column.name not in there
        ]
        if self.table.either and not there & set(self.table.either):
            lacking.append(self.table.either[0])
        return lacking

    def find(self, rows: Sequence[Sequence[object]]) -> tuple[int, int, bool]:
        """Find the row of headings among a source's first rows.

        Returns
        -------
        row : int
            Its place; where no row has all that is required, the row that has most.
        known : int
            How many of our columns it has.
        complete : bool
            Whether it has all that a source must have.
        """
        best = (0, 0, False)
        for place, row in enumerate(rows[:SEARCHED_ROWS]):
            found = self.match(row)
            if found and not self.missing(found):
                return place, len(found), True
            if len(found) > best[1]:
                best = (place, len(found), False)
        if best[1] == 0:
            filled = (p for p, row in enumerate(rows) if any(map(tidy, row)))
            best = (next(filled, 0), 0, False)
        return best
