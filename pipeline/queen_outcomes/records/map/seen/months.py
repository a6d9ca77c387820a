"""Which month a sheet is of: what its file's and its own name and its title rows say.

Of use where the cells hold the day of the month alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import PurePosixPath

from queen_outcomes.facts import languages
from queen_outcomes.records.map.seen.contents import MOST, Contents, Month, bare_day
from queen_outcomes.records.map.seen.headings import Heading
from queen_outcomes.records.map.seen.opened import CellGrid

_YEAR = re.compile(r"(?<!\d)((?:19|20)\d\d)(?!\d)")
_YEAR_FIRST = re.compile(
    r"(?<!\d)((?:19|20)\d\d)\s?[-_./ ]\s?(0?[1-9]|1[0-2])(?!\d|\s?[-./]\s?\d)"
)
_YEAR_LAST = re.compile(
    r"(?<!\d)(?<!\d[-./])(0?[1-9]|1[0-2])\s?[-_./]\s?((?:19|20)\d\d)(?!\d|\s?[-./]\s?\d)"
)
_WORD = re.compile(r"[^\W\d_]{3,}")


@dataclass(frozen=True)
class Said:
    """What one text says of a month: the text, and the months and years in it."""

    text: str
    months: frozenset[int] = frozenset()
    years: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Evidence:
    """What a sheet's names and titles say together."""

    said: tuple[Said, ...] = ()

    @property
    def possible(self) -> list[Month]:
        """The months that it may be of, the most often named first; none where no year is."""
        years = sorted({year for one in self.said for year in one.years})
        counts: dict[int, int] = {}
        for one in self.said:
            for month in one.months:
                counts[month] = counts.get(month, 0) + 1
        ranked = sorted(counts, key=lambda month: (-counts[month], month))
        return [(year, month) for month in ranked for year in years]

    @property
    def agreed(self) -> Month | None:
        """The month, where all that is said agrees."""
        return self.possible[0] if len(self.possible) == 1 else None

    @property
    def told(self) -> list[str]:
        """The texts that say it."""
        return [f'"{one.text}"' for one in self.said if one.months]


def evidence(grid: CellGrid, header: Iterable[int]) -> Evidence:
    """Gather what names a month: the file, the sheet, and rows above the headings."""
    file, _, sheet = grid.source.partition("#")
    first = min(header, default=0)
    titles = [
        cell.text
        for row in grid.rows
        if row.line < first
        for cell in row.cells
        if cell.text and cell.kind == "text"
    ]
    texts = [PurePosixPath(file).stem, sheet, *dict.fromkeys(titles)]
    return Evidence(tuple(said for text in texts if (said := said_by(text)).months or said.years))


def said_by(text: str) -> Said:
    """Tell which months and years a text names, in figures or in any language's words."""
    figures = [(int(y), int(m)) for y, m in _YEAR_FIRST.findall(text)]
    figures += [(int(y), int(m)) for m, y in _YEAR_LAST.findall(text)]
    names = languages.months()
    named = {
        names[word] for each in _WORD.findall(text) if (word := languages.folded(each)) in names
    }
    years = {int(year) for year in _YEAR.findall(text)}
    return Said(text, frozenset(named | {month for _, month in figures}), frozenset(years))


def with_month(said: Heading, held: Contents, of: Evidence) -> Contents:
    """Give a column's cells as days of the sheet's month, where they may be nothing else.

    Under a heading that says "day", figures from 1 to 31.
    """
    if not of.possible or "date" not in said.of("part") or said.of("column"):
        return held
    bare = held.share(bare_day(text) is not None for text in held.texts)
    return Contents(held.cells, of.possible[0], dated=held.dated) if bare >= MOST else held


def written(month: Month) -> str:
    """Write a month as the settings have it."""
    year, number = month
    return f"{year}-{number:02}"
