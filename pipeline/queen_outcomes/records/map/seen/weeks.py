"""Headings that are weeks of the year: "Week 24", "KW 24", "24. týden", "v. 24"."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from queen_outcomes.facts.languages import folded, week_words
from queen_outcomes.records.map.seen.contents import SeenDay

_FORM = re.compile(
    r"^(?:(?P<before>[^\W\d_]+)\.?\s?(?P<after>\d{1,2})"
    r"|(?P<first>\d{1,2})\.?\s?(?P<behind>[^\W\d_]+)\.?)"
    r"(?:[\s/.,-]+(?P<year>(?:19|20)\d\d))?$"
)
_ISO = re.compile(r"^(?P<year>(?:19|20)\d\d)[\s-]?[wW](?P<week>\d{2})$")
_LAST = 53
_EARLIEST = 13
"""A round of looks begins in a later week; weeks counted from a day of her own begin at one."""
_LEAST = 3
_MIDWEEK = 4


@dataclass(frozen=True)
class Week:
    """A week of the year, and its year where it is written too."""

    number: int
    year: int | None = None

    @property
    def seen(self) -> SeenDay:
        """Its middle as a day, of no year where none is written."""
        day = self.on(_MIDWEEK, self.year or 2000)
        return SeenDay((("any", day),), yearless=self.year is None)

    def on(self, weekday: int, year: int) -> dt.date:
        """Give a day of it, Monday 1; of a year that has no such week the last one's."""
        weeks = dt.date(year, 12, 28).isocalendar().week
        return dt.date.fromisocalendar(year, min(self.number, weeks), weekday)


def week_of(text: str) -> Week | None:
    """Read a heading as a week of the year; None where it is none."""
    text = text.split(" (", maxsplit=1)[0].strip()
    if match := _ISO.match(text):
        number, year = int(match["week"]), match["year"]
    elif match := _FORM.match(text):
        if folded(match["before"] or match["behind"]) not in week_words():
            return None
        number, year = int(match["after"] or match["first"]), match["year"]
    else:
        return None
    return Week(number, int(year) if year else None) if 1 <= number <= _LAST else None


def is_late(text: str) -> bool:
    """Tell whether a heading is a week so late in the year that nobody counts so far from a day."""
    week = week_of(text)
    return week is not None and week.number >= _EARLIEST


def run(texts: Sequence[str]) -> bool:
    """Tell whether headings, as they stand, are weeks of the year that run on.

    Over the turn of a year they may begin again; those that count from one are weeks since
    a day of the queen's own.
    """
    weeks = [week_of(text) for text in texts]
    numbers = [week.number for week in weeks if week]
    if len(numbers) < max(_LEAST, len(texts)) or numbers[0] < _EARLIEST:
        return False
    return sum(later <= one for one, later in pairwise(numbers)) <= (numbers[-1] < numbers[0])
