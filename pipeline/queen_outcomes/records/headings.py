"""Headings: which row holds them, and which of our columns each one is.

Compares names only: what stands below the headings is none of its business. Where a
column is missing or claimed twice, the station is told what to mend before any row is
read.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from queen_outcomes.base.errors import (
    MOST_SHOWN,
    RecordsError,
    nearest,
    raise_all,
    shorten,
)
from queen_outcomes.facts.column import Table

SEARCHED_ROWS = 30
"""Titles and remarks may stand above the headings, within so many rows."""
RESERVED = ("source_line", "broken", "broken_text")
"""Columns that every raw table has besides the source's own."""
_INVISIBLE = re.compile("[\ufeff\u200b-\u200f\u2060\u00ad]")
_MIDNIGHT = re.compile(r"(?<=^\d{4}-\d\d-\d\d)[ T]00:00:00(?:\.0+)?$")


def tidy(heading: object) -> str:
    """Take invisible characters and superfluous blanks out of a heading.

    A workbook's day is a midnight to it; as a heading it is the day.
    """
    text = "" if heading is None else str(heading)
    return _MIDNIGHT.sub("", " ".join(_INVISIBLE.sub("", text).split()))


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


def reached(
    cells: Sequence[str | None],
    spans: Mapping[int, int] | None = None,
    below: Sequence[str | None] | None = None,
) -> list[str]:
    """Let the cells of a heading reach right.

    Parameters
    ----------
    cells : sequence of str or None
        A row of the heading.
    spans : mapping
        Place of a merged cell -> the last place that it covers: it reaches so far.
    below : sequence of str or None, optional
        The row below. Where it is given, a cell that is not merged reaches over the empty
        cells right of it too, unless nothing stands under it: then it is a name of its
        own and no group.
    """
    spans, last, reach = spans or {}, -1, ""
    out = []
    for place, cell in enumerate(cells):
        own = tidy(cell)
        if own or place in spans:
            reach, last = own, spans.get(place, place)
            grouped = below is not None and place < len(below) and tidy(below[place])
            if grouped and place not in spans:
                last = len(cells)
        out.append(reach if place <= last else "")
    return out


def joined(
    rows: Sequence[Sequence[str | None]],
    spans: Sequence[Mapping[int, int]] = (),
) -> list[str]:
    """Join the rows of a heading: "upper lower", or either where the other is empty.

    Parameters
    ----------
    rows : sequence of sequences of str or None
        The rows of the heading, from the top. A single row stays as it is.
    spans : sequence of mappings
        The merged cells of each row, as `reached` takes them.
    """
    if len(rows) == 1:
        return [cell or "" for cell in rows[0]]
    width = max(map(len, rows))
    filled = [[*row, *[None] * (width - len(row))] for row in rows]
    spans = spans or [{} for _ in filled]
    levels = [
        reached(row, merged, below)
        for row, merged, below in zip(filled, spans, [*filled[1:], None], strict=True)
    ]
    return [_joined(texts) for texts in zip(*levels, strict=True)]


def _joined(texts: Sequence[str]) -> str:
    parts: list[str] = []
    for text in texts:
        # a cell merged downwards stands in both rows for some programs
        if text and text.casefold() not in (part.casefold() for part in parts[-1:]):
            parts.append(text)
    return " ".join(parts)


def no_heading_there(
    header: Sequence[int], filled: Iterable[int], where: str
) -> RecordsError:
    """Say that the settings look for headings where no row with text begins."""
    lines = [str(line) for line in filled]
    wanted = ", ".join(map(str, header))
    return RecordsError(
        "there are no headings on the line that the settings name",
        where=where,
        found="rows with text begin on lines " + shorten(lines, ", "),
        expected=f"headings on line {wanted}",
        hint='mend "header" under [files] in station.toml, or take it out',
    )


class HeadingSearch(Protocol):
    """What finds the row of headings among a source's first rows."""

    def find(self, rows: Sequence[Sequence[object]]) -> tuple[int, int, bool]:
        """Give its place, how many of what is looked for it has, and whether that is all."""


@dataclass(frozen=True)
class TableNames:
    """What the headings of one table may be called."""

    table: Table
    ours: Mapping[str, str]
    """The station's heading, folded -> our column."""

    @classmethod
    def of(cls, table: Table, columns: Mapping[str, str]) -> TableNames:
        """Take a table and the station's own headings for its columns."""
        theirs = {tidy(theirs).casefold(): ours for ours, theirs in columns.items()}
        return cls(table, theirs)

    def match(self, headings: Sequence[object]) -> dict[str, list[int]]:
        """Give the places of the headings that stand for each of our columns.

        A heading that the station maps comes before the canonical name.
        """
        mapped: dict[str, list[int]] = {}
        plain: dict[str, list[int]] = {}
        numbered = unique(headings)
        for place, heading in enumerate(headings):
            folded, name = tidy(heading).casefold(), canonical(tidy(heading))
            if folded and numbered[place].casefold() in self.ours:
                folded = numbered[place].casefold()  # "date (2)" is told from "date"
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


@dataclass(frozen=True)
class AskedNames:
    """The headings that rules of the settings ask a sheet for."""

    headings: tuple[str, ...]

    def find(self, rows: Sequence[Sequence[object]]) -> tuple[int, int, bool]:
        """Find the row of headings, as `TableNames.find` does: the one with most of them."""
        wanted = {tidy(heading).casefold() for heading in self.headings}
        best = (0, 0, False)
        for place, row in enumerate(rows[:SEARCHED_ROWS]):
            known = len(wanted & {name.casefold() for name in unique(row)})
            if known > best[1]:
                best = (place, known, known == len(wanted))
        return best


def map_columns(
    names: TableNames, headings: Sequence[str], where: str
) -> dict[str, int]:
    """Give our column -> the place of the source's heading.

    Parameters
    ----------
    names : TableNames
        What the table's headings may be called.
    headings : sequence of str
        The source's headings as they stand there.
    where : str
        The source's name.

    Raises
    ------
    RecordsError
        Two headings for one column, or a required column is missing; all of them.
    """
    found = names.match(headings)
    faults = [
        RecordsError(
            f'two headings stand for the column "{ours}"',
            where=where,
            found=", ".join(f'"{tidy(headings[place])}"' for place in places),
            expected="one",
            hint="rename or take out all but one of them",
        )
        for ours, places in found.items()
        if len(places) > 1
    ]
    lacking = names.missing(found)
    raise_all([*faults, *(_missing(names, one, headings, where) for one in lacking)])
    return {ours: places[0] for ours, places in found.items()}


def _missing(
    names: TableNames, column: str, headings: Sequence[str], where: str
) -> RecordsError:
    table = names.table
    wanted = " or ".join(table.either) if column in table.either else column
    theirs = next((h for h, ours in names.ours.items() if ours == column), None)
    free = [tidy(h) for h in headings if tidy(h) and not names.match([h])]
    close = nearest(theirs or column, free) or nearest_canonical(column, free)
    if close:
        hint = (
            f'is it the column "{close}"? then write under [columns.{table.name}] '
            f'in station.toml: {column} = "{close}"'
        )
    else:
        hint = (
            f"add the column, or name the station's own heading under "
            f"[columns.{table.name}] in station.toml; `queen-outcomes map` proposes it"
        )
    return RecordsError(
        f'the required column "{wanted}" is missing',
        where=where,
        found=shorten([tidy(h) for h in headings if tidy(h)], ", ") or "no headings",
        expected=wanted,
        hint=hint,
    )


def nearest_canonical(column: str, headings: Sequence[str]) -> str | None:
    """Give the heading nearest to a column's name, blanks and hyphens aside."""
    written = {canonical(heading): heading for heading in headings}
    close = nearest(column, written)
    return written[close] if close else None


def absent(
    table: str, columns: Mapping[str, str], headings: Sequence[Sequence[str]]
) -> Iterator[RecordsError]:
    """Tell of headings of the settings that no source of their table has.

    Parameters
    ----------
    table : str
        The table's name.
    columns : mapping
        Our column -> the station's heading, as the settings have it.
    headings : sequence of sequences of str
        The headings of each source of the table.
    """
    there = {
        name.casefold(): name
        for source in headings
        for heading, numbered in zip(source, unique(source), strict=True)
        if tidy(heading)
        for name in (tidy(heading), numbered)
    }
    for ours, theirs in columns.items():
        if tidy(theirs).casefold() in there:
            continue
        close = nearest(tidy(theirs), there.values())
        yield RecordsError(
            f'no source of the table "{table}" has the heading "{theirs}"',
            where=f"station.toml [columns.{table}] {ours}",
            found=shorten(list(there.values()), ", ") or "no headings",
            hint=f'did you mean "{close}"?' if close else "mend or take out that line",
        )


def unused_notes(
    names: TableNames, unused: Sequence[str], known: set[str], where: str
) -> list[str]:
    """Say which columns are not used: of each that resembles one of ours, and of the rest."""
    free = [name for name in names.table.names if name not in known]
    alike = {heading: nearest(canonical(heading), free) for heading in unused}
    asked = [(heading, close) for heading, close in alike.items() if close][:MOST_SHOWN]
    notes = [
        f'{where}: the column "{heading}" is not used; was "{close}" meant?'
        for heading, close in asked
    ]
    told = dict(asked)
    rest = [f'"{heading}"' for heading in unused if heading not in told]
    if rest:
        says = (
            f"{len(rest)} columns are not used: {shorten(rest, ', ')}"
            if rest[1:]
            else f"the column {rest[0]} is not used"
        )
        notes.append(f"{where}: {says}")
    return notes
