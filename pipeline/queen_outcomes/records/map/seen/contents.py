"""What the cells of one column hold: days, clocks, numbers with units, ticks, words.

Looks at a whole column at a time and counts; the counts are the evidence that a
question shows. A day that can be read in several orders keeps all of them.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property

from queen_outcomes.facts.languages import ditto_words, folded, months, weekdays
from queen_outcomes.records.map.seen.opened import Cell
from queen_outcomes.records.map.seen.words import (
    CROSSES_NO,
    TICKS,
    fold,
    tokens,
    vocabulary,
)

ORDERS = ("dmy", "mdy", "ymd")
MOST = 0.8
"""Share of the filled cells from which on a column is taken for what they are."""
_PARTS = re.compile(
    r"^(\d{1,4})\s*([./\-])\s*(\d{1,2})\s*[./\-]\s*"
    r"(\d{1,4})?\.?(?:\s*[^\W\d_]{1,2}\.?)?(?:[\sT,]+(.+))?$"
)
_NO_YEAR = re.compile(r"^(\d{1,2})\s*[./]\s*(\d{1,2})\.?$")
_WEEK = re.compile(r"^(\d{4})-?W(\d{2})-?([1-7])$", re.IGNORECASE)
_WEEKDAY = re.compile(r"^([^\W\d_]{1,12})(?:[.,]{1,2}\s?|\s+)(.+)$")
_MONTH_AFTER = re.compile(
    r"\d{1,2}(?:\s?[-./]\s?\d{1,2}(?:\D|$)|\.?\s[^\d\s.,:;/+'#-]{3,})"
)
"""Follows a name of a weekday that is one of a month too, where it is the weekday's."""
_NAMED = re.compile(
    r"^(?:(\d{1,2})(?:st|nd|rd|th|er|\.)?[\s\-./]*(?:de\s+)?"
    r"([^\W\d_]{3,12})\.?,?|([^\W\d_]{3,12})\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?)"
    r"(?:[\s\-./]*(?:de\s+)?(\d{4}|\d{2}))?\.?(?:\s*[^\W\d_]{1,2}\.?)?$",
    re.IGNORECASE,
)
_CLOCK = re.compile(
    r"^(\d{1,2})(?:\s*[:.h]\s*(\d{2})(?::\d{2})?|\s*h)?\s*"
    r"(?:([ap])\.?\s?m\.?|uhr|h|hod|hrs)?$",
    re.IGNORECASE,
)
_NUMBER = re.compile(
    r"^(?:ca\.?|~|≈)?\s*([+\-−]?\d+(?:[.,]\d+)?)\s*([^\d\s+x×*][^\d]{0,12})?$"
)
_SUM = re.compile(
    r"^\d+(?:[.,]\d+)?\s*(?:(?:\+\s*\d+(?:[.,]\d+)?\s*)+|[x×*]\s*\d+(?:[.,]\d+)?)"
    r"\s*([^\d\s]{1,12})?$"
)
_COLON_SPAN = re.compile(
    r"^(\d{1,3}):([0-5]\d)(?::([0-5]\d))?\s*(min|mn|h)?\.?$", re.IGNORECASE
)
_HIGHEST = 10
"""The best score of a station's own, as a rule."""
_INITIALS = re.compile(r"^([xX✓✔√✗✘×+☑☒✕✖])\s*([^\W\d_][^\d]{0,20})$")


@dataclass(frozen=True)
class SeenDay:
    """A day as it may be read: order -> day; one entry "any" where it is plain."""

    days: tuple[tuple[str, dt.date], ...]
    yearless: bool = False

    @property
    def plain(self) -> bool:
        """Tell whether the day reads one way only, whatever the order."""
        return bool(self.days) and self.days[0][0] == "any"

    def on(self, order: str) -> dt.date | None:
        """Give the day as read under an order; None where it cannot be."""
        return next((day for way, day in self.days if way in ("any", order)), None)


def _day(year: int, month: int, day: int) -> dt.date | None:
    year += 2000 if year < 100 else 0
    try:
        return dt.date(year, month, day) if 1900 <= year <= 2200 else None
    except ValueError:
        return None


Month = tuple[int, int]
"""A year and the number of a month."""
_BARE_DAY = re.compile(r"^(\d{1,2})(?:\.|st|nd|rd|th|er)?$")


def bare_day(text: str) -> int | None:
    """Read a text as the day of a month that stands elsewhere; None where it is none."""
    match = _BARE_DAY.match(text.strip())
    return int(match[1]) if match and 1 <= int(match[1]) <= 31 else None


@cache
def day_of(text: str) -> SeenDay | None:
    """Read a text as a day, in every order that it fits.

    A weekday before it has to be the day's own, where the year is written too.
    """
    text = text.strip()
    named, text = _weekday_before(text)
    read = _day_of_week(text) or _day_of(text)
    if read is None or not named or read.yearless:
        return read
    agreeing = [(way, day) for way, day in read.days if day.isoweekday() in named]
    return SeenDay(tuple(agreeing)) if agreeing else None


def _weekday_before(text: str) -> tuple[frozenset[int], str]:
    """Take the weekday off that a day begins with: which it may be, and the rest."""
    match = _WEEKDAY.match(text)
    name = folded(match[1]) if match else ""
    if not match or name not in weekdays():
        return frozenset(), text
    if name in months() and not _MONTH_AFTER.match(match[2]):
        return frozenset(), text
    return weekdays()[name], match[2]


def _day_of_week(text: str) -> SeenDay | None:
    """Read a day of an ISO week."""
    match = _WEEK.match(text)
    if match is None:
        return None
    try:
        return SeenDay((("any", dt.date.fromisocalendar(*map(int, match.groups()))),))
    except ValueError:
        return None


def _day_of(text: str) -> SeenDay | None:
    match = _PARTS.match(text)
    if match and match[4]:
        first, _, second, third, rest = match.groups()
        if rest and not _CLOCK.match(rest.strip()):
            return None
        return _three(first, second, third)
    if match := _NO_YEAR.match(text):
        a, b = (int(part) for part in match.groups())
        ways = [("dmy", _day(2000, b, a)), ("mdy", _day(2000, a, b))]
        if text.endswith("."):  # "06.11.", where the year would stand first
            ways.append(("ymd", _day(2000, a, b)))
        found = tuple((way, day) for way, day in ways if day)
        return SeenDay(found, yearless=True) if found else None
    day_alone, _, clock = text.rpartition(" ")
    timed = day_alone and ":" in clock and clock_of(clock)
    if match := _NAMED.match(day_alone if timed else text):
        day, name, name_first, day_after, year = match.groups()
        month = vocabulary().months.get(fold(name or name_first))
        if month:
            found_day = _day(int(year or 2000), month, int(day or day_after))
            if found_day:
                return SeenDay((("any", found_day),), yearless=year is None)
    return None


def _three(first: str, second: str, third: str) -> SeenDay | None:
    if len(first) == 4:
        day = _day(int(first), int(second), int(third))
        return SeenDay((("any", day),)) if day else None
    if len(first) > 2 or len(third) == 3 or third == "0":
        return None
    a, b, c = int(first), int(second), int(third)
    ways = [("dmy", _day(c, b, a)), ("mdy", _day(c, a, b))]
    if len(third) == 2 and len(first) == 2:
        ways.append(("ymd", _day(a, b, c)))
    found = tuple((way, day) for way, day in ways if day)
    return SeenDay(found) if found else None


def clock_of(text: str) -> dt.time | None:
    """Read a text as a time of day, on a 12- or 24-hour clock."""
    match = _CLOCK.match(text.strip())
    if not match:
        return None
    hour, minute, half = int(match[1]), int(match[2] or 0), (match[3] or "").lower()
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return dt.time(hour, minute) if hour < 24 and minute < 60 else None


@dataclass(frozen=True)
class Number:
    """A number, the unit beside it as the dictionary spells it, and its form."""

    value: float
    unit: str = ""
    comma: bool = False
    point: bool = False
    sum: bool = False


@cache
def number_of(text: str) -> Number | None:
    """Read a text as a number with or without a unit, or a sum or product of such."""
    text = text.strip()
    units = vocabulary().units
    if match := _NUMBER.match(text):
        written, unit = match[1], match[2]
        known = units.get(fold(unit)) if unit else ""
        if unit and known is None:
            return None
        value = float(written.replace(",", ".").replace("−", "-"))
        return Number(value, known or "", "," in written, "." in written)
    if match := _SUM.match(text):
        parts = [
            float(p.replace(",", ".")) for p in re.findall(r"\d+(?:[.,]\d+)?", text)
        ]
        unit = units.get(fold(match[1])) if match[1] else ""
        if match[1] and unit is None:
            return None
        value = sum(parts) if "+" in text else parts[0] * parts[1]
        return Number(value, unit or "", "," in text, "." in text, sum=True)
    return None


@cache
def span_of(text: str) -> str | None:
    """Tell a span of time written in two units: "open" where it may be of either two.

    "4:30" may be minutes and seconds or hours and minutes; "4 min 30" and "0:04:30"
    can be one thing only ("sure"). A span in one unit is a number with its unit.
    """
    if match := _COLON_SPAN.match(text.strip()):
        return "sure" if match[4] or (match[3] and not int(match[1])) else "open"
    match = _span().match(folded(text).replace("′", "'").replace("″", '"'))
    return "sure" if match else None


@cache
def _span() -> re.Pattern[str]:
    """Give the forms of a span in two units, in every language's names of them."""
    named: dict[str, list[str]] = {"min": ["m", "'", "’"], "s": ["''", '"'], "h": []}
    for name, unit in vocabulary().units.items():
        named.get(unit, []).append(name)
    h, m, s = (
        "|".join(re.escape(n) for n in sorted(named[u], key=lambda n: (-len(n), n)))
        for u in ("h", "min", "s")
    )
    apart = r"\.?,?\s?(?:[^\W\d_]{1,3}\s)?"
    return re.compile(
        rf"^\d{{1,3}}\s?(?:(?:{h}){apart}[0-5]?\d(?:\s?(?:{m}))?"
        rf"|(?:{m})(?:{apart}[0-5]?\d(?:\s?(?:{s}))?)?|(?:{s}))\.?$"
    )


def yes_or_no(text: str) -> str | None:
    """Read a text as yes or no in any language, or as a tick."""
    stripped = text.strip()
    if is_tick(stripped):
        return "no" if stripped[0] in CROSSES_NO else "yes"
    return vocabulary().words["yes_no"].get(fold(stripped) or stripped.casefold())


def is_tick(text: str) -> bool:
    """Tell whether a text is a tick, alone or with the initials of who ticked."""
    if text in TICKS or (len(text) <= 3 and text and set(text) <= TICKS):
        return True
    match = _INITIALS.match(text)
    # "xenia" is no tick; after a letter there must be a blank or a capital
    return bool(match) and (
        match[1] not in "xX" or text[1] == " " or text[1:].isupper()
    )


def crosses(texts: Iterable[str]) -> set[str]:
    """Give the crosses of a column that may say no: those beside ticks, and ✗ anywhere."""
    ticks = {text for text in texts if is_tick(text)}
    beside = "xX×" if any(text[0] in "✓✔√☑☒" for text in ticks) else ""
    return {text for text in ticks if text[0] in CROSSES_NO or text[0] in beside}


def ticked_by(text: str) -> str:
    """Give the initials beside a tick; empty where there are none."""
    text = text.strip()
    match = _INITIALS.match(text)
    # "xx" is two ticks, nobody's initials
    named = match and is_tick(text) and not set(text) <= TICKS
    return match[2].strip() if named else ""


class Contents:
    """The filled cells of one column, counted.

    Parameters
    ----------
    cells : sequence of Cell
        The column below its heading; empty ones included.
    month : tuple of int, optional
        The year and month that days of the month alone belong to.
    dated : bool
        Its heading says that days stand there, so that "5-7" is one.
    """

    def __init__(
        self, cells: Sequence[Cell], month: Month | None = None, *, dated: bool = False
    ) -> None:
        self.cells = cells
        self.month = month
        self.dated = dated
        words = vocabulary()
        texts = [cell.text for cell in cells if cell.text]
        self.ditto = [t for t in texts if is_ditto(t)]
        self.unknown = [t for t in texts if t.casefold() in words.empty]
        skipped = {*self.ditto, *self.unknown}
        self.kept = [c for c in cells if c.text and c.text not in skipped]
        self.texts = [cell.text for cell in self.kept]

    def of(self, cells: Sequence[Cell]) -> Contents:
        """Give other cells that are kept as these are."""
        return Contents(cells, self.month)

    def day_of(self, text: str) -> SeenDay | None:
        """Read a text as a day, as it is written in this column."""
        number = bare_day(text) if self.month else None
        if number is None or self.month is None:
            return day_of(text)
        day = _day(*self.month, number)
        return SeenDay((("any", day),)) if day else None

    @property
    def filled(self) -> int:
        """How many cells hold something that is neither a ditto mark nor "unknown"."""
        return len(self.texts)

    @cached_property
    def counts(self) -> Counter[str]:
        """How often each text stands there."""
        return Counter(self.texts)

    def share(self, holds: Iterable[object]) -> float:
        """Give the share of the filled cells for which something holds."""
        return sum(map(bool, holds)) / self.filled if self.filled else 0.0

    @cached_property
    def days(self) -> list[SeenDay | None]:
        """Each filled cell as a day."""
        return [
            SeenDay((("any", dt.date.fromisoformat(cell.text[:10])),))
            if cell.kind == "date"
            else self.day_of(_slashed(cell.text) if self.dated else cell.text)
            for cell in self.kept
        ]

    @cached_property
    def day_share(self) -> float:
        """Share of the filled cells that are days in some order."""
        return self.share(self.days)

    @cached_property
    def whole_day_share(self) -> float:
        """Share of the filled cells that are days with their year."""
        return self.share(day is not None and not day.yearless for day in self.days)

    @cached_property
    def yearless_share(self) -> float:
        """Share of the filled cells that are days without their year."""
        return self.share(day is not None and day.yearless for day in self.days)

    @cached_property
    def clock_share(self) -> float:
        """Share of the filled cells that are times of day."""
        return self.share(
            c.kind == "time" or clock_of(c.text) is not None for c in self.kept
        )

    @cached_property
    def plain_clock_share(self) -> float:
        """Share of the filled cells that can be nothing but a time of day."""
        return self.share(
            c.kind == "time"
            or (clock_of(c.text) is not None and number_of(c.text) is None)
            for c in self.kept
        )

    @cached_property
    def numbers(self) -> list[Number | None]:
        """Each filled cell as a number."""
        return [number_of(cell.text) for cell in self.kept]

    @cached_property
    def number_share(self) -> float:
        """Share of the filled cells that are numbers with or without a unit."""
        return self.share(self.numbers)

    @cached_property
    def spans(self) -> list[str | None]:
        """Each filled cell as a span of time in two units; see `span_of`."""
        return [
            ("sure" if cell.text.startswith("00:") else "open")
            if cell.kind == "time"
            else span_of(cell.text)
            for cell in self.kept
        ]

    @cached_property
    def is_scores(self) -> bool:
        """Tell whether marks such as "++" and "+++", or "4/5" of one whole, stand in the cells."""
        pluses = all(re.fullmatch(r"\++", text) for text in self.texts)
        parts = [re.fullmatch(r"(\d{1,2})\s?/\s?(\d{1,2})", text) for text in self.texts]
        whole = {match[2] for match in parts if match}
        of_one = all(parts) and len(whole) == 1 and all(
            int(match[1]) <= int(match[2]) <= _HIGHEST for match in parts if match
        )
        return len(self.counts) > 1 and (pluses or of_one)

    @cached_property
    def yes_no_share(self) -> float:
        """Share of the filled cells that are yes, no or a tick."""
        return self.share(yes_or_no(text) for text in self.texts)

    def word_share(self, column: str) -> float:
        """Share of the filled cells that are known words of a word column."""
        known = vocabulary().words.get(column, {})
        return self.share(fold(text) in known for text in self.texts)

    def units(self) -> Counter[str]:
        """How often each unit stands beside a number in the column."""
        return Counter(n.unit for n in self.numbers if n and n.unit)

    @cached_property
    def name_like(self) -> float:
        """Share of the filled cells that could be a name or initials of a person."""
        return self.share(
            not any(c.isdigit() for c in text) and len(tokens(text)) <= 4
            for text in self.texts
        )


def _slashed(text: str) -> str:
    """Write "5-7" as "5/7", which is a day wherever it stands."""
    return re.sub(r"^(\d{1,2}) ?- ?(\d{1,2})$", r"\1/\2", text)


def is_ditto(text: str) -> bool:
    """Tell whether a cell's text is a ditto mark."""
    return text.casefold() in ditto_words() or bool(
        re.fullmatch('["”“„‟〃″\'’‘´`]{1,4}|-\\s?["”″]\\s?-', text)
    )
