"""What whole columns hold against the way the settings have them read.

A cell is read by the settings alone; nothing here changes that. What a column as a
whole contradicts, or leaves open, is counted and told, with the setting that would fit.
Needs the staged and the raw tables, so that it must be asked before rows are accepted.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from queen_outcomes.base.errors import RecordsError, shorten
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts import languages, years
from queen_outcomes.facts.column import Column
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import (
    BLANK_NO,
    FEWEST_SCORES,
    FINDINGS,
    HIGHEST_SCORE,
    MIXED,
    NOT_LOOKED,
    CellRule,
    Reading,
)
from queen_outcomes.facts.years import Year
from queen_outcomes.records import cells, days, numbers, suggested
from queen_outcomes.records.cells import CellForm
from queen_outcomes.records.mapping import SlotMapping, SourceMapping

TOO_MANY = 5
"""Where more than one cell in so many cannot be read as set, the settings are wrong."""
CORRECT_CELLS = (
    "correct the cells; in a [[read]] a column of numbers may say what a text counts as, "
    'such as words = { "8-9" = 8.5 }'
)
CORRECT_DAYS = (
    "write them as days in figures, with their year or with `year` under [files] (a day of the month "
    "alone with `month`), and no word but their weekday; where words stand with them there, "
    "`apart` under [files] takes the two apart"
)
FEWEST = 3
"""Fewer unread cells are slips of the pen, however short the column is."""
COLUMNS_AT_ONCE = 64
"""How many columns one statement looks at."""
_NUMBER_AT_END = re.compile(r"(\D)\d{1,3}(?:[.,]\d+)? ?%?$")
_WORDS = days.ORDERS | {"iso": "year-month-day"}
_ISO = r"\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?)?"
_SERIAL = r"[1-9]\d{4}(\.\d+)?"


@dataclass(frozen=True)
class UsedColumn:
    """A column of ours as one source (or one slot of its rows) keeps it."""

    source: SourceMapping
    slot: SlotMapping
    column: Column | None
    """None: free words that set several columns."""
    rule: CellRule

    @property
    def name(self) -> str:
        """Our name for it."""
        return self.column.name if self.column else FINDINGS

    @property
    def key(self) -> tuple[int, int, str]:
        """What it is told from all others by."""
        return self.source.no, self.slot.slot, self.name

    @property
    def headings(self) -> tuple[str, ...]:
        """What the source calls it."""
        return self.slot.cells[self.name].columns

    def says(self, name: str) -> bool:
        """Tell whether its [[read]] says something of its own, such as ``dates``."""
        rule = self.slot.cells[self.name].rule
        return rule is not None and getattr(rule, name) is not None

    @property
    def place(self) -> str:
        """How a message names it."""
        theirs = ", ".join(f'"{heading}"' for heading in self.headings)
        return f"{self.source.name}, column {theirs} ({self.source.table.name}.{self.name})"

    @property
    def staged(self) -> str:
        """SQL after FROM that gives its staged rows."""
        where = f"source_no = {self.source.no}"
        if self.slot.slot:
            where += f" AND ref_slot(ref) = {self.slot.slot}"
        return f"staged_{self.source.table.name} WHERE {where}"

    def texts(self, store: Store, ditto: Sequence[str]) -> str:
        """Write the SELECT of its filled cells' texts, a row each, as ``text``."""
        return texts_of(store, [(0, self, ditto)])


@dataclass(frozen=True)
class UnreadColumn:
    """A column of which some filled cells cannot be read as set."""

    used: UsedColumn
    filled: int
    unread: int
    says: str
    """The evidence, in one sentence without an end."""
    settings: tuple[str, ...]
    """What to write into station.toml, exactly, one for each thing that it may mean; empty:
    no setting would help."""
    cause: str = ""
    """Which of the ways to be unreadable most of its cells have."""

    @property
    def contradicts(self) -> bool:
        """Whether so much is unread that the settings cannot be right."""
        return self.unread >= FEWEST and TOO_MANY * self.unread > self.filled

    @property
    def telling(self) -> bool:
        """Whether it is more than some cells that were written badly."""
        return self.contradicts or self.cause in ("order", "decimal", "year")

    @property
    def note(self) -> str:
        """The evidence as a note."""
        return f"{self.used.place}: {self.says}"

    @property
    def correction(self) -> str:
        """What to do about the cells, where no setting helps."""
        days = self.used.column is not None and self.used.column.kind in ("date", "datetime")
        return CORRECT_DAYS if days else CORRECT_CELLS

    def error(self) -> RecordsError:
        """Give the refusal of a build."""
        return RecordsError(
            "a column cannot be read as the settings have it",
            where=self.used.place,
            found=self.says,
            expected=f"at most one cell in {TOO_MANY} that cannot be read",
            hint="write in station.toml\n" + "\nor\n".join(self.settings)
            if self.settings
            else self.correction,
        )


@dataclass(frozen=True)
class DateOrders:
    """In which orders the days of a column could be read.

    Parameters
    ----------
    used : UsedColumn
    filled : int
        Filled cells.
    figures : int
        Days in figures alone whose year does not stand first in full: their order matters.
    fits : mapping of order to int
        How many of these are a day in each order.
    both_ways : int
        How many are one day as day-month and another as month-day.
    real, real_late : int
        Days that the file keeps as such, and those after the 12th of a month.
    late : int
        Days in figures with a 13 or more for day or month.
    unread : int
        Filled cells that cannot be read as set.
    yearless : mapping of order to int
        How many days without a year are one in this order of day and month alone.
    """

    used: UsedColumn
    filled: int
    figures: int
    fits: Mapping[str, int]
    both_ways: int
    real: int
    real_late: int
    late: int
    unread: int
    yearless: Mapping[str, int] = field(default_factory=dict)

    @property
    def possible(self) -> tuple[str, ...]:
        """The orders in which all figures are days."""
        return tuple(
            o for o, n in self.fits.items() if self.figures and n == self.figures
        )

    @property
    def is_mixture(self) -> bool:
        """Whether a spreadsheet of another country turned some days round.

        It takes "5/4/2025" for a day of its own order and leaves "13/4/2025" as text, so
        that real days up to the 12th stand beside texts after it.
        """
        return (
            self.real >= FEWEST
            and not self.real_late
            and self.late >= 1
            and self.late == self.figures
        )

    @property
    def mixture(self) -> str:
        """The evidence of a mixture, without an end."""
        return (
            f"the {self.real} real dates all lie up to the 12th of a month and the "
            f"{self.late} texts after it: a spreadsheet of another country may have "
            "taken day for month in the real ones"
        )

    @property
    def says(self) -> str:
        """The evidence in one sentence, without an end."""
        order = self.used.rule.order
        wrong = self.figures - self.fits.get(order, 0)
        known = [days.ORDERS[each] for each in self.possible]
        if known:
            fit = f"all {self.figures} fit {' and '.join(known)}"
        else:
            best = max(self.fits, key=lambda each: self.fits[each])
            fit = f"{self.fits[best]} fit {days.ORDERS[best]}"
        return f"{wrong} of {self.filled} dates cannot be {_WORDS[order]}; {fit}"


@dataclass(frozen=True)
class OpenQuestion:
    """What a column leaves open, and only the station can tell."""

    kind: Literal[
        "date_order", "turned_dates", "shares", "scores", "blanks", "id_dates"
    ]
    used: UsedColumn
    says: str
    settings: tuple[str, ...]
    """What to write into station.toml, one for each answer there is."""


# --- what the settings contradict


def unread_columns(orders: OrdersSeen) -> list[UnreadColumn]:
    """Give the columns of which some filled cells cannot be read as set."""
    store, reading = orders.store, orders.reading
    found = []
    for used, unread in _with_unread(store, orders.sources, reading):
        filled = _count_filled(store, used)
        said = _evidence(orders, used, unread, filled)
        found.append(UnreadColumn(used, filled, unread, *said))
    return found


def _count_filled(store: Store, used: UsedColumn) -> int:
    """Count the cells that hold something, those among them that take the value above."""
    if used.column is None or not used.column.why:
        return store.rows(f"SELECT count(*) FROM ({used.texts(store, ())})")[0][0]
    value, unread = quote(used.column.name), quote(str(used.column.unread))
    held = f"({value} IS NOT NULL OR {unread} IS NOT NULL)"
    return store.rows(f"SELECT count(*) FROM {used.staged} AND {held}")[0][0]


def used_columns(
    sources: Sequence[SourceMapping], reading: Reading
) -> Iterator[UsedColumn]:
    """Give every column of ours that a source keeps, in order."""
    for source in sources:
        known = {column.name: column for column in source.table.columns}
        for slot in source.slots:
            for name, cell in slot.cells.items():
                if not cell.columns or (name == FINDINGS and not source.table.findings):
                    continue
                if any(c not in source.grid.columns for c in cell.columns):
                    continue  # a group line's text stands in no column
                rule = reading.cell_rule(
                    source.table.name, name, source.name, cell.rule
                )
                yield UsedColumn(source, slot, known.get(name), rule)


def _with_unread(
    store: Store, sources: Sequence[SourceMapping], reading: Reading
) -> Iterator[tuple[UsedColumn, int]]:
    """Give the columns with unread cells, and how many; one pass over each table."""
    counts: dict[tuple[int, int, str], int] = {}
    filled = store.filled(f"staged_{name}" for name in TABLES)
    for table in TABLES.values():
        if f"staged_{table.name}" not in filled:
            continue
        names = {c.name: c.unread for c in table.columns if c.unread}
        if table.findings:
            names[FINDINGS] = cells.FINDINGS_UNREAD
        listed = ", ".join(f"count({quote(unread)})" for unread in names.values())
        rows = store.rows(
            f"SELECT source_no, coalesce(ref_slot(ref), 0), {listed} "
            f"FROM staged_{table.name} GROUP BY ALL"
        )
        for number, slot, *unread in rows:
            for name, count in zip(names, unread, strict=True):
                counts[number, slot, name] = count
    for used in used_columns(sources, reading):
        count = counts.get((used.source.no, used.slot.slot, used.name), 0)
        if count:
            yield used, count


def _evidence(
    orders: OrdersSeen, used: UsedColumn, unread: int, filled: int
) -> tuple[str, tuple[str, ...], str]:
    """Say what is wrong with a column, the settings that would fit, and the cause."""
    kind = used.column.kind if used.column else FINDINGS
    if kind in ("date", "datetime"):
        seen = orders.of(used)
        if seen.figures > seen.fits.get(used.rule.order, 0) and any(seen.fits.values()):
            if seen.is_mixture and seen.possible:
                return f"{seen.says}; {seen.mixture}", orders.mixture(used), "order"
            fit = seen.possible or (max(seen.fits, key=lambda o: seen.fits[o]),)
            answers = tuple(orders.setting(used, order) for order in fit)
            return seen.says, answers, "order"
    if used.column and used.column.why:
        return _most_causes(orders, used, unread, filled)
    column = cells.FINDINGS_UNREAD if used.column is None else str(used.column.unread)
    rows = orders.store.rows(
        f"SELECT {quote(column)}, count(*) AS cells FROM {used.staged} "
        f"AND {quote(column)} IS NOT NULL GROUP BY 1 ORDER BY cells DESC, 1"
    )
    told = shorten([f'"{text}" ({count})' for text, count in rows], ", ")
    says = f"{unread} of {filled} cells hold words that no setting explains: {told}"
    return says, _words_settings(orders, used, [text for text, _ in rows]), "words"


def _most_causes(
    orders: OrdersSeen, used: UsedColumn, unread: int, filled: int
) -> tuple[str, tuple[str, ...], str]:
    why = quote(str(used.column and used.column.why))
    text = quote(str(used.column and used.column.unread))
    rows = orders.store.rows(
        f"SELECT {why}, count(*) AS cells, min({text}) FROM {used.staged} "
        f"AND {text} IS NOT NULL GROUP BY 1 ORDER BY cells DESC, 1"
    )
    causes = [
        f'"{example}", {cause}'
        if unread == 1
        else f'{count} such as "{example}", {cause}'
        for cause, count, example in rows
    ]
    alike = orders.store.rows(
        f"SELECT DISTINCT regexp_extract({text}, '[^0-9]+$') FROM {used.staged} "
        f"AND {text} IS NOT NULL"
    )
    ending = str(alike[0][0]).strip() if len(alike) == 1 and unread > 1 else ""
    if ending:
        causes = [f'all {unread} end in "{ending}"', *causes]
    says = f"{unread} of {filled} cells cannot be read: {shorten(causes)}"
    if used.rule.scores:
        setting = suggested.in_column(used.source, used.slot, used.name, {})
        return says, (f"{setting}  # with what these are in per cent",), "scores"
    return says, *_mending(orders, used, rows)


def _mending(
    orders: OrdersSeen, used: UsedColumn, rows: Sequence[tuple[Any, ...]]
) -> tuple[tuple[str, ...], str]:
    """Give the settings that would fit, and the cause; ``rows``: why, how many, an example."""
    from queen_outcomes.records.map.seen import (
        meanings,  # late: it reads the lists of words
    )

    cause, example = str(rows[0][0]), str(rows[0][2])
    source, reading = used.source, orders.reading
    if "decimal sign" in cause:
        other = "," if used.rule.decimal == "." else "."
        if used.says("decimal"):
            setting = suggested.in_column(
                source, used.slot, used.name, {"decimal": other}
            )
        else:
            setting = suggested.in_file(source.name, reading, "decimal", other)
        return (setting,), "decimal"
    lacking = any("no year" in str(other) for other, *_ in rows)
    year = orders.year_of(used) if lacking and not used.rule.year else None
    if year == years.ROWS or ("no year" in cause and year):
        setting = suggested.in_file(source.name, reading, "year", year)
        return (setting,), "year"
    if numbers.NO_SPAN in cause:
        answers = tuple(
            suggested.in_column(source, used.slot, used.name, {"unit": unit})
            for unit in (numbers.MINUTES, numbers.HOURS)
        )
        return answers, "span"
    if any(numbers.ONLY_ABOUT in str(other) for other, *_ in rows):
        why = quote(str(used.column and used.column.why))
        text = quote(str(used.column and used.column.unread))
        texts = orders.store.rows(
            f"SELECT DISTINCT {text} FROM {used.staged} "
            f"AND contains({why}, {literal(numbers.ONLY_ABOUT)}) ORDER BY 1"
        )
        marks = numbers.marks_in(str(one) for (one,) in texts)
        return (suggested.about(reading, marks),), "about"
    if not any(sign.isdigit() for sign in example):
        if meanings.of_yes_no(example):
            # in the file's other columns the word keeps its meaning
            empty = [*used.rule.empty, example]
            setting = suggested.in_column(source, used.slot, used.name, {"empty": empty})
        else:
            setting = suggested.empty_in_file(source.name, reading, [example])
        return (f"{setting}  # if it means: not recorded",), "empty"
    return (), "cells"


def _words_settings(
    orders: OrdersSeen, used: UsedColumn, texts: Sequence[str]
) -> tuple[str, ...]:
    """Give what explains words: those that a language's list knows at their meaning.

    The others are named in a comment, since only the station can tell.
    """
    # late: they read the lists of words
    from queen_outcomes.records.map.asked import compound
    from queen_outcomes.records.map.seen import meanings

    column = used.column
    if column is None:
        known = {text: meanings.of_findings(text) for text in texts}
        lines = [
            f"{suggested.key(text)} = {suggested.toml(sets)}"
            for text, sets in known.items()
            if sets is not None
        ]
        section, choices = "[words.findings]", 'what it sets, as { eggs = "yes" }'
    else:
        is_yes_no = column.kind == "yes_no"
        ours = ("yes", "no") if is_yes_no else column.words
        known = {
            text: meanings.of_yes_no(text)
            if is_yes_no
            else meanings.of_word(text, column.name, ours)
            for text in texts
        }
        meant: dict[str, list[str]] = {}
        for text, word in known.items():
            if word in ours:
                meant.setdefault(str(word), []).append(text)
        name = "yes_no" if is_yes_no else column.name
        section, *lines = suggested.words(orders.reading, name, meant).split("\n")
        choices = "one of " + ", ".join(ours)
        known = {text: word if word in ours else None for text, word in known.items()}
    unknown = [text for text, sets in known.items() if sets is None]
    if column is None:
        unknown, holes = _with_holes(unknown)
        choices += "; {pattern_pct} takes the number that stands there" * bool(holes)
        several = sum(len(compound.tokens_of(text) or ()) > 1 for text in texts)
        choices += "; or say under [words.parts] what each is made of" * (several > 1)
    unknown = [suggested.toml(text) for text in unknown]
    if unknown:
        named = shorten(unknown, ", ")
        lines.append(f"# what {named} means, only you know: {choices}")
    return ("\n".join([section, *lines]),)


def _with_holes(texts: Sequence[str]) -> tuple[list[str], set[str]]:
    """Put one text with a hole for those that differ only in a number at their end."""
    forms = {text: _NUMBER_AT_END.sub(r"\1{pattern_pct}", text) for text in texts}
    alike = Counter(forms.values())
    holes = {form for form, number in alike.items() if number > 1}
    shown = (forms[text] if forms[text] in holes else text for text in texts)
    return list(dict.fromkeys(shown)), holes


# --- in which order days are written


@dataclass
class OrdersSeen:
    """The orders of days of a station's columns, each counted once.

    Parameters
    ----------
    store : Store
        Holds ``raw_<no>`` and ``staged_<table>``.
    sources : sequence of SourceMapping
        As they were staged.
    reading : Reading
        The station's settings.
    """

    store: Store
    sources: Sequence[SourceMapping]
    reading: Reading
    _seen: dict[tuple[int, int, str], DateOrders] = field(default_factory=dict)

    def of(self, used: UsedColumn) -> DateOrders:
        """Give the orders of one column."""
        if used.key not in self._seen:
            self.look_at([used])
        return self._seen[used.key]

    def look_at(self, columns: Sequence[UsedColumn]) -> None:
        """Count the orders of many columns of days, those of one form together."""
        by_form: dict[CellForm, list[UsedColumn]] = {}
        for used in columns:
            if used.key not in self._seen:
                by_form.setdefault(used.source.grid.form, []).append(used)
        for alike in by_form.values():
            for some in _at_once(alike):
                for seen in date_orders(self.store, some, self.reading):
                    self._seen[seen.used.key] = seen

    def others(self, used: UsedColumn) -> list[DateOrders]:
        """Give the orders of the file's other columns of days in figures."""
        return [seen for seen in self._of_file(used) if seen.used.headings != used.headings]

    def elsewhere(self, used: UsedColumn) -> list[DateOrders]:
        """Give the orders of the same column where other records of the file are read from it."""
        same = (seen for seen in self._of_file(used) if seen.used.headings == used.headings)
        return [seen for seen in same if seen.used.key != used.key]

    def _of_file(self, used: UsedColumn) -> list[DateOrders]:
        """Give the orders of every column of days in figures of a column's file."""
        same = [s for s in self.sources if s.name == used.source.name]
        return [
            seen
            for other in used_columns(same, self.reading)
            if other.column is not None
            and other.column.kind in ("date", "datetime")
            and (seen := self.of(other)).figures
        ]

    def setting(self, used: UsedColumn, order: str) -> str:
        """Give what sets a column's order: for its file, or for it alone.

        It alone where its [[read]] says so already or another column contradicts it.
        """
        against = any(
            seen.possible and order not in seen.possible for seen in self.others(used)
        )
        if against or used.says("dates"):
            said = {"dates": order}
            return suggested.in_column(used.source, used.slot, used.name, said)
        return suggested.in_file(used.source.name, self.reading, "dates", order)

    def mixture(self, used: UsedColumn) -> tuple[str, ...]:
        """Give what mends a mixture, and what says that there is none, for the column.

        The first for its whole file, where all of its columns of days are so.
        """
        possible = self.of(used).possible
        # where days fit several, the one that it is read by
        order = used.rule.order if used.rule.order in possible else possible[0]
        place = used.source, used.slot, used.name
        turned, right = (
            suggested.in_column(*place, {"dates": each})
            for each in (MIXED + order, order)
        )
        same = [s for s in self.sources if s.name == used.source.name]
        others = [
            self.of(other)
            for other in used_columns(same, self.reading)
            if other.column is not None and other.column.kind in ("date", "datetime")
        ]
        whole = all(
            seen.is_mixture and seen.possible == (order,)
            for seen in others
            if seen.filled
        )
        if whole and not used.says("dates"):
            name = used.source.name
            turned = suggested.in_file(name, self.reading, "dates", MIXED + order)
        return turned, right

    def year_of(self, used: UsedColumn) -> Year | None:
        """Give the year of a column's days without one; None where it may be of several.

        That of the rows in which years stand, or what the source's name tells; else the only
        one that inseminations are of.
        """
        # late: it reads the lists of words
        from queen_outcomes.records.map.asked.years import named_by_path

        unread = quote(str(used.column and used.column.unread))
        if self.store.rows(
            f"SELECT 1 FROM {used.staged} AND regexp_full_match({unread}, "
            f"{literal(years.LONE_YEAR)}) LIMIT 1"
        ):
            return years.ROWS
        named = named_by_path(used.source.name)
        if named:
            whole = {year for other in named for year in other.all}
            return named[0].meant if whole <= named[0].all else None
        rows = self.store.rows(
            "SELECT DISTINCT year(inseminated_at) FROM staged_inseminations "
            "WHERE inseminated_at IS NOT NULL"
        )
        return rows[0][0] if len(rows) == 1 else None


def _at_once(columns: Sequence[UsedColumn]) -> Iterator[Sequence[UsedColumn]]:
    """Give columns some at a time: a station may have thousands of small files."""
    for first in range(0, len(columns), COLUMNS_AT_ONCE):
        yield columns[first : first + COLUMNS_AT_ONCE]


def _texts_of(store: Store, columns: Sequence[UsedColumn], reading: Reading) -> str:
    placed = [
        (place, used, reading.ditto_of(used.source.name))
        for place, used in enumerate(columns)
    ]
    return texts_of(store, placed)


def texts_of(
    store: Store, placed: Sequence[tuple[int, UsedColumn, Sequence[str]]]
) -> str:
    """Write the SELECT of columns' filled texts, a row each, as ``text``.

    Parameters
    ----------
    store : Store
        Holds ``raw_<no>``, ``staged_<table>`` and `passed_over`.
    placed : sequence of (int, UsedColumn, sequence of str)
        A number that comes back as ``place``, the column, and its ditto marks.
    """
    (some_passed,) = store.rows("SELECT count(*) > 0 FROM passed_over")[0]
    alike: dict[tuple[str, ...], list[str]] = {}
    for place, used, ditto in placed:
        raw = used.source.raw
        types = store.columns(raw)
        moment = used.column is not None and used.column.kind in ("date", "datetime")
        written = cells.WrittenColumn(used.headings, used.rule)
        summed = used.column is not None and used.column.summed
        joined = cells.joined_text(written, types, moment=moment, summed=summed)
        marks = cells.listed(cells.folded(ditto)) if ditto else "''"
        names = ", ".join(quote(name) for name in used.headings)
        rows = f"SELECT {place} AS place, {names} FROM {quote(raw)}"
        if some_passed:
            rows += f" WHERE source_line IN (SELECT source_line FROM {used.staged})"
        kinds = (types[name] for name in used.headings)
        alike.setdefault((joined, marks, *kinds), []).append(rows)
    return " UNION ALL ".join(
        f"SELECT place, text FROM (SELECT place, {joined} AS text "
        f"FROM ({' UNION ALL '.join(rows)})) "
        f"WHERE text IS NOT NULL AND lower(text) NOT IN ({marks})"
        for (joined, marks, *_), rows in alike.items()
    )


def date_orders(
    store: Store, columns: Sequence[UsedColumn], reading: Reading
) -> list[DateOrders]:
    """Count in which orders the days of columns could be read.

    Parameters
    ----------
    store : Store
        Holds ``raw_<no>`` and ``staged_<table>``.
    columns : sequence of UsedColumn
        Of kind date or datetime, of sources of one form.
    reading : Reading
        The station's settings.
    """
    form = columns[0].source.grid.form
    texts = _texts_of(store, columns, reading)
    # once, since each of the steps below would write the reading of the cells out again
    store.execute(f"CREATE OR REPLACE TEMP TABLE date_texts AS {texts}")
    real = f"regexp_full_match(text, {literal(_ISO)})"
    if form.workbook:
        real = f"({real} OR regexp_full_match(text, {literal(_SERIAL)}))"
    plain = days.plain_moment("text", "iso", form)
    rows = store.records(
        f"SELECT place, count(*) AS filled, count(*) FILTER ({real}) AS real, "
        f"count(*) FILTER ({real} AND day({plain}) > 12) AS real_late FROM date_texts "
        "GROUP BY place"
    )
    counts = [Counter[str]() for _ in columns]
    for row in rows:
        counts[row["place"]].update(row)
    if any(row["filled"] > row["real"] for row in rows):
        for row in _figures_counted(store, form, real):
            counts[row.pop("place")].update(row)
    store.drop("date_texts")
    unread = " UNION ALL ".join(
        f"SELECT {place}, count({quote(str(used.column and used.column.unread))}) "
        f"FROM {used.staged}"
        for place, used in enumerate(columns)
    )
    missed = dict(store.rows(unread))
    return [
        DateOrders(
            used=used,
            filled=count["filled"],
            figures=count["figures"],
            fits={order: count[f"fits_{order}"] for order in days.ORDERS},
            both_ways=count["both_ways"],
            real=count["real"],
            real_late=count["real_late"],
            late=count["late"],
            unread=missed[place],
            yearless={order: count[f"yearless_{order}"] for order in ("dmy", "mdy")},
        )
        for place, (used, count) in enumerate(zip(columns, counts, strict=True))
    ]


def _figures_counted(store: Store, form: CellForm, real: str) -> list[dict[str, int]]:
    """Count the days in figures of `date_texts`, and what orders they fit, by place."""
    query = f"SELECT * FROM date_texts WHERE NOT {real}"
    for layer in days.parts(form):
        columns = ", ".join(f"{sql} AS {name}" for name, sql in layer.items())
        query = f"SELECT *, {columns} FROM ({query})"
    figures = (
        f"figures.a <> '' AND {days.YEAR_LAST} AND length(figures.a) <= 2 "
        "AND length(figures.c) IN (1, 2, 4)"
    )
    # a number of a workbook may look like day and month
    sure = "short.a <> ''" + " AND (short.s <> '.' OR short.z = '.')" * form.workbook
    fits = {f"fits_{o}": f"{figures} AND {days.fits(o)}" for o in days.ORDERS}
    flags = {
        "figures": figures,
        **fits,
        "both_ways": f"{figures} AND {days.fits('dmy')} AND {days.fits('mdy')} "
        "AND TRY_CAST(figures.a AS INT) <> TRY_CAST(figures.b AS INT)",
        **{
            f"yearless_{order}": f"{sure} AND TRY_CAST(short.{late} AS INT) "
            f"BETWEEN 13 AND 31 AND TRY_CAST(short.{month} AS INT) BETWEEN 1 AND 12"
            for order, late, month in (("dmy", "a", "b"), ("mdy", "b", "a"))
        },
        "late": f"{figures} AND greatest(TRY_CAST(figures.a AS INT), "
        "TRY_CAST(figures.b AS INT)) > 12",
    }
    listed = ", ".join(
        f"count(*) FILTER ({flag}) AS {quote(name)}" for name, flag in flags.items()
    )
    return store.records(f"SELECT place, {listed} FROM ({query}) GROUP BY place")


# --- what the data leave open


def open_questions(orders: OrdersSeen) -> list[OpenQuestion]:
    """Give what columns leave open, for a person to say."""
    store, reading = orders.store, orders.reading
    columns = [c for c in used_columns(orders.sources, reading) if c.column is not None]
    by_kind: dict[str, list[UsedColumn]] = {}
    for used in columns:
        by_kind.setdefault(used.column.kind, []).append(used)  # type: ignore[union-attr]
    orders.look_at([*by_kind.get("date", ()), *by_kind.get("datetime", ())])
    ticks = _ticks_counted(store, by_kind.get("yes_no", ()))
    ids = _day_ids(store, by_kind.get("id", ()), reading)
    asked: list[OpenQuestion] = []
    for used in columns:
        column = used.column
        if column is None:
            continue
        if column.kind in ("date", "datetime"):
            asked += _about_dates(orders, used)
        elif column.unit == "%" and used.rule.unit is None:
            asked += _about_shares(orders, used)
        elif used.key in ticks and not used.says("blank"):
            asked += _about_blanks(store, used, reading, ticks[used.key])
        elif column.kind == "id" and used.key in ids:
            asked.append(_about_ids(used, ids[used.key]))
    return asked


def _about_dates(orders: OrdersSeen, used: UsedColumn) -> Iterator[OpenQuestion]:
    seen = orders.of(used)
    if seen.is_mixture and not used.rule.turned and not used.says("dates"):
        if used.rule.order in seen.possible:  # else it is told with the unread texts
            yield OpenQuestion("turned_dates", used, seen.mixture, orders.mixture(used))
    elif used.rule.turned and seen.real_late and not used.says("dates"):
        says = (
            f"{seen.real_late} of {seen.real} real dates lie after the 12th of a month, so "
            "that a spreadsheet cannot have taken day for month in all of them"
        )
        answers = tuple(
            suggested.in_column(used.source, used.slot, used.name, {"dates": order})
            for order in (used.rule.order, used.rule.dates)
        )
        yield OpenQuestion("turned_dates", used, says, answers)
    elif (
        seen.both_ways and seen.both_ways == seen.figures and not _decided(orders, used)
    ):
        says = (
            f"all {seen.both_ways} dates in figures fit day-month and month-day, so "
            "that nothing here shows which is right"
        )
        answers = tuple(orders.setting(used, order) for order in ("dmy", "mdy"))
        yield OpenQuestion("date_order", used, says, answers)


def _decided(orders: OrdersSeen, used: UsedColumn) -> bool:
    """Tell whether the settings name a file's order, or another of its columns shows it."""
    if used.says("dates") or orders.reading.habits_of(used.source.name).dates:
        return True
    if used.rule.order == "iso":
        return True  # none of them is read so, and the unread column tells why
    return _shown_without_years(orders, used) or any(
        (used.rule.order in other.possible) and other.both_ways < other.figures
        for other in [*orders.others(used), *orders.elsewhere(used)]
    )


def _shown_without_years(orders: OrdersSeen, used: UsedColumn) -> bool:
    """Tell whether days of the file that have no year are days in the order set alone."""
    shown: Counter[str] = Counter()
    for other in used_columns(orders.sources, orders.reading):
        is_day = other.column is not None and other.column.kind in ("date", "datetime")
        if is_day and other.source.name == used.source.name:
            shown.update(orders.of(other).yearless)
    return shown[used.rule.order] == shown.total() > 0


def _about_shares(orders: OrdersSeen, used: UsedColumn) -> Iterator[OpenQuestion]:
    if used.rule.scores:
        return
    name = quote(used.name)
    ((count, low, high, parts, others, whole),) = orders.store.rows(
        f"SELECT count({name}), min({name}), max({name}), "
        f"count(*) FILTER ({name} > 0 AND {name} < 1), count(*) FILTER ({name} > 1), "
        f"count(*) FILTER ({name} = trunc({name})) FROM {used.staged}"
    )
    scored = count == whole >= FEWEST_SCORES and low < high <= HIGHEST_SCORE
    if count and 0 < high <= 1:
        says = f"all {count} values are at most 1 (from {low:g} to {high:g})"
        kind, units = "shares", ("share", "%")
    elif parts:
        says = (
            f"{parts} values lie between 0 and 1 (from {low:g}), beside {others} of "
            f"more than 1 (up to {high:g})"
        )
        kind, units = "shares", ("share", "%")
    elif scored:
        says = f"all {count} values are whole and at most {high:g}"
        kind, units = "scores", ("%",)
    else:
        return
    table = used.source.table.name
    alone = sum(source.table.name == table for source in orders.sources) == 1
    answers = tuple(
        f'[units.{table}]\n{used.name} = "{unit}"'
        if alone
        else suggested.in_column(used.source, used.slot, used.name, {"unit": unit})
        for unit in units
    )
    yield OpenQuestion(kind, used, says, answers)


def _ticks_counted(
    store: Store, columns: Sequence[UsedColumn]
) -> dict[tuple[int, int, str], tuple[int, int, int]]:
    """Count rows, yes and no of columns of sheets with rows; one pass over each table."""
    counts: dict[tuple[int, int, str], tuple[int, int, int]] = {}
    for table in {used.source.table.name for used in columns}:
        names = [c.name for c in TABLES[table].columns if c.kind == "yes_no"]
        listed = ", ".join(
            f"count(*) FILTER ({quote(name)}), count(*) FILTER (NOT {quote(name)})"
            for name in names
        )
        for number, slot, rows, *found in store.rows(
            f"SELECT source_no, coalesce(ref_slot(ref), 0), count(*), {listed} "
            f"FROM staged_{table} GROUP BY ALL"
        ):
            for name, yes, no in zip(names, found[::2], found[1::2], strict=True):
                counts[number, slot, name] = rows, yes, no
    return counts


def _about_blanks(
    store: Store, used: UsedColumn, reading: Reading, counts: tuple[int, int, int]
) -> Iterator[OpenQuestion]:
    rows, yes, no = counts
    if no or yes in (0, rows):
        return  # known from what was read, at less cost than from the texts
    texts = used.texts(store, reading.ditto_of(used.source.name))
    ticks = cells.is_tick("text", used.rule.words.get("yes", ()))
    ((filled, others),) = store.rows(
        f"SELECT count(*), count(*) FILTER (NOT ({ticks})) FROM ({texts})"
    )
    if filled and not others and rows > filled:
        says = f"{filled} cells hold ticks and {rows - filled} are blank; none says no"
        asked = OpenQuestion("blanks", used, says, ())
        yield replace(asked, settings=blank_answers([asked]))


def blank_answers(asked: Sequence[OpenQuestion]) -> tuple[str, ...]:
    """Give what says of the columns of ticks of one sheet what a blank means."""
    source, slot = asked[0].used.source, asked[0].used.slot
    return tuple(
        suggested.in_columns(
            source, slot, {one.used.name: {"blank": b} for one in asked}
        )
        for b in (BLANK_NO, NOT_LOOKED)
    )


def _day_ids(
    store: Store, columns: Sequence[UsedColumn], reading: Reading
) -> dict[tuple[int, int, str], list[tuple[str, int]]]:
    """Give the ids that look like days, and how many there are of each, by column."""
    months = cells.listed(languages.months())
    folded = "strip_accents(lower(text))"
    named = (
        rf"regexp_full_match(text, '\d{{1,2}}[-. ]?[^\d\s.-]{{3,}}[-. ]?(\d{{2}}|\d{{4}})?"
        rf"|[^\d\s.-]{{3,}}[-. ]?(\d{{2}}|\d{{4}})') AND regexp_extract({folded}, "
        rf"'[^\d\s.-]+') IN ({months})"
    )
    is_date = f"regexp_full_match(text, {literal(_ISO)}) OR ({named})"
    found: dict[tuple[int, int, str], list[tuple[str, int]]] = {}
    for some in _at_once(columns):
        for place, text, count in store.rows(
            f"SELECT place, text, count(*) FROM ({_texts_of(store, some, reading)}) "
            f"WHERE {is_date} GROUP BY ALL ORDER BY ALL"
        ):
            found.setdefault(some[place].key, []).append((text, count))
    return found


def _about_ids(used: UsedColumn, rows: Sequence[tuple[str, int]]) -> OpenQuestion:
    told = shorten([f'"{text}"' for text, _ in rows], ", ")
    count = sum(number for _, number in rows)
    says = f"{count} ids look like days that a spreadsheet made of them: {told}"
    return OpenQuestion("id_dates", used, says, ())
