"""Which tables a sheet feeds, and which of its columns feed each column of ours.

The table with the most of its own columns comes first and takes what no heading
assigns; another table is fed where the sheet has its day as well.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from pathlib import PurePosixPath
from types import MappingProxyType

from queen_outcomes.facts.dictionary import FLAT_QUEEN_FACTS, FLAT_SEMEN_FACTS, TABLES
from queen_outcomes.facts.settings_form import MOST_SLOTS
from queen_outcomes.records.headings import tidy
from queen_outcomes.records.map.seen import slots
from queen_outcomes.records.map.seen.contents import MOST
from queen_outcomes.records.map.seen.feed import SUPPORT, SURE, Feed, Use, unit_of
from queen_outcomes.records.map.seen.fits import (
    FINDINGS,
    MAIN_DATE,
    SHARED_IDS,
    can_hold,
    fit,
    is_generic_date,
    is_time,
    names_of,
    tells_how_she_went,
)
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.joined_feeds import (
    add_exits_at_looks,
    add_sales,
    add_stays,
    is_of_sales,
    join_doses,
    join_minutes,
    join_times,
    join_years,
)
from queen_outcomes.records.map.seen.row_labels import RowLabels
from queen_outcomes.records.map.seen.sheet import Sheet, SheetColumn
from queen_outcomes.records.map.seen.words import fold

ORDER = tuple(TABLES)
_BY_NAME = 1.5
"""What a table's name in the file's or sheet's name is worth, in columns."""
_FLAT = (*FLAT_QUEEN_FACTS, *FLAT_SEMEN_FACTS, "co2_other_at", "co2_other_minutes")
_FOR_ALL_SLOTS = {
    "inseminations": (
        *("operator", "instrument", "tip", "semen_batch", "protocol"),
        *(*FLAT_QUEEN_FACTS, *FLAT_SEMEN_FACTS, "note"),
    ),
    "checks": ("checker",),
}
"""What a wide sheet may write once for all the looks or doses of a row."""
_EMPTY = 0.1
"""What a heading with nothing below it says of what the rows are."""
_EVERYWHERE = ("operator", "checker", "note", "minutes")
"""Headings that are alike in several tables say nothing of which one it is."""


Said = Mapping[str, Mapping[str, str]]
"""Table -> our column -> the heading that the settings have for it."""


def find(
    sheet: Sheet,
    known_ids: frozenset[str] = frozenset(),
    said: Said = MappingProxyType({}),
) -> list[Feed]:
    """Give the tables that a sheet feeds; an empty list where it is no record.

    Parameters
    ----------
    sheet : Sheet
    known_ids : frozenset of str
        Folded labels of inseminated queens, to know a column of them by.
    said : mapping of mappings
        Table -> our column -> the heading that the settings have for it: it is kept.
    """
    if not sheet.rows:
        return []
    # numbers in headings may count anything: what no slot has a day for is no series
    series = [one for one in slots.find(sheet) if 0 < len(_dated_slots(one)) <= MOST_SLOTS]
    taken = {c.at for one in series for cs in one.slots.values() for c in cs}
    columns = [c for c in sheet.columns if c.at not in taken and c.name]
    allocation = _Allocation(sheet, columns, series, known_ids)
    found = allocation.feeds()
    for feed in found:
        _keep_said(feed, sheet, said.get(feed.table, {}))
    return found


def allocated(
    sheet: Sheet, columns: list[SheetColumn], table: str, known_ids: frozenset[str]
) -> Feed:
    """Give what some columns fill of one table, whatever else they might feed.

    Parameters
    ----------
    sheet, known_ids
        As in `find`.
    columns : list of SheetColumn
        Of the sheet.
    table : str
        The table that its rows are known to belong to.
    """
    allocation = _Allocation(sheet, [c for c in columns if c.name], [], known_ids)
    return allocation.alone(table)


def _keep_said(feed: Feed, sheet: Sheet, columns: Mapping[str, str]) -> None:
    """Fill our columns from the headings that the settings have for them, whatever stands there."""
    by_name = {column.name.casefold(): column for column in sheet.columns}
    for name, theirs in columns.items():
        column = by_name.get(tidy(theirs).casefold())
        if column is None or column.name in feed.headings(name):
            continue
        for other, use in list(feed.uses.items()):
            if column.name in use.names and tidy(theirs) != columns.get(other):
                del feed.uses[other]
        feed.uses[name] = Use([column.name], 1.0, unit_of(column, feed.table, name))


def too_wide(sheet: Sheet) -> int:
    """Give how many records of one table stand side by side, where no row may have so many."""
    most = max((len(_dated_slots(one)) for one in slots.find(sheet)), default=0)
    return most if most > MOST_SLOTS else 0


class _Allocation:
    """The give and take of one sheet's columns."""

    def __init__(self, sheet, columns, series, known_ids) -> None:
        self.sheet: Sheet = sheet
        self.columns: list[SheetColumn] = columns
        self.series: list[slots.Series] = series
        self.topics = _topics(sheet.source) | ({"exits"} if is_of_sales(sheet) else set())
        self.times = [c for c in columns if is_time(c)]
        free = [c for c in columns if c not in self.times]
        self.fits = {
            (table, name, column.at): worth
            for table in ORDER
            for name in names_of(table)
            for column in free
            if (worth := fit(column, table, name))
        }
        labels = RowLabels(columns, self.fits, self.topics, known_ids)
        self.ids, self.rival = labels.found, labels.rival
        self.unique = self._unique_ids()
        self.evidence = self._evidence()

    def _unique_ids(self) -> bool:
        held = self.ids.get("queen_id")
        return bool(held) and len(held.contents.counts) == held.contents.filled

    def _evidence(self) -> dict[str, float]:
        per_column: dict[int, dict[str, float]] = defaultdict(dict)
        empty = {c.at for c in self.columns if not any(x.text for x in c.contents.cells)}
        for (table, name, at), fits in self.fits.items():
            worth = fits * (_EMPTY if at in empty else 1)
            if name not in SHARED_IDS and not (
                table == "inseminations" and name in _FLAT
            ):
                best = per_column[at].get(table, 0.0)
                per_column[at][table] = max(best, worth)
        evidence = dict.fromkeys(ORDER, 0.0)
        for worths in per_column.values():
            clear = [table for table, worth in worths.items() if worth >= SURE]
            for table, worth in worths.items():
                evidence[table] += worth / max(len(clear), 1)
        for table in self.topics:
            evidence[table] += _BY_NAME
        return evidence

    # -- which tables -----------------------------------------------------------

    def _labelled(self, table: str) -> bool:
        if table == "semen":
            held = self.ids.get("semen_batch")
            alone = "queen_id" not in self.ids
            own = held.contents if held else None
            return bool(own) and (
                # dittos of a load beside queens make no list of loads
                alone or len(own.counts) == own.filled > max(1, len(own.cells) / 2)
            )
        if table == "placements":
            return "queen_id" in self.ids and "colony_id" in self.ids
        if table == "queens" and "queen_id" in self.ids:
            held = self.ids["queen_id"].contents  # a row a queen, save for slips
            return len(held.counts) >= MOST * held.filled
        if table == "checks":
            return "queen_id" in self.ids or "colony_id" in self.ids
        return "queen_id" in self.ids

    def _dated(self, table: str) -> bool:
        if table in ("queens", "semen"):
            return True
        return any(
            (table, MAIN_DATE[table], column.at) in self.fits for column in self.columns
        ) or bool(self._generic_dates())

    def _generic_dates(self) -> list[SheetColumn]:
        return [column for column in self.columns if is_generic_date(column)]

    def _possible(self) -> list[str]:
        series = {one.table for one in self.series}
        if not self.unique and any(
            ("inseminations", MAIN_DATE["inseminations"], c.at) in self.fits
            for c in self.columns
        ):
            # a queen stands twice, for a second dose: her facts stay with the doses
            series.add("queens")
        return [
            table
            for table in ORDER
            if table not in series
            and self._labelled(table)
            and self._dated(table)
            and self._supported(table, {name for t, name, _ in self.fits if t == table})
        ]

    def _supported(self, table: str, names: Iterable[str]) -> bool:
        if table in self.topics and table != "queens":
            return True
        if table == "co2":
            said = {t for c in self.columns for t in c.heading.of("topic")}
            return "co2" in said or bool({"given_at"} & set(names))
        wanted = SUPPORT.get(table)
        return wanted is None or bool(set(wanted) & set(names))

    def feeds(self) -> list[Feed]:
        """Allocate until every table that is left has its label and its day."""
        possible = self._possible()
        while possible:
            found = self._allocate(possible)
            lacking = [t for t in possible if not self._complete(found.get(t))]
            if not lacking:
                break
            # the weakest gives way first: what it held may complete another
            main = max(possible, key=self._rank)
            others = [table for table in possible if table != main]
            giving = others if main in lacking and others else lacking
            weakest = min(giving, key=lambda table: self.evidence[table])
            possible = [table for table in possible if table != weakest]
        else:
            found = {}
        listed = [found[table] for table in ORDER if table in found]
        for one in self.series:
            listed += self._series_feeds(one, listed)
        for feed in listed:
            feed.untold = not self.evidence[feed.table] and set(feed.columns) <= {
                *SHARED_IDS, MAIN_DATE[feed.table], "note",
            }
        add_stays(self.columns, listed)
        join_times(self.sheet, self.times, listed)
        join_years(self.columns, listed)
        add_sales(self.sheet, listed)
        join_doses(self.sheet, self.columns, listed)
        add_exits_at_looks(self.columns, self.fits, listed)
        join_minutes(self.columns, listed)
        return [feed for feed in listed if feed.columns]

    def alone(self, table: str) -> Feed:
        """Allocate to one table that is known to be what the rows are."""
        feed = self._allocate([table])[table]
        join_times(self.sheet, self.times, [feed])
        join_minutes(self.columns, [feed])
        return feed

    def _rank(self, table: str) -> tuple[float, bool]:
        return self.evidence[table], table != "queens"

    def _complete(self, feed: Feed | None) -> bool:
        if feed is None:
            return False
        table = feed.table
        if table in SUPPORT and not self._supported(table, feed.columns):
            return False
        if table in ("queens", "semen"):
            return True
        day = feed.uses.get(MAIN_DATE[table])
        if table == "co2" and day and self.series:
            # "CO2" above yes: a day that nobody names beside doses is none of an exposure
            return not self.sheet.column(day.names[0]).heading.unknown
        return day is not None

    # -- which columns ------------------------------------------------------------

    def _allocate(self, possible: list[str]) -> dict[str, Feed]:
        main = max(possible, key=self._rank)
        sections = self._sections(possible, main)
        ranked = [
            (-rank, ORDER.index(table), at, table, name, worth)
            for (table, name, at), worth in self.fits.items()
            if table in possible
            and name not in SHARED_IDS
            and self._keeps(table, name, possible)
            and (rank := self._ranked(table, at, worth, main, sections))
        ]
        ranked += [
            (-0.75, ORDER.index(table), column.at, table, MAIN_DATE[table], 0.75)
            for column in self._generic_dates()
            if (table := sections.get(column.at, main)) in possible
        ]
        feeds: dict[str, Feed] = {table: Feed(table) for table in possible}
        used: set[int] = {column.at for column in self.ids.values()}
        for _, _, at, table, name, worth in sorted(ranked):
            if at in used or name in feeds[table].uses:
                continue
            used.add(at)
            feeds[table].uses[name] = self._use(at, table, name, worth)
        for table, feed in feeds.items():
            for name, column in self.ids.items():
                if name in TABLES[table].names:
                    worth = self.fits.get((table, name, column.at), 0.5)
                    rival = self.rival if name == "queen_id" else ""
                    feed.uses[name] = Use([column.name], worth, rival=rival)
        return feeds

    def _ranked(
        self, table: str, at: int, worth: float, main: str, sections: Mapping[int, str]
    ) -> float:
        """Rank a fit among the others; 0 where the column speaks of another table."""
        rank = worth + (0.15 if table == main else 0.0)
        said = next(c for c in self.columns if c.at == at).heading
        if not said.of("column") and not said.of("topic"):
            return rank if sections.get(at, main) == table else 0.0
        if table == "exits" and self._goes(at):
            rank += 0.4
        return rank + (0.05 if sections.get(at) == table else 0.0)

    def _goes(self, at: int) -> bool:
        """Tell whether a day of going stands beside the words of how each queen went.

        It ends more than her stay then: "out" beside "sold" and "dead". Where a queen
        stands several times her stays are listed.
        """
        return (
            self.unique
            and (("exits", "left_on", at) in self.fits)
            and any(
                abs(column.at - at) == 1
                and tells_how_she_went(column.heading, column.contents)
                for column in self.columns
            )
        )

    def _use(self, at: int, table: str, name: str, worth: float) -> Use:
        column = next(c for c in self.columns if c.at == at)
        return Use([column.name], worth, unit_of(column, table, name))

    def _keeps(self, table: str, name: str, possible: list[str]) -> bool:
        """Tell which table keeps the facts of queens and semen in a shared sheet."""
        queens_apart = "queens" in possible and self.unique
        if table == "queens":
            return "inseminations" not in possible or queens_apart
        if table == "inseminations" and name in FLAT_QUEEN_FACTS:
            return not queens_apart
        if table == "inseminations" and name in FLAT_SEMEN_FACTS:
            return "semen" not in possible
        return True

    def _sections(self, possible: list[str], main: str) -> dict[int, str]:
        """Tell for each column which table the named columns around it feed."""
        definite = {
            column.at: table
            for column in self.columns
            if (table := self._definite(column, possible, main))
        }
        sections: dict[int, str] = {}
        for column in self.columns:
            places = sorted(definite)
            left = [at for at in places if at <= column.at]
            right = [at for at in places if at > column.at]
            # a day opens what comes after it; everything else goes with what is before
            opens = is_generic_date(column) or not left
            near = right[:1] if opens and right else left[-1:]
            sections[column.at] = definite[near[0]] if near else main
            if is_generic_date(column):
                # whoever is named behind a day did what the day is of
                definite.setdefault(column.at, sections[column.at])
        return sections

    def _definite(self, column: SheetColumn, possible: list[str], main: str) -> str:
        """Tell which table a column's own heading speaks of; empty where it is none."""
        said = column.heading
        if not said.of("column") and not said.of("topic"):
            return ""
        worths = {
            table: max(
                (
                    self.fits.get((table, name, column.at), 0.0)
                    for name in names_of(table)
                    if _tells_of(table, name)
                ),
                default=0.0,
            )
            for table in possible
            if table == main or table not in ("queens", "semen")
        }
        best = max(worths, key=lambda table: (worths[table], table == main), default="")
        return best if best and worths[best] >= 0.5 else ""

    def _all_slots(self, one: slots.Series, others: list[Feed]) -> dict[str, Use]:
        """Give the columns that stand once and hold for every slot of a series."""
        taken = {h for feed in others for n in feed.columns for h in feed.headings(n)}
        found: dict[str, Use] = {}
        for name in _FOR_ALL_SLOTS.get(one.table, ()):
            worths = [
                (self.fits[one.table, name, column.at], -column.at, column)
                for column in self.columns
                if (one.table, name, column.at) in self.fits
                and column.name not in taken
            ]
            if worths:
                worth, _, column = max(worths)  # no two have a place alike
                if worth >= SURE and (column.heading.of("column") or self._acts(column, one)):
                    found[name] = Use(
                        [column.name], worth, unit_of(column, one.table, name)
                    )
                    taken.add(column.name)
        return found

    def _acts(self, column: SheetColumn, one: slots.Series) -> bool:
        """Tell whether "who" beside a series did what it is of, and nothing else of the row."""
        alone = sum(c.heading.of("part") == {"person"} for c in self.columns) == 1
        return alone and [other.table for other in self.series] == [one.table]

    def _series_feeds(self, one: slots.Series, others: list[Feed]) -> list[Feed]:
        """Give the rules of a series: slots with the same columns share one."""
        by_slot = _dated_slots(one)
        groups: dict[tuple[str, ...], list[str]] = defaultdict(list)
        for slot, roles in by_slot.items():
            groups[tuple(sorted(roles))].append(slot)
        feeds = []
        for names, members in groups.items():
            feed = Feed(one.table)
            for name, column in self.ids.items():
                if name in TABLES[one.table].names and name not in names:
                    feed.uses[name] = Use([column.name])
            for name, use in self._all_slots(one, others).items():
                if name not in names:
                    feed.uses[name] = use
            feed.slots = {
                slot: {name: by_slot[slot][name][0] for name in names}
                for slot in members
            }
            feed.days = {slot: one.days[slot] for slot in members if slot in one.days}
            if set(feed.uses) & set(SHARED_IDS):
                feeds.append(feed)
        return feeds


def _dated_slots(one: slots.Series) -> dict[str, dict[str, tuple[str, float]]]:
    """Give the slots of a series that have a day, each with what its columns fill."""
    found = {}
    for slot, columns in one.slots.items():
        roles = _roles(one.table, columns, bool(one.days))
        dated = MAIN_DATE[one.table] in roles or slot in one.days
        # a day is all that there is of an exposure
        if dated and len(roles) >= (1 if one.days or one.table == "co2" else 2):
            found[slot] = roles
    return found


def _roles(
    table: str, columns: list[SheetColumn], dated: bool
) -> dict[str, tuple[str, float]]:
    """Allocate the columns of one slot."""
    ranked = []
    for column in columns:
        if dated:
            return {FINDINGS: (column.name, 0.7)}
        for name in names_of(table):
            worth = fit(column, table, name)
            if is_generic_date(column) and name == MAIN_DATE[table]:
                worth = max(worth, 0.75)
            if not worth and name == FINDINGS and not column.heading.of("column"):
                worth = 0.5 * fit_findings(column)
            if worth and name not in SHARED_IDS:
                ranked.append((-worth, column.at, name, column.name))
    roles: dict[str, tuple[str, float]] = {}
    used = set()
    for worth, at, name, heading_name in sorted(ranked):
        if at not in used and name not in roles:
            used.add(at)
            roles[name] = (heading_name, -worth)
    return roles


def _tells_of(table: str, name: str) -> bool:
    """Tell whether a column of ours says which table it stands in."""
    if name in SHARED_IDS:
        return name == "semen_batch"
    return name not in _EVERYWHERE and not (table == "inseminations" and name in _FLAT)


def fit_findings(column: SheetColumn) -> float:
    """Say how far unnamed words under a look can be findings."""
    return (
        can_hold("text", FINDINGS, column.contents) if column.contents.filled else 0.0
    )


def _topics(source: str) -> frozenset[str]:
    """Give the tables that a file's and a sheet's name speak of."""
    file, _, sheet = source.partition("#")
    of_sheet = _named(sheet) if sheet else frozenset()
    return of_sheet or _named(PurePosixPath(file).stem)


def _named(text: str) -> frozenset[str]:
    said = heading(text)
    return said.of("topic") | frozenset(
        table for table in TABLES if fold(table) == fold(text)
    )


def summary(feeds: Iterable[Feed]) -> dict[str, Mapping[str, list[str]]]:
    """Give what each table is fed from, for showing and for tests."""
    return {
        feed.table: {name: feed.headings(name) for name in feed.columns}
        for feed in feeds
    }
