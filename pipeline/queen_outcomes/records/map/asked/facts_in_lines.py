"""Lines between the records that say something of the rows below them: "3. series - hatched 7.6., mother B14"."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.years import Year
from queen_outcomes.records import titles
from queen_outcomes.records.map.asked import lines_over_rows
from queen_outcomes.records.map.asked.orders import Orders
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.asked.title_facts import FACTS, HOLDERS, year_of
from queen_outcomes.records.map.seen.contents import MOST, day_of
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.opened import Row
from queen_outcomes.records.map.seen.station import Part, Station

KIND = "lines"
_WORDS, _SHOWN = 3, 5
_LONGEST = 20
"""So many letters has what a line says at the most; what is longer is a remark."""


@dataclass(frozen=True)
class GroupLines:
    """What the lines between a sheet's records say of the rows below them.

    Attributes
    ----------
    part : Part
        The rule that keeps it.
    words : mapping of str
        Our column -> the word that it stands behind.
    rows : tuple of Row
    """

    part: Part
    words: Mapping[str, str]
    rows: tuple[Row, ...]

    @property
    def id(self) -> str:
        """The id of its question."""
        return question_id(KIND, self.part.source)

    @property
    def days(self) -> list[str]:
        """What they say of the day of emergence."""
        word = self.words.get("emerged_on")
        return [day for row in self.rows for day in titles.behind([[_text(row)]], word)] if word else []

    def told(self, row: Row) -> str:
        """Say what one line says."""
        text = _text(row)
        said = {name: " / ".join(titles.behind([[text]], word)) for name, word in self.words.items()}
        return f'"{text}" -> ' + ", ".join(f"{name} = {value}" for name, value in said.items() if value)


def find(station: Station) -> list[GroupLines]:
    """Find sheets whose lines between records say of the queens below what no column says of each."""
    found = []
    for sheet in station.sheets:
        parts = {part.table: part for part in reversed(station.parts_of(sheet.source))}
        keeps = next((parts[table] for table in HOLDERS if table in parts), None)
        rows = tuple(row for row in sheet.groups if len(row.filled) == 1)
        if keeps is None or not rows or any(part.feed.only for part in parts.values()):
            continue
        fed = {name for part in station.parts_of(sheet.source) for name in part.feed.columns}
        words = dict(_words_of(rows, fed, sheet.language))
        # one fact alone of lines that begin alike is the whole line's, which is asked about so
        if len(words) > 1 or (words and not lines_over_rows.lines(sheet)):
            having = (row for row in rows if any(titles.behind([[_text(row)]], w) for w in words.values()))
            found.append(GroupLines(keeps, words, tuple(having)))
    return found


def year(one: GroupLines, orders: Orders) -> dict[str, Year]:
    """Give the year of the lines' days where they are written without; nothing where they are not."""
    seen = [day for text in one.days if (day := day_of(text))]
    known = year_of(one.part, orders) if any(day.yearless for day in seen) else None
    return {"year": known} if known else {}


def _text(row: Row) -> str:
    return row.text(row.filled[0])


def _words_of(rows: tuple[Row, ...], fed: set[str], language: str) -> Iterator[tuple[str, str]]:
    """Give the columns that most lines tell of, and the word that stands before what they tell."""
    lines = [[[_text(row)]] for row in rows]
    for name in FACTS:
        if name in fed or not any(name in TABLES[table].names for table in HOLDERS):
            continue
        for word in dict.fromkeys(w for line in lines for w in _beginnings(line[0][0], name, language)):
            said = [titles.behind(line, word) for line in lines]
            told = [own[0] for own in said if len(own) == 1 and _fits(name, own[0])]
            if len(told) >= MOST * len(lines):
                yield name, word
                break


def _fits(name: str, text: str) -> bool:
    if name == "emerged_on":
        return day_of(text) is not None
    return len(text) <= _LONGEST and day_of(text) is None


def _beginnings(text: str, name: str, language: str) -> Iterator[str]:
    """Give the words that name a column where a fact of a line begins, behind a number too."""
    for fact in titles.parts(text):
        words = fact.split()
        words = words[1:] if titles.number(words[0]) and words[1:] else words
        for length in range(1, min(_WORDS, len(words)) + 1):
            word = " ".join(words[:length]).rstrip(":=")
            said = heading(word, language)
            if name in said.of("column") and not said.unknown and not said.slot:
                yield word


def questions(found: list[GroupLines]) -> list[Question]:
    """Ask of each sheet whether its lines say that of the rows below them."""
    return [
        Question(
            one.id,
            f'In "{one.part.source}", do the lines between the records say '
            f"{', '.join(one.words)} of the rows below each?",
            [one.told(row) for row in one.rows[:_SHOWN]],
            {YES: "they do, up to the next such line", NO: "they do not: pass them over"},
            default=YES,
            sources=(one.part.source,),
        )
        for one in found
    ]
