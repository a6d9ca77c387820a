"""In which order a file writes its days, judged on all its columns; what is left to ask."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from queen_outcomes.facts import years
from queen_outcomes.facts.years import Year
from queen_outcomes.records.map.asked import years as years_of_days
from queen_outcomes.records.map.asked.questions import LEAVE, Question, question_id
from queen_outcomes.records.map.seen.contents import ORDERS, Contents
from queen_outcomes.records.map.seen.fits import MAIN_DATE
from queen_outcomes.records.map.seen.opened import Cell
from queen_outcomes.records.map.seen.station import Part, Station

ORDER_WORDS = {
    "dmy": "day, month, year",
    "mdy": "month, day, year",
    "ymd": "year, month, day",
}
_FITS = 0.9
"""Share of a column's days that an order must fit; the rest are slips of the pen."""
_YEAR_FIRST = re.compile(r"^\d{4}(?!-\d\d-\d\d(?!\d))\D+\d{1,2}\D+\d{1,2}(?!\d)")
_MOST_YEARS = 8
_FEW = 3
_SOME = 5


@dataclass
class Judged:
    """What a column's days allow.

    Parameters
    ----------
    numeric : int
        Days written in figures alone, whose order matters.
    fits : Counter of order
        How many of them can be read in each order.
    """

    part: Part
    name: str
    numeric: int = 0
    year_first: int = 0
    """Days such as 2025/6/3: the order is plain, but it is not the ISO form."""
    fits: Counter[str] = field(default_factory=Counter)
    example: str = ""

    @property
    def possible(self) -> list[str]:
        """The orders that nearly all days fit."""
        return [o for o in ORDERS if self.fits[o] >= _FITS * self.numeric]


@dataclass
class Orders:
    """The orders found: by file, by single column, and what is to be asked."""

    by_file: dict[str, str] = field(default_factory=dict)
    by_column: dict[tuple[str, str, str], str] = field(default_factory=dict)
    """(source, table, column) -> an order other than the file's."""
    turned: dict[tuple[str, str, str], str] = field(default_factory=dict)
    """(source, table, column) -> the order of its texts, where a spreadsheet of another
    locale may have changed day and month of the rest."""
    questions: list[Question] = field(default_factory=list)
    asked: dict[str, list[str]] = field(default_factory=dict)
    """question id -> the files that its answer sets."""
    yearless: dict[str, Year] = field(default_factory=dict)
    """source -> the year or season that its days without one fall in."""

    def year_of(self, source: str) -> Year | None:
        """Give the year of a sheet's days without one: found, or answered."""
        name = question_id(years_of_days.KIND, source)
        given = next((q.answer for q in self.questions if q.id == name), None)
        return self.yearless.get(source) or (given if given != LEAVE else None)

    @property
    def first_years(self) -> dict[str, int]:
        """The year in which the season of each sheet begins whose days have none."""
        known = {source: years.first_year(year) for source, year in self.yearless.items()}
        return {source: year for source, year in known.items() if year is not None}


def judge(station: Station) -> Orders:
    """Judge the orders of all files."""
    found = Orders()
    by_file: dict[str, list[Judged]] = defaultdict(list)
    for part in station.parts:
        for name, held in (*part.dates(), *_headings(part)):
            judged = _judged(part, name, held)
            by_file[part.source].append(judged)
            _mixture(found, judged, held)
    for source, columns in by_file.items():
        _judge_file(found, source, [one for one in columns if one.numeric])
        _judge_year_first(found, source, columns)
    _ask(found, by_file)
    found.yearless, asked = years_of_days.find(station, found.by_file)
    found.questions += asked
    return found


def _headings(part: Part) -> Iterator[tuple[str, list[Contents]]]:
    """Give the days that are headings, as if they stood in a column."""
    if part.feed.days:
        texts = (text.split(" (", maxsplit=1)[0] for text in part.feed.days.values())
        yield MAIN_DATE[part.table], [Contents([Cell(text) for text in texts])]


def _judged(part: Part, name: str, held: Iterable[Contents]) -> Judged:
    judged = Judged(part, name)
    for contents in held:
        for cell, day in zip(contents.kept, contents.days, strict=True):
            if day is not None and day.plain and cell.kind == "text":
                judged.year_first += bool(_YEAR_FIRST.match(cell.text))
            if day is not None and not day.plain:
                judged.numeric += 1
                judged.example = judged.example or cell.text
                judged.fits.update(way for way, _ in day.days)
    spread = _years_under(held, "ymd")
    if "ymd" in judged.possible and len(spread) >= _FEW:
        # "25.05.14" is the fourteenth only if the first figures are all the same few years
        other = min(len(_years_under(held, o)) for o in ("dmy", "mdy"))
        if len(spread) >= other:
            judged.fits["ymd"] = 0
    elif "ymd" in judged.possible:
        other = max(len(_years_under(held, order)) for order in ("dmy", "mdy"))
        # of some days, that all are the 26th of four years or more nobody believes
        same = judged.numeric >= _SOME and other >= _MOST_YEARS // 2
        if other > _MOST_YEARS or same:
            judged.fits["dmy"] = judged.fits["mdy"] = 0
        else:
            judged.fits["ymd"] = 0
    return judged


def _years_under(held: Iterable[Contents], order: str) -> set[int]:
    return {
        day.on(order).year  # type: ignore[union-attr]
        for contents in held
        for day in contents.days
        if day is not None and not day.plain and day.on(order)
    }


def _judge_file(found: Orders, source: str, columns: list[Judged]) -> None:
    """Decide a file's order where one of its columns decides it."""
    decided = [one for one in columns if len(one.possible) == 1]
    if not decided:
        return
    votes = Counter()
    for one in decided:
        votes[one.possible[0]] += one.numeric
    order = max(votes, key=votes.__getitem__)
    found.by_file[source] = order
    for one in columns:
        if order not in one.possible and len(one.possible) == 1:
            key = (source, one.part.table, one.name)
            found.by_column[key] = one.possible[0]


def _judge_year_first(found: Orders, source: str, columns: list[Judged]) -> None:
    """Set the order of days such as 2025/6/3, which is plain but not ISO."""
    named = [one for one in columns if one.year_first and not one.numeric]
    others = [one for one in columns if one.numeric]
    if named and not others:
        found.by_file[source] = "ymd"
    else:
        for one in named:
            found.by_column[source, one.part.table, one.name] = "ymd"


def _ask(found: Orders, by_file: Mapping[str, list[Judged]]) -> None:
    """Ask about the files in which every day fits both ways."""
    decided = set(found.by_file.values())
    for source, columns in by_file.items():
        open_ones = [one for one in columns if one.numeric]
        if source in found.by_file or not open_ones:
            continue
        first = open_ones[0]
        possible = first.possible or [o for o in ORDERS if first.fits[o]]
        if not possible:
            continue
        # the station's other files leave little doubt: its hand is mostly one hand
        usual = next(iter(decided)) if len(decided) == 1 else None
        alike = _of_sheets_alike(found, source, by_file)
        name = question_id("dates", source, first.part.table, first.name)
        total = sum(one.numeric for one in open_ones)
        found.asked[name] = [source]
        found.questions.append(
            Question(
                name,
                f'In which order are the days of "{source}" written, such as {first.example}?',
                [
                    f"all {total} days fit {' and '.join(possible)}",
                    *([f"the other files write {usual}"] if usual else []),
                    *([f"the sheets alike of its workbook write {alike}"] if alike else []),
                ],
                {order: ORDER_WORDS[order] for order in possible},
                default=next((order for order in (usual, alike) if order in possible), None),
                sources=(source,),
            )
        )


def _of_sheets_alike(
    found: Orders, source: str, by_file: Mapping[str, list[Judged]]
) -> str | None:
    """Give the one order that sheets of the same workbook with the same headings have."""
    own = by_file[source][0].part.sheet
    orders = {
        found.by_file[other]
        for other, columns in by_file.items()
        if other in found.by_file
        and columns[0].part.sheet.grid.file == own.grid.file
        and columns[0].part.sheet.heads == own.heads
    }
    return orders.pop() if len(orders) == 1 else None


def _mixture(found: Orders, judged: Judged, held: list[Contents]) -> None:
    """Notice real days up to the 12th beside texts after it: another locale's doing."""
    cells = [
        (cell, day)
        for contents in held
        for cell, day in zip(contents.kept, contents.days, strict=True)
        if day is not None
    ]
    real = [day.days[0][1] for cell, day in cells if cell.kind == "date"]
    texts = [day for cell, day in cells if cell.kind != "date" and not day.plain]
    if len(real) < _FEW or len(texts) < _FEW:
        return
    late = [day for day in texts if len(day.days) == 1]
    if len(late) == len(texts) and all(day.day <= 12 for day in real):
        place = (judged.part.source, judged.part.table, judged.name)
        found.turned[place] = late[0].days[0][0]
        name = question_id("mixed", *place)
        found.questions.append(
            Question(
                name,
                f'In "{judged.part.source}", are the {len(real)} days that the spreadsheet '
                f"holds as days right, or did it swap day and month?",
                [
                    f"{len(real)} are real days, none after the 12th of a month",
                    f"{len(texts)} are texts, all after the 12th",
                ],
                {
                    "right": "read them as they stand",
                    "swapped": "it did: turn them back",
                },
                sources=(judged.part.source,),
            )
        )
