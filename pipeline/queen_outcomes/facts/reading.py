"""What the settings say about reading: station, file and column, the nearest level wins.

`Reading` keeps what stands in `station.toml`. For one column of one source it gives the
`CellRule` in which the levels are put together; who reads a cell asks for nothing else.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from typing import Any

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.years import Year

YES, NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")
NOT_LOOKED, BLANK_NO, FILLED_YES = "not looked", "no", "yes"
MIXED = "mixed:"
"""Before an order of dates: the real ones up to the 12th were turned round; see `days`."""
READ, PASS_OVER = "read", "pass over"
FINDINGS, PARTS, ABSENT = "findings", "parts", "absent"
"""The pseudo-column whose words set several columns."""
HOLE = re.compile(r"\{(\w+)\}")
"""In a text of `FINDINGS`, the column that takes the number which stands there."""
BELOW = "//"
"""Between a sheet's or file's name and the text with which a table below its first begins."""
_OF_ALL_TABLES = (
    *("dates", "year", "month", "decimal", "empty", "ditto", "encoding", "prefix", "struck", "hidden"),
)
"""What is said of a sheet and holds for the tables below its first too."""
FOLDED = ("queen_id", "colony_id", "semen_batch", "graft_batch")
"""Columns whose spellings may be taken as one: [records] fold."""

FEWEST_SCORES, HIGHEST_SCORE = 5, 10
"""So many whole figures of a column of per cent, none above the highest, may be scores."""


@dataclass(frozen=True)
class CellRule:
    """How the cells of one column of one source are read."""

    dates: str = "iso"
    """iso, dmy, mdy or ymd; dmy or mdy after `MIXED`, where a spreadsheet of another country
    took day for month in some."""
    year: Year | None = None
    """The year of days written without one; see `years`."""
    month: str | None = None
    """Year and month, "2026-05", of days written as a day of the month alone."""
    days: int = 0
    """How many days after the one that is written."""
    decimal: str = "."
    unit: str | None = None
    """The unit that the column is kept in; None: ours."""
    empty: tuple[str, ...] = ()
    """Words for "not recorded"."""
    about: tuple[str, ...] = ()
    """Marks of a number that is only about right, and is used as it stands."""
    blank: str = NOT_LOOKED
    """What an empty cell means on a row with a date: `NOT_LOOKED` or `BLANK_NO`."""
    filled: bool = False
    """A cell of a yes/no column with any text that is no word for no means yes."""
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Our word ("yes" and "no" in a yes/no column) -> the station's words for it."""
    findings: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """A text of `FINDINGS` -> our column -> our word or number as text; may be empty."""
    parts: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """What texts of `FINDINGS` are made of, in any order -> what it sets, likewise."""
    absent: Mapping[str, str] = field(default_factory=dict)
    """Our column -> what it is where a text so made has a part for one of these columns, and
    none for this."""
    scores: Mapping[str, float] = field(default_factory=dict)
    """A score of the station's own, folded -> what it is in our unit; nothing else is then
    read. Empty: the column holds figures."""

    @property
    def order(self) -> str:
        """In which order the days that are texts are written."""
        return self.dates.removeprefix(MIXED)

    @property
    def turned(self) -> bool:
        """Whether day and month of real dates up to the 12th changed places."""
        return self.dates.startswith(MIXED)


@dataclass(frozen=True)
class Habits:
    """How one file is kept: [files."pattern"]. None or empty: nothing is said here."""

    dates: str | None = None
    year: Year | None = None
    month: str | None = None
    decimal: str | None = None
    empty: tuple[str, ...] | None = None
    ditto: tuple[str, ...] | None = None
    encoding: str | None = None
    """Of a text file that is no Unicode; None: Windows-1252."""
    header: tuple[int, ...] = ()
    """The lines of the heading, from 1."""
    prefix: Mapping[str, str] | None = None
    """Column of ids -> what is put before each."""
    pass_over: tuple[str, ...] = ()
    """Patterns of the first filled cell of rows that are no records."""
    no_record: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """A heading -> the texts of the rows that are no records."""
    struck: str = READ
    hidden: str = READ
    fill_down: tuple[str, ...] = ()
    """Headings whose empty cells take the value above."""
    year_of: str = ""
    """The heading of the days from which on the other days of a row lie that have no year."""
    apart: Mapping[str, int] = field(default_factory=dict)
    """A heading -> how many records its cells may hold, each a day and words."""
    several: Mapping[str, int] = field(default_factory=dict)
    """A heading -> how many values its cells may hold; the first heading says how many it is."""
    group: Mapping[str, str] = field(default_factory=dict)
    """The columns that a row with one filled cell gives to the rows below it -> the word behind
    which it says what; empty: its whole text."""
    group_rows: tuple[str, ...] = ()
    """Patterns of such rows; none: every row with one filled cell is one."""
    form: str = ""
    """"yes": the sheet is one record, labels left and values right of them."""
    tables_below: tuple[str, ...] = ()
    """Texts with which a row begins where a further table of the sheet does."""


@dataclass(frozen=True)
class ColumnRule:
    """Where one column comes from, and what is said of its cells."""

    headings: tuple[str, ...] = ()
    """Joined by a blank; `{}` and `{name}` stand for a slot's texts."""
    value: str | None = None
    """A constant in place of headings."""
    title: str | None = None
    """A word above the headings, behind which it stands for the whole sheet."""
    unit: str | None = None
    dates: str | None = None
    year: Year | None = None
    days: int | None = None
    """How many days after the written day it was: -1 is the day before."""
    decimal: str | None = None
    empty: tuple[str, ...] | None = None
    blank: str | None = None
    """None: nobody has said what an empty cell means; read as `NOT_LOOKED`."""
    filled: str | None = None
    """"yes": any text that is no word for no means yes."""
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    findings: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    parts: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    absent: Mapping[str, str] = field(default_factory=dict)
    scores: Mapping[str, float] = field(default_factory=dict)


Slot = Mapping[str, str]
"""What one slot of a row puts for `{name}`; the empty name is `{}`."""


@dataclass(frozen=True)
class ReadRule:
    """One [[read]]: sheets, and the table and columns they are read as."""

    number: int
    """Its place among the rules, from 1."""
    sources: tuple[str, ...]
    """Patterns of files and sheets."""
    table: str
    columns: Mapping[str, ColumnRule] = field(default_factory=dict)
    slots: tuple[Slot, ...] = ()
    """Empty: a row is one record."""
    colours: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """A fill, "#RRGGBB" in capitals -> our column -> what it sets, as text."""
    only: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """A heading -> the texts of the rows that are read; with several headings, rows that
    have a text of each. Empty: every row."""

    @property
    def place(self) -> str:
        """How a message names it."""
        return f"[[read]] no. {self.number} ({self.table})"


@dataclass(frozen=True)
class Reading:
    """How this station writes: names, words, dates, numbers, units, and its own sheets."""

    files: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """table -> patterns of files under records/, or "book.xlsx#Sheet"."""
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """table -> our column -> the station's heading."""
    words: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    """"yes_no" or a column's name -> our word -> the station's words for it."""
    findings: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """A text of free words -> our column -> what it sets."""
    parts: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    absent: Mapping[str, str] = field(default_factory=dict)
    """As in `CellRule`, both."""
    empty: tuple[str, ...] = ()
    """Words that the station writes for "not recorded"."""
    about: tuple[str, ...] = ()
    """Marks of a number that is only about right."""
    date_order: str = "iso"
    decimal: str = "."
    units: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """table -> our column -> the unit the station keeps it in."""
    ignore: tuple[str, ...] = ()
    """Patterns of files and sheets that are no records."""
    fold: tuple[str, ...] = ()
    """Columns of ids whose spellings are one."""
    same: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    """column -> the spelling to keep -> its other spellings."""
    ditto: tuple[str, ...] = ()
    co2: str = "every"
    """every: the CO2 records list each exposure. other: not the procedure's own."""
    next_placement: str = "open"
    """open: a queen's stay in a colony lasts until somebody writes its end. ends: or until the
    day before another is placed there."""
    links: str = "inside"
    """inside: links that lead out of records/ are not followed. all: they are."""
    habits: Mapping[str, Habits] = field(default_factory=dict)
    """A pattern of files and sheets -> how they are kept."""
    rules: tuple[ReadRule, ...] = ()

    def rules_for(self, source: str) -> list[ReadRule]:
        """Give the rules that name a source."""
        return [rule for rule in self.rules if takes_any(rule.sources, source)]

    def habits_of(self, source: str) -> Habits:
        """Give how a source is kept, all patterns that name it put together."""
        whole, sign, _ = source.partition(BELOW)
        said: dict[str, Any] = {}
        for habits in self._habits_of(whole) if sign else ():
            said |= {
                name: value for name, value in stated(habits).items() if name in _OF_ALL_TABLES
            }
        for habits in self._habits_of(source):
            said |= stated(habits)
        return Habits(**said)

    def _habits_of(self, source: str) -> Iterator[Habits]:
        return (h for pattern, h in self.habits.items() if takes(pattern, source))

    def disagreements(self, source: str) -> list[tuple[str, list[str]]]:
        """Give what two patterns say otherwise of one source: the setting, the patterns."""
        said: dict[str, dict[str, Any]] = {}
        for pattern, habits in self.habits.items():
            if takes(pattern, source):
                for name, value in stated(habits).items():
                    said.setdefault(name, {})[pattern] = value
        return [
            (name, list(values))
            for name, values in said.items()
            if any(value != next(iter(values.values())) for value in values.values())
        ]

    def ditto_of(self, source: str) -> tuple[str, ...]:
        """Give the ditto marks of a source."""
        own = self.habits_of(source).ditto
        return self.ditto if own is None else own

    def cell_rule(
        self, table: str, column: str, source: str = "", rule: ColumnRule | None = None
    ) -> CellRule:
        """Put together how the cells of one column of one source are read.

        Parameters
        ----------
        table, column : str
            Ours; ``column`` may be `FINDINGS`.
        source : str
            The source's name; empty for the station's own ways.
        rule : ColumnRule, optional
            What a [[read]] says of the column.
        """
        file, own = self.habits_of(source), rule or ColumnRule()
        kinds = {each.name: each.kind for each in TABLES[table].columns}
        is_yes_no = kinds.get(column) == "yes_no"
        words = self.words.get("yes_no" if is_yes_no else column, {})
        empty = _first_said(own.empty, file.empty, self.empty)
        meant = {word.casefold() for theirs in own.words.values() for word in theirs}
        return CellRule(
            dates=own.dates or file.dates or self.date_order,
            year=own.year or file.year,
            month=file.month,
            days=own.days or 0,
            decimal=own.decimal or file.decimal or self.decimal,
            unit=own.unit or self.units.get(table, {}).get(column),
            about=self.about,
            empty=tuple(word for word in empty if word.casefold() not in meant),
            blank=own.blank or NOT_LOOKED,
            filled=own.filled == FILLED_YES,
            words=nearest_words(own.words, words),
            findings={**_folded(self.findings), **_folded(own.findings)},
            parts={**_folded(self.parts), **_folded(own.parts)},
            absent={**self.absent, **own.absent},
            scores={folded_score(score): per for score, per in own.scores.items()},
        )


def folded_score(score: str) -> str:
    """Give a score as it is looked up: in small letters, and 4 for 4.0, as numbers are typed."""
    return re.sub(r"^(\d+)\.0+$", r"\1", " ".join(score.lower().split()))


def _first_said(*levels: tuple[str, ...] | None) -> tuple[str, ...]:
    return next(
        level for level in levels if level is not None
    )  # the station's is always


def _folded(findings: Mapping[str, Mapping[str, str]]) -> dict[str, Mapping[str, str]]:
    return {" ".join(text.split()).casefold(): sets for text, sets in findings.items()}


def nearest_words(
    near: Mapping[str, Iterable[str]], far: Mapping[str, Iterable[str]]
) -> dict[str, tuple[str, ...]]:
    """Add two levels of words; a word that both explain means what the nearer says."""
    taken = {word.casefold() for words in near.values() for word in words}
    added: dict[str, tuple[str, ...]] = {ours: tuple(own) for ours, own in near.items()}
    for ours, theirs in far.items():
        kept = tuple(word for word in theirs if word.casefold() not in taken)
        added[ours] = added.get(ours, ()) + kept
    return {ours: words for ours, words in added.items() if words}


def stated(habits: Habits) -> dict[str, Any]:
    """Give what is said, and nothing that only stands at its default."""
    usual = vars(Habits())
    return {name: value for name, value in vars(habits).items() if value != usual[name]}


def takes_any(patterns: Iterable[str], name: str) -> bool:
    """Tell whether one of some patterns takes a file or "book.xlsx#Sheet"."""
    return any(takes(pattern, name) for pattern in patterns)


def takes(pattern: str, name: str) -> bool:
    """Tell whether a pattern takes a file or "book.xlsx#Sheet".

    Letters' case does not matter. A pattern without "#" takes a file and all its
    sheets; one without "/" takes files in any folder. A table below another is taken by
    a pattern with `BELOW` alone.
    """
    if BELOW in pattern or BELOW in name:
        (taker, own, wanted), (whole, is_below, part) = (
            text.partition(BELOW) for text in (pattern, name)
        )
        return own == is_below and takes(taker, whole) and _fits(wanted, part)
    plain = pattern.replace("\\", "/").removeprefix("./").removeprefix("records/")
    wanted, whole = plain.casefold(), name.casefold()
    names = [whole] if "#" in wanted else [whole, whole.partition("#")[0]]
    if "/" not in wanted.partition("#")[0]:
        names += [
            each.rsplit("/", 1)[-1] if "#" not in each else _last(each)
            for each in names
        ]
    return any(_fits(wanted, each) for each in names)


def _fits(pattern: str, name: str) -> bool:
    wanted, whole = pattern.casefold(), name.casefold()
    return wanted == whole or fnmatchcase(whole, wanted)


def _last(name: str) -> str:
    """Take the folders off a sheet's name; the sheet's own may hold any sign."""
    file, _, sheet = name.partition("#")
    return f"{file.rsplit('/', 1)[-1]}#{sheet}"
