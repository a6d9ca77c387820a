"""Where a sheet's headings stand, what its rows are, and which rows are no records.

Finds the line or two lines of headings below titles, names the columns as the reader
will, and tells rows of records from group lines, totals, repeated headings and blanks.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from queen_outcomes.facts.years import LONE_YEAR
from queen_outcomes.records.headings import joined, reached
from queen_outcomes.records.map.seen import months
from queen_outcomes.records.map.seen.contents import (
    MOST,
    Contents,
    clock_of,
    day_of,
    number_of,
    yes_or_no,
)
from queen_outcomes.records.map.seen.headings import Heading, heading
from queen_outcomes.records.map.seen.opened import Cell, CellGrid, Row
from queen_outcomes.records.map.seen.weeks import run, week_of
from queen_outcomes.records.map.seen.words import (
    STAGES,
    first_letters,
    fold,
    language_of,
    tokens,
    vocabulary,
)

NONE = "no"
"""The answer that a heading means no column of ours."""
SEARCHED = 30
"""Headings stand within so many rows that hold text."""


@dataclass(frozen=True)
class SheetColumn:
    """One column: where it stands, its heading and what is below it."""

    at: int
    heading: Heading
    contents: Contents

    @property
    def name(self) -> str:
        """The heading as the reader knows it."""
        return self.heading.name


@dataclass(frozen=True)
class Either:
    """Which columns of ours a heading may mean, what it was taken for, and what speaks for it."""

    options: tuple[str, ...]
    likely: str = ""
    why: tuple[str, ...] = ()


@dataclass
class Sheet:
    """A sheet laid out.

    Parameters
    ----------
    grid : CellGrid
        The sheet as opened.
    language : str
        The language of the headings.
    header : list of int
        Physical lines of the headings; empty where none were found.
    columns : list of SheetColumn
        The columns that have a heading or any text.
    rows : list of Row
        The rows of records.
    passed : list of Row
        Rows with text that are no records.
    groups : list of Row
        Rows with one filled cell that head a group of records.
    """

    grid: CellGrid
    language: str = ""
    header: list[int] = field(default_factory=list)
    columns: list[SheetColumn] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    passed: list[Row] = field(default_factory=list)
    groups: list[Row] = field(default_factory=list)
    fill_down: list[str] = field(default_factory=list)
    months: months.Evidence = field(default_factory=months.Evidence)
    """What says of which month its days are, where they are written without one."""
    whole: Sheet | None = None
    """The sheet of which these are some rows: those of one table, in a diary."""
    letters: list[str] = field(default_factory=list)
    """Headings of one letter that were taken for eggs, larvae and sealed brood."""
    either: dict[str, Either] = field(default_factory=dict)
    """Headings that may mean one of several columns of ours: it is asked."""
    apart: dict[str, int] = field(default_factory=dict)
    """Headings of looks that stand in one cell with their days -> how many of them."""
    chosen: dict[str, str] = field(default_factory=dict)
    """Heading -> the column of ours that it was answered to be, or `NONE`."""

    @property
    def source(self) -> str:
        """The sheet's name as the settings know it."""
        return self.grid.source

    @property
    def is_form(self) -> bool:
        """Tell whether headings stand there and nothing below: nobody has filled it in yet."""
        filled = (row.line for row in self.grid.rows if row.filled)
        return bool(self.header) and max(filled) <= self.header[-1]

    @cached_property
    def lines(self) -> dict[int, Row]:
        """Rows of records by their line."""
        return {row.line: row for row in self.rows}

    @cached_property
    def void_lines(self) -> list[int]:
        """The lines of rows that call themselves void."""
        return [r.line for r in self.rows if any(_is_void(c.text) for c in r.cells)]

    @cached_property
    def void(self) -> dict[str, str]:
        """Those of them that their first cell can name: no other row begins so.

        The first cell, and the words.
        """
        firsts = Counter(row.cells[row.filled[0]].text.casefold() for row in self.rows)
        return {
            first: next(cell.text for cell in row.cells if _is_void(cell.text))
            for row in self.rows
            if row.line in self.void_lines
            and firsts[(first := row.cells[row.filled[0]].text).casefold()] == 1
        }

    @cached_property
    def heads(self) -> tuple[str, ...]:
        """Its headings but for days, by which sheets are alike."""
        names = (column.name.casefold() for column in self.columns if column.name)
        others = (n for n in names if not day_of(n.split(" (")[0]) and not week_of(n))
        return tuple(sorted(others))

    def column(self, name: str) -> SheetColumn:
        """Give a column by the name its heading has for the reader."""
        return next(column for column in self.columns if column.name == name)


_SAY_ENOUGH = 0.7
"""The share of a row's other headings that say what they are without the row above."""


def top_texts(grid: CellGrid) -> list[str]:
    """Give the short texts among which a sheet's headings are."""
    rows = [row for row in grid.rows if row.filled][:SEARCHED]
    return [c.text for row in rows for c in row.cells if c.text and len(c.text) <= 60]


def lay_out(
    grid: CellGrid,
    prior: Mapping[str, float] | None = None,
    own: Mapping[str, frozenset[str]] | None = None,
) -> Sheet:
    """Find a sheet's headings and rows.

    Parameters
    ----------
    grid : CellGrid
    prior : mapping, optional
        As in `language_of`.
    own : mapping, optional
        A heading that the settings name, folded -> the labels that it so has.
    """
    own = own or {}
    sheet = Sheet(grid, language_of(top_texts(grid), prior or {}))
    held = [at for at, row in enumerate(grid.rows) if row.filled][:SEARCHED]
    if not held:
        return sheet
    worths = {at: max(_worth(grid.rows[at], own), _dated_worth(grid, at)) for at in held}
    best = max(held, key=lambda at: (worths[at], -at))
    if worths[best] <= 0:
        return sheet
    used = _both(grid, best)
    names = _names(grid, used, sheet.language, own)
    sheet.header = [grid.rows[at].line for at in used]
    body = list(grid.rows[used[-1] + 1 :])
    _sort_rows(sheet, body, grid.rows[used[-1]])
    sheet.months = months.evidence(grid, sheet.header)
    for at, said in enumerate(names):
        cells = [row.cells[at] if at < len(row.cells) else Cell() for row in sheet.rows]
        contents = Contents(cells, dated="date" in said.of("part"))
        if said.name or contents.filled:
            sheet.columns.append(SheetColumn(at, said, contents))
    sheet.columns = _of_month(sheet)
    _read_letters(sheet)
    return sheet


def choose(sheet: Sheet, chosen: Mapping[str, str]) -> None:
    """Give headings the meaning that somebody has answered, by their names in questions."""
    for place, column in enumerate(sheet.columns):
        name = chosen.get(in_question(column.name)) if column.name else None
        if name:
            sheet.chosen[column.name] = name
            said = replace(
                column.heading, phrases=(frozenset([f"column:{name}"]),), unknown=(), slot="", unit=""
            )
            sheet.columns[place] = replace(column, heading=said)


def in_question(name: str) -> str:
    """Give a heading as it stands in the id of a question, whose parts a colon parts."""
    return name.replace(":", " ")


def _of_month(sheet: Sheet) -> list[SheetColumn]:
    """Take figures under "day" for days of the sheet's month, where no column has whole ones."""
    plain = [c for c in sheet.columns if not c.heading.of("column")]
    if any(c.contents.filled and c.contents.whole_day_share >= MOST for c in plain):
        return sheet.columns
    return [
        replace(c, contents=months.with_month(c.heading, c.contents, sheet.months))
        for c in sheet.columns
    ]


def _read_letters(sheet: Sheet) -> None:
    """Take three letters side by side for the stages of brood that begin so.

    "e", "l", "g" below "1e controle" are "eitjes", "larven" and "gesloten broed".
    """
    firsts = first_letters(sheet.language)
    for at in range(len(sheet.columns) - 2):
        three = sheet.columns[at : at + 3]
        words = [tokens(column.heading.name) for column in three]
        said = [column.heading for column in three]
        if (
            any(heading.of("column") or heading.unknown for heading in said)
            or len({tuple(found[:-1]) for found in words}) != 1
            or not all(found and len(found[-1]) == 1 for found in words)
            or not all(found[-1] in firsts[stage] for found, stage in zip(words, STAGES, strict=True))
            or not all(map(_may_be_yes_no, three))
        ):
            continue
        sheet.letters += [heading.name for heading in said]
        for place, (column, stage) in enumerate(zip(three, STAGES, strict=True), at):
            phrases = (*column.heading.phrases, frozenset([f"column:{stage}"]))
            told = replace(column.heading, phrases=phrases, unit="")
            sheet.columns[place] = replace(column, heading=told)


def _may_be_yes_no(column: SheetColumn) -> bool:
    held = column.contents
    texts = [*held.texts, *held.unknown]
    return all(yes_or_no(text) or text in held.unknown for text in texts)


def _worth(row: Row, own: Mapping[str, frozenset[str]]) -> float:
    """Say how much a row looks like headings: known names count, data count against."""
    texts = [cell for cell in row.cells if cell.text]
    if len(texts) < 2:
        return 0
    known = sum(
        " ".join(cell.text.split()).casefold() in own or _names_something(cell.text)
        for cell in texts
    )
    data = sum(_is_datum(cell) for cell in texts)
    return known - 1.5 * data + 0.01 * len(texts) if known >= 2 else 0


def lone_years(sheet: Sheet) -> dict[int, int]:
    """Give the lines below the headings in which a year stands alone -> the year.

    None where such figures stand beside others too: they may be labels, or have their column.
    """
    last = sheet.header[-1] if sheet.header else 0
    below = [row for row in sheet.grid.rows if row.line > last]
    return _years_alone(below)


def _years_alone(body: list[Row]) -> dict[int, int]:
    alone = {row.line: row.filled[0] for row in body if len(row.filled) == 1}
    found = {
        row.line: int(row.text(alone[row.line])[:4])
        for row in body
        if row.line in alone and re.fullmatch(LONE_YEAR, row.text(alone[row.line]))
    }
    places = {alone[line] for line in found}
    beside = any(
        re.fullmatch(LONE_YEAR, row.text(at))
        for row in body
        if len(row.filled) > 1
        for at in places
    )
    years = list(found.values())
    return {} if beside or years != sorted(set(years)) else found


def heads_columns(row: Row) -> bool:
    """Tell whether a row holds headings, by the words in it."""
    return _worth(row, {}) > 0


def _dated_worth(grid: CellGrid, at: int) -> float:
    """Say how much a row looks like headings that are days, with findings below them."""
    row = grid.rows[at]
    days = [
        n
        for n in row.filled
        if day_of(row.cells[n].text) or row.cells[n].kind == "date"
    ]
    weeks = [n for n in row.filled if week_of(row.text(n))]
    days = days or (weeks if run([row.text(n) for n in weeks]) else [])
    others = [n for n in row.filled if n not in days]
    known = any(_names_something(row.text(n)) for n in others)
    # an abbreviation that nobody knows is a heading all the same
    if len(days) < 2 or not known or any(_is_datum(row.cells[n]) for n in others):
        return 0
    below = [
        r.text(n) for r in grid.rows[at + 1 : at + SEARCHED] for n in days if r.text(n)
    ]
    if not below or sum(day_of(text) is not None for text in below) > 0.2 * len(below):
        return 0
    return float(len(row.filled))


def _names_something(text: str) -> bool:
    said = heading(text)
    return said.known and len(said.unknown) <= 2 and len(text) <= 60


def _is_datum(cell: Cell) -> bool:
    """Tell whether a cell of a possible heading is a value instead."""
    text = cell.text
    return (
        cell.kind in ("number", "percent", "time", "date")
        or day_of(text) is not None
        or (number_of(text) is not None and not heading(text).phrases)
        or (clock_of(text) is not None)
        or (yes_or_no(text) is not None and len(text) > 1 and not heading(text).phrases)
    )


def _both(grid: CellGrid, at: int) -> list[int]:
    """Give the one or two rows that hold the headings."""
    here = grid.rows[at]
    for other, upper, lower in ((at - 1, at - 1, at), (at + 1, at, at + 1)):
        if not 0 <= other < len(grid.rows):
            continue
        row = grid.rows[other]
        if len(row.filled) < 2 or any(_is_datum(row.cells[n]) for n in row.filled):
            continue
        known = sum(_names_something(row.cells[n].text) for n in row.filled)
        top, bottom = grid.rows[upper], grid.rows[lower]
        gaps = [n for n in bottom.filled if not top.text(n)]
        spanned = any(line == upper for line, _ in grid.spans)
        if (
            known >= 0.6 * len(row.filled)
            and (gaps or spanned)
            and not _is_title(top, bottom, spanned=spanned)
            and (len(set(top.filled)) < len(bottom.filled) or spanned or _repeats(here))
        ):
            return [lower] if _heads_days_alone(grid, bottom) else [upper, lower]
    return [at]


def _heads_days_alone(grid: CellGrid, row: Row) -> bool:
    """Tell whether days are headings of a row in which the others say enough without those above.

    Such as "Checks" over all of the days: it is a title, and a day with it is no longer one.
    """
    texts = [row.text(n) for n in row.filled]
    days = [text for text in texts if _heads_look(text)]
    others = [text for text in texts if not _heads_look(text)]
    if len(days) < 2 or len(row.filled) < grid.width or len(set(texts)) < len(texts):
        return False
    own = [text for text in others if _is_column(text)]
    return len(own) >= _SAY_ENOUGH * len(others)


def _heads_look(text: str) -> bool:
    return day_of(text) is not None or week_of(text) is not None


def _is_column(text: str) -> bool:
    """Tell whether a heading is enough by itself: "date" below "inseminated" is not."""
    said = heading(text)
    named = said.of("column") or said.of("topic") or said.unit
    return bool(named) or "queen" in said.of("part")


def _is_title(top: Row, bottom: Row, *, spanned: bool) -> bool:
    """Tell whether a row above headings is a title and what is written beside it.

    "Inseminations 2025" and "K = Kaja"; over headings that repeat it may head the first of them.
    """
    texts = [cell.text for cell in top.cells if cell.text]
    signs = any("=" in text for text in texts)
    first = not spanned and top.filled[0] <= bottom.filled[0] and re.search(LONE_YEAR, texts[0])
    return not _repeats(bottom) and bool(signs or first)


def _repeats(row: Row) -> bool:
    texts = [cell.text for cell in row.cells if cell.text]
    return len(set(texts)) < len(texts)


def _names(
    grid: CellGrid, used: list[int], language: str, own: Mapping[str, frozenset[str]]
) -> list[Heading]:
    """Name the columns as the reader will: two rows joined, repeats told apart."""
    width = grid.width
    levels = [[grid.rows[line].text(at) for at in range(width)] for line in used]
    merged = [_merged(grid, line) for line in used]
    texts = joined(levels, merged) if len(used) == 2 else reached(levels[0], merged[0])
    seen: Counter[str] = Counter()
    named = []
    for at, text in enumerate(texts):
        plain = " ".join(text.split())
        seen[plain.casefold()] += 1
        if not levels[-1][at] and len(used) == 1:
            plain = ""  # covered by a merged cell: it counts, but is no heading of its own
        copy = seen[plain.casefold()] if plain else 1
        said = heading(plain, language)
        name = plain if copy == 1 else f"{plain} ({copy})"
        if labels := own.get(name.casefold()):  # the settings know better than words do
            said = replace(said, phrases=(labels,), unknown=(), slot="")
        named.append(replace(said, name=name, repeat=copy))
    return named


def _merged(grid: CellGrid, line: int) -> dict[int, int]:
    """Give the cells of a row that are merged to the right -> the last that each covers."""
    found: dict[int, int] = {}
    for at in sorted(at for row, at in grid.spans if row == line):
        first = next((start for start, last in found.items() if last == at - 1), at - 1)
        found[first] = at
    return found


def _sort_rows(sheet: Sheet, body: list[Row], top: Row) -> None:
    """Part the rows below the headings into records, group lines and the rest."""
    body = [row for row in body if row.filled]
    if not body:
        return
    usual = _usual_width(body)
    heads = [fold(cell.text) for cell in top.cells if cell.text]
    years = _years_alone(body) if usual > 1 else {}
    for row in body:
        filled = row.filled
        first = row.cells[filled[0]].text
        if _repeated_heading(row, heads) or is_total(first):
            sheet.passed.append(row)
        elif row.line in years:
            sheet.groups.append(row)
        elif len(filled) <= 2 and usual >= 4 and not _is_record(row):
            place = sheet.groups if len(filled) == 1 else sheet.passed
            place.append(row)
        else:
            sheet.rows.append(row)
    last = (sheet.rows[-1] if sheet.rows else top).line
    trailing = [row for row in sheet.groups if row.line > last]
    sheet.groups = [row for row in sheet.groups if row.line <= last]
    sheet.passed += trailing


def _usual_width(body: list[Row]) -> int:
    widths = sorted(len(row.filled) for row in body)
    return widths[len(widths) // 2]


def _repeated_heading(row: Row, heads: list[str]) -> bool:
    texts = [fold(cell.text) for cell in row.cells if cell.text]
    return len(texts) >= 2 and sum(text in heads for text in texts) >= 0.8 * len(texts)


def _is_record(row: Row) -> bool:
    """Tell whether a short row is a record all the same: it has a day and a label."""
    days = [
        at
        for at in row.filled
        if row.cells[at].kind == "date" or day_of(row.cells[at].text)
    ]
    return bool(days) and len(row.filled) > len(days)


def _is_void(text: str) -> bool:
    folded = fold(text)
    return any(
        folded == phrase or folded.startswith(f"{phrase} ")
        for phrase in vocabulary().void
    )


def is_total(text: str) -> bool:
    """Tell whether a row's first cell says that the row counts others."""
    folded = fold(text)
    words = folded.split()
    known = vocabulary()
    if not words:
        return False
    if any(
        folded == phrase or folded.startswith(f"{phrase} ") for phrase in known.rows
    ):
        return True
    # "36 queens", "12 checks in all"
    return (
        len(words) >= 2 and words[0].isdigit() and " ".join(words[1:]) in known.counted
    )
