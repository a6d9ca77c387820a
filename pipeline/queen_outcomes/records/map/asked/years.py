"""Of which year days are that are written without one; asked where two are possible.

What tells it: the name of the sheet, its title and its file's name; whole days that stand on
it; years in rows of their own; and whether its days go on over the turn of a year.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from queen_outcomes.facts import years
from queen_outcomes.facts.reading import BELOW
from queen_outcomes.facts.years import Year
from queen_outcomes.records.map.asked.questions import LEAVE, Question, question_id
from queen_outcomes.records.map.seen.contents import SeenDay, day_of
from queen_outcomes.records.map.seen.fits import MAIN_DATE, is_year
from queen_outcomes.records.map.seen.sheet import lone_years
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.weeks import week_of

KIND = "year"
_YEAR = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)")
_SEASON = re.compile(r"(?<![\d.])((?:19|20)\d\d)\s?[-–/_]\s?((?:19|20)?\d\d)(?![\d.])")
_SHORT_SEASON = re.compile(r"(?:^|(?<=[\s_(#]))(\d\d)\s?[-–/_]\s?(\d\d)(?=$|[\s_)])")
_MONTHS, _MOST = 12, 20
_SHORT_FROM, _SHORT_TO = 15, 60
"""Two figures that are a year's: 11-12 may be days or hives."""
_LEAST_GAP = 3
"""So many months without a day part one season from the next."""
_EITHER = {5, 6}
"""Months that end a season in the south and begin one in the north."""
_NEAR = 3
"""The last month of a year with days and the first of the next lie at most so far apart."""
_BACK = 6
"""Days that stand so many months before those above them are of another year."""
_SOME_ROWS, _MONTHS_BEFORE = 2, 2
"""So many rows with a look so many months before their insemination: it is of the next spring."""
_RARE = 0.05
"""A year of fewer of the other sheets' days is a slip of the pen."""
_SHOWN = 4


@dataclass
class Named:
    """The years and the seasons, by their first year, that one text names."""

    text: str
    seasons: set[int] = field(default_factory=set)
    singles: set[int] = field(default_factory=set)

    @property
    def all(self) -> set[int]:
        """Every year that it names."""
        return self.singles | {year + more for year in self.seasons for more in (0, 1)}

    @property
    def meant(self) -> Year | None:
        """The one year or season that it names."""
        if len(self.seasons) == 1 and not self.singles:
            return years.season(next(iter(self.seasons)))
        return next(iter(self.singles)) if len(self.singles) == 1 and not self.seasons else None


def named(text: str) -> Named:
    """Tell which years and seasons a text names."""
    found = Named(text)
    rest = text
    for match in _SEASON.finditer(text):
        first, second = int(match[1]), match[2]
        is_month = len(second) < len(match[1]) and int(second) <= _MONTHS
        more = (int(second) - first) % 100
        if is_month or not 0 < more <= _MOST:
            continue
        if more == 1:
            found.seasons.add(first)
            rest = rest.replace(match[0], " ")
        else:  # all of some years
            found.singles |= set(range(first, first + more + 1))
    for match in _SHORT_SEASON.finditer(rest):
        first, second = int(match[1]), int(match[2])
        if _SHORT_FROM <= first < _SHORT_TO and second == first + 1:
            found.seasons.add(2000 + first)
    found.singles |= {int(year) for year in _YEAR.findall(rest)}
    return found


def named_by_path(source: str) -> list[Named]:
    """Give what a sheet's and its file's name and folders say of years, the nearest first."""
    whole, _, below = source.partition(BELOW)
    file, _, sheet = whole.partition("#")
    path = PurePosixPath(file)
    texts = [below, sheet, path.stem, *reversed(path.parts[:-1])]
    return [one for one in map(named, texts) if one.singles or one.seasons]


def names_of(part: Part) -> list[Named]:
    """Give what names a sheet's years, the nearest first: sheet, titles, and file."""
    top = part.sheet.header[0] if part.sheet.header else 0
    titles = [
        cell.text
        for row in part.sheet.grid.rows
        if row.line < top
        for cell in row.cells
        if cell.text and cell.kind in ("text", "number") and not day_of(cell.text)
    ]
    above = named(" ".join(titles))
    if titles:  # two figures with a line between may be anything inside of a sentence
        above.seasons = {y for text in titles for y in named(text).seasons if _is_title(text, y)}
        above.text = next(
            (t for t in titles if named(t).singles or named(t).seasons), above.text
        )
    file, _, inside = part.source.partition("#")
    has_title = bool(above.singles or above.seasons)
    return [*named_by_path(f"#{inside}"), *[above][:has_title], *named_by_path(file)]


def _is_title(text: str, year: int) -> bool:
    short = rf"{year % 100:02}\s?[-–/_]\s?{(year + 1) % 100:02}"
    return bool(re.search(rf"{short}$|^{short}|{year}\s?[-–/_]", text.strip()))


@dataclass
class _Seen:
    """What a sheet shows of the years of its days."""

    parts: list[Part]
    order: str
    days: list[SeenDay] = field(default_factory=list)
    """Without a year, in the order of rows, a column after the other."""
    example: str = ""
    whole: Counter[tuple[int, int]] = field(default_factory=Counter)
    """Year and month of days with their year."""

    @property
    def source(self) -> str:
        return self.parts[0].source

    @property
    def months(self) -> set[int]:
        """The months of days without a year."""
        return {_month(day, self.order) for day in self.days}

    @property
    def first(self) -> int | None:
        """The month in which they begin, after the longest time without any; None: not told."""
        return _first(self.months)

    @property
    def goes_over(self) -> bool:
        """Whether the days, in their season, go on over the turn of a year, in any order."""
        return any(_goes_over({_month(day, order) for day in self.days}) for order in self.orders)

    @property
    def orders(self) -> list[str]:
        """The orders in which all of them are days, where none is known."""
        if self.order:
            return [self.order]
        fit = [o for o in ("dmy", "mdy") if all(day.on(o) for day in self.days)]
        return fit or [""]

    @property
    def own(self) -> set[int]:
        """The years of whole days."""
        return {year for year, _ in self.whole}

    @property
    def next_spring(self) -> int | None:
        """The month of the first insemination, where looks or exits of some stand long before it."""
        done = next((part for part in self.parts if part.table == "inseminations"), None)
        if done is None:
            return None
        first = [_month(day, self.order) for day in done.main_days]
        rows = sum(_earlier(done, part, self.order) for part in self.parts)
        return min(first) if rows >= _SOME_ROWS else None

    def season(self, year: int) -> Year:
        """Give the season that begins in a year, so that all its days are of it."""
        first = self.first or years.SEASON_FROM
        early = self.goes_over and first < years.SEASON_FROM
        return f"{year}-{first:02}" if early else years.season(year)

    def told(self) -> Iterator[str]:
        """Give what shows of which year they may be."""
        yield from (f'"{one.text}" stands there' for one in names_of(self.parts[0]))
        if self.own:
            yield f"whole days there are of {_listed(self.own)}"
        if self.goes_over:
            yield "days go on from the end of one year to the beginning of the next"
        if later := _years_between(self.parts[0]):
            yield f"rows between the records name {_listed(later)}"


def find(
    station: Station, orders: Mapping[str, str]
) -> tuple[dict[str, Year], list[Question]]:
    """Give the years of the sheets whose days have none, and ask where two are possible.

    Parameters
    ----------
    station : Station
    orders : mapping
        Source -> the order of its days, as far as it is known.

    Returns
    -------
    yearless : dict of source to year
    questions : list of Question
    """
    usual: Counter[int] = Counter()
    for part in station.parts:
        usual.update(part.years(orders.get(part.source, "")))
    often = {year for year, count in usual.items() if count > _RARE * usual.total()}
    found: dict[str, Year] = {}
    questions = []
    for source in dict.fromkeys(part.source for part in station.parts):
        seen = _look(station.parts_of(source), orders.get(source, ""))
        if not seen.days:
            continue
        possible = _possible(seen, often)
        if len(possible) == 1 and not _is_open(seen, possible[0]):
            found[source] = possible[0]
        else:
            questions.append(_question(seen, possible))
    return found, questions


def _look(parts: list[Part], order: str) -> _Seen:
    seen = _Seen(parts, order)
    looked: set[object] = set()
    for part in parts:
        for name, held in part.dates():
            columns = part.columns_of(name)
            key = tuple(column.name for column in columns)
            if key in looked:
                continue
            looked.add(key)
            has_year = any(is_year(column) for column in columns)
            for contents in held:
                pairs = zip(contents.kept, contents.days, strict=True)
                _take(seen, ((cell.text, day) for cell, day in pairs), has_year=has_year)
        heads = [text.split(" (", maxsplit=1)[0] for text in part.feed.days.values()]
        _take(seen, ((text, _heading_day(text)) for text in heads), has_year=False)
    return seen


def _heading_day(text: str) -> SeenDay | None:
    week = week_of(text)
    return day_of(text) or (week.seen if week else None)


def _take(
    seen: _Seen, days: Iterable[tuple[str, SeenDay | None]], *, has_year: bool
) -> None:
    for text, day in days:
        if day is None:
            continue
        if not day.yearless:
            whole = day.on(seen.order) or day.days[0][1]
            seen.whole[whole.year, whole.month] += 1
        elif not has_year:
            seen.days.append(day)
            seen.example = seen.example or text


def _possible(seen: _Seen, often: set[int]) -> list[Year]:
    """Give the years and seasons that the days may be of; one where all that tells agrees."""
    part = seen.parts[0]
    if lone_years(part.sheet):
        return [years.ROWS]
    names = names_of(part)
    return _of_names(seen, names) if names else _of_days(seen, often)


def _of_names(seen: _Seen, names: list[Named]) -> list[Year]:
    """Give the same where names tell it: what the nearest says, if no other is against it."""
    meant = names[0].meant
    others = [one for one in names[1:] if one.all.isdisjoint(names[0].all)]
    if meant is None or others:
        singles = sorted({year for one in (names[0], *others) for year in one.all})
        return [*(seen.season(year) for year in singles if seen.goes_over), *singles]
    return _of_year(seen, meant) if isinstance(meant, int) else _of_season(seen, meant)


def _of_year(seen: _Seen, meant: int) -> list[Year]:
    """Give the same where a year is named, and what the days say to it."""
    if seen.goes_over:
        return [seen.season(meant), seen.season(meant - 1), meant]
    if begun := seen.next_spring:
        return [f"{meant}-{begun:02}", meant]
    # what is of the next spring has its year written for that, and is not against it
    spring = (meant + 1, min(seen.months))
    against = {year for year, month in seen.whole if (year, month) >= spring or year < meant}
    return [meant, *sorted(seen.own)] if against and meant not in seen.own else [meant]


def _of_season(seen: _Seen, meant: Year) -> list[Year]:
    """Give the same where a season over the turn of a year is named."""
    first, second = years.begin(meant)[0], years.begin(meant)[0] + 1
    if not seen.own <= {first, second}:
        return [seen.season(first), *sorted({first, second} | seen.own)]
    if seen.goes_over and (seen.first or 0) >= years.SEASON_FROM and seen.months & _EITHER:
        return [seen.season(first), f"{first}-{min(seen.months & _EITHER):02}"]
    sure = seen.goes_over or min(seen.months) >= years.SEASON_FROM
    return [seen.season(first)] if sure else [first, second]


def _earlier(done: Part, part: Part, order: str) -> int:
    """Count the rows whose look or exit stands months before their insemination, without years."""
    if part.table not in ("checks", "exits") or part.sheet is not done.sheet:
        return 0
    (at, *_) = (column.at for column in done.columns_of(MAIN_DATE[done.table]))
    places = [column.at for column in part.columns_of(MAIN_DATE[part.table])]
    found = 0
    for row in part.sheet.rows:
        here, *others = (day_of(row.text(place)) for place in (at, *places))
        found += any(
            day.yearless and _month(day, order) + _MONTHS_BEFORE <= _month(here, order)
            for day in others
            if day and here and here.yearless
        )
    return found


def _of_days(seen: _Seen, often: set[int]) -> list[Year]:
    """Give the same where nothing names a year: by the days that have theirs."""
    known = sorted(seen.own or often)
    months = {month for _, month in seen.whole} | seen.months
    if not (seen.goes_over or (seen.own and _goes_over(months))):
        return list(known)
    begun = _first(months) or years.SEASON_FROM
    firsts = {year if month >= begun else year - 1 for year, month in seen.whole}
    firsts = firsts or {year - more for year in known for more in (0, 1)}
    return [*(seen.season(year) for year in sorted(firsts)), *known]


def _is_open(seen: _Seen, year: Year) -> bool:
    """Tell whether the rows between the records contradict the one year that is possible."""
    if year == years.ROWS:
        return any(_turns(part, seen.order) for part in seen.parts)
    first = years.first_year(year)
    return bool(_years_between(seen.parts[0]) - {first})


def _years_between(part: Part) -> set[int]:
    """Give the years that rows between the records name: a second season may begin there."""
    sheet = part.sheet.whole or part.sheet
    rows = (*sheet.passed, *sheet.groups)
    return {int(year) for row in rows for cell in row.cells for year in _YEAR.findall(cell.text)}


def _turns(part: Part, order: str) -> bool:
    """Tell whether days go back by months below one year: the next one's row is lacking."""
    sheet = part.sheet.whole or part.sheet
    lines = sorted(lone_years(sheet))
    for name, _ in part.dates():
        for column in part.columns_of(name):
            above: tuple[int, int] | None = None
            for row in sheet.rows:
                day = day_of(row.text(column.at))
                if day is None or not day.yearless:
                    continue
                block = sum(line < row.line for line in lines)
                here = block, _month(day, order)
                if above and above[0] == block and above[1] - here[1] >= _BACK:
                    return True
                above = here
    return False


def _question(seen: _Seen, possible: list[Year]) -> Question:
    options = {str(year): _said(year) for year in dict.fromkeys(possible)}
    return Question(
        question_id(KIND, seen.source),
        f'Of which year are the days of "{seen.source}" that are written without one, '
        f"such as {seen.example}?",
        list(seen.told()),
        {**options, LEAVE: "it is not known: leave them unread"},
        sources=(seen.source,),
    )


def _said(year: Year) -> str:
    if year == years.ROWS:
        return "of the year that stands in a row above them"
    if isinstance(year, int):
        return "all of this year"
    first, month = years.begin(year)
    return f"the twelve months from {first}-{month:02} on"


def _month(day: SeenDay, order: str) -> int:
    return (day.on(order) or day.days[0][1]).month


def _first(months: set[int]) -> int | None:
    """Give the month after the longest time without days; None where none is long."""
    runs = {}
    for month in months:
        gap = next((n for n in range(1, 13) if (month - 1 - n) % 12 + 1 in months), 12) - 1
        runs[month] = gap
    first = max(sorted(runs), key=runs.__getitem__, default=None)
    return first if first is not None and runs[first] >= _LEAST_GAP else None


def _goes_over(months: set[int]) -> bool:
    first = _first(months)
    after = {month for month in months if first is not None and month < first}
    # with a long time between they are no one season: a slip of the pen, or the next spring
    return bool(after) and min(after) + _MONTHS - max(months) <= _NEAR


def _listed(found: Iterable[int]) -> str:
    texts = [str(year) for year in sorted(found)]
    return ", ".join(texts[:_SHOWN]) + (" ..." if len(texts) > _SHOWN else "")
