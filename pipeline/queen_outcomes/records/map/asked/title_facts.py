"""Facts of all queens of a sheet that stand above its headings, and what is asked of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from queen_outcomes.facts import years
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.years import Year
from queen_outcomes.records import titles
from queen_outcomes.records.map.asked import years as years_of_days
from queen_outcomes.records.map.asked.orders import Orders
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen.contents import day_of
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.station import Part, Station

KIND = "title"
FACTS = ("line", "graft_batch", "emerged_on")
"""What may be told once of all queens that stand together."""
HOLDERS = ("queens", "inseminations")
"""The tables that keep these facts; the first that a sheet feeds."""
_WORDS = 3
_SHOWN = 5


@dataclass(frozen=True)
class Fact:
    """One fact: the rule that it belongs to, its column, the word before it and its text."""

    part: Part
    name: str
    word: str
    text: str

    @property
    def id(self) -> str:
        """The id of its question, which holds for all sheets."""
        return question_id(KIND, "*", self.part.table, self.name)


def find(station: Station) -> list[Fact]:
    """Find what the rows above the headings say of all queens of their sheet.

    Nothing that a column of the sheet says of each.
    """
    return [fact for part in station.parts for fact in _of(station, part)]


def _of(station: Station, part: Part) -> Iterator[Fact]:
    own = station.parts_of(part.source)
    tables = [one.table for one in own]
    holder = next((table for table in HOLDERS if table in tables), "")
    if part.table != holder or not part.sheet.header or part.feed.slots:
        return
    fed = {name for one in own for name in one.feed.columns}
    rows = titles.filled(
        [cell.text for cell in row.cells]
        for row in part.sheet.grid.rows
        if row.line < part.sheet.header[0]
    )
    for name in FACTS:
        if name in fed or name not in TABLES[holder].names:
            continue
        for word in _words(rows, name, part.sheet.language):
            texts = titles.behind(rows, word)
            # several would be refused by the reader
            if len(texts) == 1 and (name != "emerged_on" or day_of(texts[0])):
                yield Fact(part, name, word, texts[0])
                break


def _words(rows: titles.Rows, name: str, language: str) -> Iterator[str]:
    """Give the beginnings of facts that name a column, the shortest first.

    A word more may be the label's own: in "mother DE 4" it is.
    """
    for text in (text for row in rows for text in row):
        for fact in titles.parts(text):
            words = fact.split()
            for length in range(1, min(_WORDS, len(words)) + 1):
                word = " ".join(words[:length]).rstrip(":=")
                said = heading(word, language)
                if said.of("column") == {name} and not said.unknown and not said.slot:
                    yield word


def questions(facts: list[Fact]) -> list[Question]:
    """Ask of each column once whether the titles say it of all queens below them."""
    by_id: dict[str, list[Fact]] = {}
    for fact in facts:
        by_id.setdefault(fact.id, []).append(fact)
    return [
        Question(
            name,
            f"Do the rows above the headings say {same[0].name} of all rows below them, such "
            f'as "{same[0].text}" behind "{same[0].word}"?',
            [f'{one.part.source}: "{one.text}" behind "{one.word}"' for one in same[:_SHOWN]],
            {YES: "they do, in each of these sheets", NO: "they do not: leave it unread"},
            # a day can be nothing else; behind another word anything may stand
            default=YES if same[0].name == "emerged_on" else None,
            sources=tuple(dict.fromkeys(one.part.source for one in same)),
        )
        for name, same in by_id.items()
    ]


def spec(fact: Fact, facts: list[Fact], orders: Orders) -> dict[str, Any]:
    """Give how a rule reads a fact: the word, and the order and year of a day."""
    found: dict[str, Any] = {"title": fact.word}
    seen = day_of(fact.text) if fact.name == "emerged_on" else None
    if seen is None:
        return found
    if not seen.plain:
        fits = [
            {way for way, _ in day.days}
            for one in facts
            if one.name == fact.name and (day := day_of(one.text)) and not day.plain
        ]
        alike = set.intersection(*fits) or {way for way, _ in seen.days}
        used = {*orders.by_file.values()} & alike
        order = alike if len(alike) == 1 else used
        found |= {"dates": order.pop()} if len(order) == 1 else {}
    year = year_of(fact.part, orders) if seen.yearless else None
    return found | ({"year": year} if year else {})


def year_of(part: Part, orders: Orders) -> Year | None:
    """Give the year of a day without one: that of the sheet's names and titles, or its days."""
    if (known := orders.year_of(part.source)) and known != years.ROWS:
        return known
    if len(names := years_of_days.names_of(part)) and (meant := names[0].meant):
        return meant
    return next(iter(dict(part.years().most_common(1))), None)
