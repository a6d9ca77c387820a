"""Cells that hold several things, taken apart: "12.7. eggs; 19.7. all stages", "2/6+4/6".

By the settings alone. Of days with words (`apart`) a cell falls into parts at a semicolon, a line's
end, or the comma before a further day with words, and each part that holds one day gives it to one
heading and its other words to another, which rules then read like any column. A part with two
days stays whole, so that it is told as no day; one without a day is no record, and is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import polars as pl

from queen_outcomes.base.errors import RecordsError, nearest, shorten
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts import languages
from queen_outcomes.records.grid import Grid
from queen_outcomes.records.headings import tidy
from queen_outcomes.records.mapping import SourceMapping
from queen_outcomes.records.steps import CellForm
from queen_outcomes.records.titles import Rows

MOST = 0.8
"""Share of a column's cells from which on they are taken for days with words."""
_END = r"[;\r\n]+"
_SIGN = r" ?[./-] ?"
_BARE = r"(?:0[1-9]|[12]\d|3[01])\.(?:0[1-9]|1[0-2])"
_PLUS, _TIMES = r"[+&;\r\n]|, +", r"([2-9]) ?[x×*] ?(\d[^+&;]*)"
"""What parts values that stand one after the other, a comma before a blank too, and so many of
one: "2x4"; beside these "and", in any language."""
_AROUND = r"(?:\s[-–])?[\s,:]*{}[\s,:]*(?:[-–]\s)?"
"""A day with what parts it from its words; a minus behind a word is that word's."""


@dataclass(frozen=True)
class PartedGrid(Grid):
    """A source of which some columns are taken apart once its rows are read."""

    inner: Grid
    most: Mapping[str, int]
    """A column of the raw table -> how many parts its cells may have."""
    several: Mapping[str, int]
    """A column of the raw table -> how many values its cells may have."""

    @classmethod
    def open(
        cls, inner: Grid, apart: Mapping[str, int], several: Mapping[str, int]
    ) -> PartedGrid:
        """Give a source whose columns are taken apart.

        Raises
        ------
        RecordsError
            A heading is not there.
        """
        most = _known(inner, apart, "apart")
        values = _known(inner, several, "several")
        made = [new for name in most for new in names(name, most[name])]
        made += [new for name in values for new in value_names(name, values[name])]
        return cls(inner.source, (*inner.headings, *made), inner, most, values)

    @property
    def columns(self) -> list[str]:
        """The headings of the source, and those of the parts."""
        return [*self.inner.columns, *self.headings[len(self.inner.headings) :]]

    @property
    def parts_of(self) -> Mapping[str, tuple[str, ...]]:
        """The columns that are made of one."""
        found = {name: names(name, most) for name, most in self.most.items()}
        for name, most in self.several.items():
            found[name] = [*found.get(name, ()), *value_names(name, most)]
        return {name: tuple(made) for name, made in found.items()}

    @property
    def form(self) -> CellForm:
        """What about the source decides how its cells are read."""
        return self.inner.form

    @property
    def separator(self) -> str:
        """What parts the cells of a line."""
        return self.inner.separator

    @property
    def notes(self) -> list[str]:
        """What the station should be told of the source, in plain sentences."""
        return self.inner.notes

    @property
    def titles(self) -> Rows:
        """The texts of the rows above the headings."""
        return self.inner.titles

    def marks(self) -> pl.DataFrame | None:
        """Give what a person sees of the rows besides their text."""
        return self.inner.marks()

    def refuse_damaged(self, store: Store) -> None:
        """Refuse a source that cannot be read to its end."""
        self.inner.refuse_damaged(store)

    def land(self, store: Store, table: str) -> None:
        """Write the rows into a raw table, the parts behind their own columns."""
        whole = f"{table}_whole"
        self.inner.land(store, whole)
        made = [
            f"{sql} AS {quote(new)}"
            for name, most in self.most.items()
            for new, sql in zip(names(name, most), _parts(name, most), strict=True)
        ]
        first = next(iter(self.several), "")
        made += [
            f"{sql} AS {quote(new)}"
            for name, most in self.several.items()
            for new, sql in zip(value_names(name, most), _values(name, first, most), strict=True)
        ]
        store.table(table, f"SELECT *, {', '.join(made)} FROM {quote(whole)}")
        store.drop_like(whole)  # of some formats a view


def names(column: str, most: int) -> list[str]:
    """Give the headings of a column's parts: of each its day, and its words."""
    numbers = [""] if most == 1 else [f" {number}" for number in range(1, most + 1)]
    return [f"{column} ({what}{number})" for number in numbers for what in ("day", "words")]


def value_names(column: str, most: int) -> list[str]:
    """Give the headings of a column's values, one after the other."""
    return [f"{column} ({number} of {most})" for number in range(1, most + 1)]


def values_in(text: str) -> list[str]:
    """Give the values that stand one after the other in a cell, as they are read."""
    times = re.fullmatch(_TIMES, text.strip())
    if times and int(times[1]) > 1:
        return [times[2]] * int(times[1])
    return [value for each in re.split(_between(), text) if (value := each.strip())]


@cache
def _between() -> str:
    """Give a pattern of what stands between two values of a cell."""
    words = {word for one in languages.documents() for word in one["findings"].get("joins", ())}
    return rf"(?i){_PLUS}|\s(?:{'|'.join(map(re.escape, sorted(words)))})\s"


def is_of_words(heading: str) -> bool:
    """Tell whether a heading is the one of the words of a part, by its form."""
    return re.search(r" \(words(?: (?:\d+|{}))?\)$", heading) is not None


def split(text: str) -> list[str]:
    """Cut a cell into its parts, as it is read where it may have so many."""
    comma = re.compile("(?i)" + _dated_comma(r"[^\W\d_]"))
    for _ in range(text.count(",")):
        text = comma.sub(r"\1;\2", text)
    return [part for each in re.split(_END, text) if (part := each.strip())]


def parts_in(texts: Sequence[str]) -> int:
    """Give how many parts cells have, where in most each part is a day with words; else 0."""
    pattern = re.compile(_day())
    found = []
    for text in texts:
        parts = split(text)
        words = [pattern.sub("", part).strip(" .,:;-–") for part in parts]
        if all(len(pattern.findall(part)) == 1 for part in parts) and all(words):
            found.append(len(parts))
    return max(found, default=0) if len(found) >= MOST * len(texts) else 0


def taken_apart(texts: Iterable[str], most: int) -> dict[str, list[tuple[str, str]]]:
    """Give the parts of each text as they are read: of each its day, and its words.

    Parameters
    ----------
    texts : iterable of str
        With the ends of their lines.
    most : int
        How many parts a text may have.
    """
    every = list(dict.fromkeys(texts))
    if not every:
        return {}
    with Store(threads=1) as store, store.lent("texts", pl.DataFrame({"text": every})):
        rows = store.rows(f"SELECT text, {', '.join(_parts('text', most))} FROM texts")
    return {
        text: [(day or "", words or "") for day, words in zip(made[::2], made[1::2], strict=True)]
        for text, *made in rows
    }


def words_beside_days(texts: Iterable[str]) -> dict[str, str]:
    """Give the words of each text with one day and nothing parted, as they are read.

    Parameters
    ----------
    texts : iterable of str

    Returns
    -------
    dict of str
        Without the texts that are no such.
    """
    pattern = re.compile(_day())
    fit = [t for t in dict.fromkeys(texts) if len(pattern.findall(t)) == 1]
    fit = [text for text in fit if not re.search(_END, text.strip())]
    if not fit:
        return {}
    with Store(threads=1) as store, store.lent("texts", pl.DataFrame({"text": fit})):
        day, words = _parts("text", 1)
        found = store.rows(f"SELECT text, {words} FROM texts WHERE {day} IS NOT NULL")
    return {text: said for text, said in found if said}


def around_day(text: str) -> tuple[str, str] | None:
    """Give what stands before and behind the first day of a text; None without a day."""
    found = re.search(_day(), text)
    return (text[: found.start()], text[found.end() :]) if found else None


@cache
def _dated_comma(letter: str) -> str:
    """Give a pattern of a comma behind a day with words, before a phrase with a day of its own."""
    day, phrase = _bare_day(), r"[^,;\r\n]*"
    worded = f"(?:{letter}{phrase}{day}|{day}{phrase}{letter}){phrase}"
    return rf"({worded}(?:,{phrase})*?),\s+({phrase}{day})"


@cache
def _day() -> str:
    """Give a pattern of a day among words; without a year only one that looks like a day.

    "25.05" without its last point is one at either end alone, with all its digits: elsewhere
    it may be any figure.
    """
    return f"(?i){_bare_day()}"


@cache
def _bare_day() -> str:
    """Give the same in small letters."""
    months = {
        name
        for words in languages.documents()
        for named in words.get("months", {}).get("names", ())
        for name in named
    }
    spelled = sorted({n.lower() for n in months} | set(languages.months()), key=len)
    month = "|".join(reversed(spelled))
    return (
        r"\b(?:\d{4}-?w\d{2}-?[1-7]"
        rf"|\d{{4}}{_SIGN}\d{{1,2}}{_SIGN}\d{{1,2}}"
        rf"|\d{{1,2}}{_SIGN}\d{{1,2}}{_SIGN}(?:\d{{4}}|\d{{2}})\b"
        r"|\d{1,2}/\d{1,2}\b|\d{1,2}\. ?\d{1,2}\."
        rf"|^{_BARE}\b|\b{_BARE}$"
        rf"|\d{{1,2}}(?:st|nd|rd|th|er)?\.?[ -](?:de |of )?(?:{month})\b\.?(?:[ ,-]*(?:de )?\d{{4}}\b)?"
        rf"|(?:{month})\.? \d{{1,2}}(?:st|nd|rd|th)?\b(?:,? \d{{4}}\b)?)"
    )


def _parts(column: str, most: int) -> list[str]:
    """Give SQL of the day and of the words of each part of a column's cells."""
    cell = f"CAST({quote(column)} AS VARCHAR)"
    pattern, around = literal(_day()), literal(_AROUND.replace("{}", _day()))
    comma = literal("(?i)" + _dated_comma(r"\pL"))
    for _ in range(most - 1):
        cell = rf"regexp_replace({cell}, {comma}, '\1;\2', 'g')"
    split = f"list_filter(regexp_split_to_array({cell}, {literal(_END)}), lambda x: trim(x) <> '')"
    found = []
    for number in range(1, most + 1):
        # what is more than there is a heading for stays with the last, which is then no day
        part = f"trim(({split})[{number}])"
        if number == most:
            part = f"nullif(trim(array_to_string(({split})[{number}:], ';')), '')"
        days = f"len(regexp_extract_all({part}, {pattern}))"
        words = f"regexp_replace({part}, {around}, ' ')"
        found += [
            f"CASE WHEN {days} = 1 THEN nullif({one}, '') WHEN {days} > 1 THEN {part} END"
            for one in (f"regexp_extract({part}, {pattern})", _single_blanks(words))
        ]
    return found


def _values(column: str, first: str, most: int) -> list[str]:
    """Give SQL of each value of a column's cells; one where the first column's cell holds one."""
    cell = f"CAST({quote(column)} AS VARCHAR)"
    several = f"len({_listed_values(f'CAST({quote(first)} AS VARCHAR)')}) > 1"
    values = _listed_values(cell)
    found = []
    for number in range(1, most + 1):
        one = f"({values})[{number}]"
        if number == most > 1:  # what is more than there is a heading for stays unread, and told
            one = f"nullif(array_to_string(({values})[{number}:], '+'), '')"
        whole = cell if number == 1 else "NULL"
        found.append(f"CASE WHEN {several} THEN {one} ELSE {whole} END")
    return found


def _listed_values(cell: str) -> str:
    times = rf"regexp_extract(trim({cell}), '^(?:{_TIMES})$', %d)"
    number = f"TRY_CAST({times % 1} AS INT)"
    split = f"regexp_split_to_array({cell}, {literal(_between())})"
    return (
        f"CASE WHEN {number} > 1 THEN list_transform(range({number}), lambda x: {times % 2}) "
        f"ELSE list_filter(list_transform({split}, lambda x: trim(x)), lambda x: x <> '') END"
    )


def _known(inner: Grid, asked: Mapping[str, int], habit: str) -> dict[str, int]:
    """Give the columns of headings, and the number of each.

    Raises
    ------
    RecordsError
        A heading is not there.
    """
    known = {name.casefold(): name for name in inner.columns}
    found = {}
    for heading, number in asked.items():
        name = known.get(tidy(heading).casefold())
        if name is None:
            close = nearest(tidy(heading), inner.columns)
            raise RecordsError(
                f'no heading "{heading}" to take apart',
                where=f"{inner.source.name}, {habit}",
                found=shorten(inner.columns, ", ") or "no headings",
                hint=f'did you mean "{close}"?' if close else "mend that line",
            )
        found[name] = number
    return found


def _single_blanks(text: str) -> str:
    return f"trim(regexp_replace({text}, '[\\s\\pZ]+', ' ', 'g'))"


def undated(store: Store, sources: Iterable[SourceMapping]) -> list[str]:
    """Tell of parts without a day, in columns that no rule reads whole: they are no records.

    Parameters
    ----------
    store : Store
        Holds the raw tables.
    sources : iterable of SourceMapping

    Returns
    -------
    list of str
        Sentences, one a column.
    """
    grids: dict[str, SourceMapping] = {}
    read: dict[str, set[str]] = {}
    for source in sources:
        grids.setdefault(source.name, source)
        read.setdefault(source.name, set()).update(
            name
            for slot in source.slots
            for cell in slot.cells.values()
            for name in cell.columns
        )
    return [
        told
        for name, source in grids.items()
        for column in source.grid.parts_of
        if column not in read[name] and column in getattr(source.grid, "most", ())
        for told in _undated(store, source, column)
    ]


def _undated(store: Store, source: SourceMapping, column: str) -> list[str]:
    table = source.raw
    cell = f"CAST({quote(column)} AS VARCHAR)"
    rows = store.rows(
        f"SELECT trim(part) AS part, count(*) AS number FROM (SELECT "
        f"unnest(regexp_split_to_array({cell}, {literal(_END)})) AS part FROM {quote(table)}) "
        f"WHERE trim(part) <> '' AND NOT regexp_matches(part, {literal(_day())}) "
        "GROUP BY 1 ORDER BY number DESC, part"
    )
    if not rows:
        return []
    listed = shorten([f'"{part}" ({number})' for part, number in rows], ", ")
    return [
        f'{source.name}: under "{column}" no day stands in these texts, so that no heading of '
        f"its parts has them: {listed}"
    ]
