"""Which tables a sheet feeds, and which of its columns feed each column of ours.

The table with the most of its own columns comes first and takes what no heading
assigns; another table is fed where the sheet has its day as well.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from types import MappingProxyType

from queen_outcomes.facts.dictionary import FLAT_QUEEN_FACTS, FLAT_SEMEN_FACTS, TABLES
from queen_outcomes.facts.settings_form import MOST_SLOTS
from queen_outcomes.records.headings import tidy
from queen_outcomes.records.map.seen import slots
from queen_outcomes.records.map.seen.contents import MOST, Contents
from queen_outcomes.records.map.seen.fits import (
    FINDINGS,
    MAIN_DATE,
    PARTLY,
    SHARED_IDS,
    SPANS,
    can_hold,
    fit,
    is_generic_date,
    is_time,
    is_year,
    names_of,
    ours_of,
    tells_how_she_went,
)
from queen_outcomes.records.map.seen.headings import heading, numbered
from queen_outcomes.records.map.seen.sheet import Sheet, SheetColumn
from queen_outcomes.records.map.seen.words import fold, vocabulary

ORDER = tuple(TABLES)
_SURE = 0.6
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
_ONE_ROW_EACH = (
    ("inseminations", "dose_ul"),
    ("inseminations", "inseminated_at"),
    ("inseminations", "semen_batch"),
    ("queens", "emerged_on"),
)
"""What stands in a row of a queen of her own."""
_WORDS, _OFTEN = 3, 4
"""So many words, each standing so often on average, are no labels."""
_LEAST_TOLD = 2
"""So many columns tell of semen where a batch is one of semen."""
_EVERYWHERE = ("operator", "checker", "note", "minutes")
"""Headings that are alike in several tables say nothing of which one it is."""
_SUPPORT = {
    "checks": (
        "queen_seen",
        "mark_seen",
        "eggs",
        "larvae",
        "sealed",
        "pattern_pct",
        "drone_in_worker",
        "multiple_eggs",
        "queen_cells",
        FINDINGS,
        "brood_given",
    ),
    "lab": ("sperm_millions", "viability_pct"),
    "queens": ("line", "graft_batch", "emerged_on", "marked", "mark"),
    "semen": (
        "volume_ul",
        "drones_handled",
        "drones_yielding",
        "drone_line",
        "storage_c",
        "drone_age_days",
        "diluent",
        "motility_pct",
        "viability_pct",
        "collected_at",
    ),
}
"""A table is fed only where the sheet has one of these beside its label and day."""


Said = Mapping[str, Mapping[str, str]]
"""Table -> our column -> the heading that the settings have for it."""


@dataclass
class Use:
    """How one column of ours is filled: from which headings, how sure, and with what."""

    names: list[str]
    worth: float = 1.0
    unit: str = ""
    blank: str = ""
    words: dict[str, list[str]] = field(default_factory=dict)
    value: str = ""
    rival: str = ""
    """Another heading that may as well be meant: it is asked."""


@dataclass
class Feed:
    """One rule: a sheet, a table, its columns, and the slots of a wide sheet.

    ``slots`` maps a slot to our column -> heading; ``uses`` holds the columns that do
    not change from slot to slot.
    """

    table: str
    uses: dict[str, Use] = field(default_factory=dict)
    slots: dict[str, dict[str, str]] = field(default_factory=dict)
    days: dict[str, str] = field(default_factory=dict)
    """slot -> the day that its heading states."""
    only: dict[str, list[str]] = field(default_factory=dict)
    """A heading -> the texts of the rows that are this table's, in a diary."""
    untold: bool = False
    """A queen and a day stand there, and nothing says what was done that day."""

    def headings(self, name: str) -> list[str]:
        """Give every heading that fills a column of ours."""
        if name in self.uses:
            return self.uses[name].names
        return [roles[name] for roles in self.slots.values() if name in roles]

    @property
    def columns(self) -> list[str]:
        """Our columns that are fed, in the dictionary's order."""
        roles = {name for roles in self.slots.values() for name in roles}
        return [n for n in names_of(self.table) if n in self.uses or n in roles]


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
        self.known_ids = known_ids
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
        self.rival = ""
        self.ids = self._ids()
        self.unique = self._unique_ids()
        self.evidence = self._evidence()

    def _ids(self) -> dict[str, SheetColumn]:
        """The columns of labels: by heading, else by the queens that stand in it."""
        found = {}
        running = self._running_numbers()
        worded = {column.at for column in self.columns if _is_worded(column.contents)}
        for name in SHARED_IDS:
            worths = [
                (worth, -at)
                for (_, ours, at), worth in self.fits.items()
                if ours == name
                and name not in running.get(at, ())
                and not (name == "queen_id" and at in worded)
            ]
            if worths:
                worth, at = max(worths, key=lambda one: (self._labels_rows(name, -one[1]), one))
                found[name] = (worth, next(c for c in self.columns if c.at == -at))
        # one column is one kind of label: the better named keeps it
        kept: dict[str, SheetColumn] = {}
        for name, (_, column) in sorted(found.items(), key=lambda item: -item[1][0]):
            if column not in kept.values():
                kept[name] = column
        if "queen_id" not in kept and self.known_ids:
            best = max(self.columns, key=self._overlap, default=None)
            if best and self._overlap(best) >= 0.5 and best not in kept.values():
                kept["queen_id"] = best
        if not kept.keys() & {"queen_id", "semen_batch"} and (load := self._own_load()):
            kept["semen_batch"] = load
        queen = kept.get("queen_id")
        if queen and "semen_batch" not in kept and self._is_of_semen():
            said = queen.heading.of("part")
            if "number" in said and "queen" not in said:  # the number is the load's
                kept["semen_batch"] = kept.pop("queen_id")
        return kept

    def _labels_rows(self, name: str, at: int) -> tuple[bool, bool]:
        """Tell whether a queen's label is new in nearly every row, and more than the row's number.

        "Mother" may be a queen too: beside queens each of whom stands once she is their mother.
        Of no other label is it asked.
        """
        held = next(c.contents for c in self.columns if c.at == at)
        new = name == "queen_id" and len(held.counts) >= MOST * max(held.filled, 1)
        return new, new and not is_run(held)

    def _running_numbers(self) -> dict[int, tuple[str, ...]]:
        """Give the columns of a number alone that label no queen, since another heading says queen.

        Where the queens below that one are not all different and the numbers are, either
        may be meant: a queen of each row, or the mother of several.

        Returns
        -------
        dict of a column's place to the labels that it does not hold
        """
        every = {at for _, name, at in self.fits if name == "queen_id"}
        fitting = [c for c in self.columns if c.at in every]
        bare = [c for c in fitting if _is_number_alone(c)]
        named = [c for c in fitting if c not in bare and _says_queen(c)]
        if not bare or not named:
            return {}
        flat = any(
            self.fits.get((t, n, c.at), 0) >= _SURE for t, n in _ONE_ROW_EACH for c in self.columns
        )
        queens, rows = named[0].contents, bare[0].contents
        if flat and len(queens.counts) < queens.filled and len(rows.counts) == rows.filled:
            if not is_run(rows):
                self.rival = named[0].name
                return {c.at: ("queen_id",) for c in named}
            self.rival = bare[0].name
        # the number of a row of queens is nothing's label; beside looks it may be a hive's
        return {
            c.at: SHARED_IDS if flat and is_run(c.contents) else ("queen_id",) for c in bare
        }

    def _own_load(self) -> SheetColumn | None:
        """Give a column of batches beside what is told of semen, where no queen stands."""
        batches = [c for c in self.columns if c.heading.of("column") == {"graft_batch"}]
        return batches[0] if len(batches) == 1 and self._told_of_semen() >= _LEAST_TOLD else None

    def _told_of_semen(self) -> int:
        """Count the columns that surely tell of a load of semen."""
        return len(
            {
                at
                for (table, name, at), worth in self.fits.items()
                if table == "semen" and name in _SUPPORT["semen"] and worth >= _SURE
            }
        )

    def _is_of_semen(self) -> bool:
        """Tell whether the sheet's own name is that of semen, and its columns tell of it."""
        return "semen" in self.topics and self._told_of_semen() >= _LEAST_TOLD

    def _overlap(self, column: SheetColumn) -> float:
        return column.contents.share(
            fold(text) in self.known_ids for text in column.contents.texts
        )

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
            clear = [table for table, worth in worths.items() if worth >= _SURE]
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
        wanted = _SUPPORT.get(table)
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
        self._stays(listed)
        self._attach_times(listed)
        self._attach_years(listed)
        self._sales(listed)
        self._join_doses(listed)
        self._exits_at_looks(listed)
        self._settle_co2(listed)
        return [feed for feed in listed if feed.columns]

    def alone(self, table: str) -> Feed:
        """Allocate to one table that is known to be what the rows are."""
        feed = self._allocate([table])[table]
        self._attach_times([feed])
        self._settle_co2([feed])
        return feed

    def _rank(self, table: str) -> tuple[float, bool]:
        return self.evidence[table], table != "queens"

    def _complete(self, feed: Feed | None) -> bool:
        if feed is None:
            return False
        table = feed.table
        if table in _SUPPORT and not self._supported(table, feed.columns):
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
                if worth >= _SURE and (column.heading.of("column") or self._acts(column, one)):
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

    def _attach_times(self, feeds: list[Feed]) -> None:
        """Join a column of clocks to the day it stands beside."""
        at_of = {column.name: column.at for column in self.sheet.columns}
        for time in self.times:
            days = [
                (abs(at_of[use.names[0]] - time.at), at_of[use.names[0]] > time.at, use)
                for feed in feeds
                for name, use in feed.uses.items()
                if ours_of(feed.table, name).kind == "datetime" and len(use.names) == 1
            ]
            if days:
                _, _, use = min(days, key=lambda day: day[:2])
                use.names.append(time.name)

    def _attach_years(self, feeds: list[Feed]) -> None:
        """Join a column of years to the days that are written without one."""
        years = [column for column in self.columns if is_year(column)]
        at_of = {column.name: column for column in self.columns}
        for feed in feeds if len(years) == 1 else ():
            for name, use in feed.uses.items():
                days = at_of.get(use.names[0]) if len(use.names) == 1 else None
                dated = ours_of(feed.table, name).kind in ("date", "datetime")
                if dated and days and days.contents.yearless_share >= MOST:
                    use.names.append(years[0].name)

    def _stays(self, feeds: list[Feed]) -> None:
        """Add that queens went into the colony beside their insemination, on its day: it is asked."""
        done = next((f for f in feeds if f.table == "inseminations"), None)
        day = MAIN_DATE["inseminations"]
        days = done.headings(day)[:1] if done else []
        stays = any(f.table == "placements" for f in feeds)
        colonies = [
            column
            for column in self.columns
            if column.heading.of("column") == {"colony_id"}
            and can_hold("id", "colony_id", column.contents) == 1
            and not column.heading.unit
        ]
        if stays or done is None or len(colonies) != 1 or not days or "queen_id" not in done.uses:
            return
        uses = {"queen_id": done.uses["queen_id"], "colony_id": Use([colonies[0].name])}
        uses["placed_on"] = Use(days, _SURE - 0.1)
        feeds.append(Feed("placements", uses))

    def _sales(self, feeds: list[Feed]) -> None:
        """Add that the queens of a list of sales were sold, where no column says why they left."""
        feed = next((f for f in feeds if f.table == "exits" and not f.slots), None)
        if feed is not None and "reason" not in feed.uses and is_of_sales(self.sheet):
            feed.uses["reason"] = Use([], _SURE - 0.1, value="sold")

    def _exits_at_looks(self, feeds: list[Feed]) -> None:
        """Add exits that are written beside a look, on the day of the look."""
        looks = next((f for f in feeds if f.table == "checks" and not f.slots), None)
        if looks is None or "queen_id" not in looks.uses or any(f.table == "exits" for f in feeds):
            return
        day = looks.uses.get(MAIN_DATE["checks"])
        used = {name for one in feeds for n in one.columns for name in one.headings(n)}
        told = [
            column
            for column in self.columns
            if column.name not in used
            and self.fits.get(("exits", "reason", column.at), 0) >= _SURE
            and column.contents.word_share("reason") >= MOST
        ]
        if day is None or len(told) != 1:
            return
        uses = {"queen_id": looks.uses["queen_id"], "reason": Use([told[0].name])}
        # by its heading it is the day of the look alone: it is asked about
        uses["left_on"] = Use(list(day.names), _SURE - 0.1)
        feeds.append(Feed("exits", uses))

    def _join_doses(self, feeds: list[Feed]) -> None:
        """Add a second dose of the same day to the first: both columns are one dose.

        Where days stand between the two it may be another day's.
        """
        feed = next((f for f in feeds if "dose_ul" in f.uses and not f.slots), None)
        if feed is None:
            return
        use = feed.uses["dose_ul"]
        used = {name for one in feeds for n in one.columns for name in one.headings(n)}
        kind = _numbered(use.names[0])
        first = self.sheet.column(use.names[0]).at
        days = [c.at for c in self.columns if c.contents.day_share >= PARTLY and c.at > first]
        use.names += [
            column.name
            for column in self.columns
            if column.name not in used
            and _numbered(column.name) == kind
            and column.contents.filled
            and column.contents.number_share >= MOST
            and not any(day < column.at for day in days)
        ]

    def _settle_co2(self, feeds: list[Feed]) -> None:
        """Give minutes that stand right behind the day of a CO2 exposure to it."""
        for day, lasts in (("co2_other_at", "co2_other_minutes"), ("given_at", "minutes")):
            feed = next((f for f in feeds if day in f.uses), None)
            if feed is not None and lasts not in feed.uses:
                self._give_minutes(feeds, feed, day, lasts)

    def _give_minutes(
        self, feeds: list[Feed], feed: Feed, day: str, minutes: str
    ) -> None:
        days = feed.uses[day].names
        behind = max(c.at for c in self.columns if c.name in days) + 1
        for column in self.columns:
            said = column.heading
            names = said.of("column") & set(SPANS)
            lasts = bool(names) or said.unit in ("min", "s")
            held = can_hold("number", minutes, column.contents)
            if column.at != behind or not lasts or held < 1:
                continue
            fed = {
                n for f in feeds for n, u in f.uses.items() if column.name in u.names
            }
            if fed <= set(SPANS):
                for other, name in itertools.product(feeds, fed):
                    if name in other.uses and column.name in other.uses[name].names:
                        del other.uses[name]
                unit = unit_of(column, feed.table, minutes)
                feed.uses[minutes] = Use([column.name], 0.9, unit)


def _is_number_alone(column: SheetColumn) -> bool:
    """Tell whether a heading says "no." and nothing else: a queen's, or the row's."""
    said = column.heading
    named = said.of("column") | said.of("topic") | set(said.unknown)
    return not named and said.of("part") - {"filler"} == {"number"}


def _says_queen(column: SheetColumn) -> bool:
    said = column.heading
    return "queen" in said.of("part") or "queen_id" in said.of("column")


def _is_worded(held: Contents) -> bool:
    """Tell whether a few words stand again and again: no label, whatever the heading says."""
    few = len(held.counts) <= _WORDS and held.filled >= _OFTEN * len(held.counts)
    return bool(held.counts) and few and not any(c.isdigit() for text in held.counts for c in text)


def is_run(held: Contents) -> bool:
    """Tell whether numbers count the rows, from 1 on and from 1 again."""
    if not all(text.rstrip(".").isdecimal() for text in held.texts):
        return False
    numbers = [0, *(int(text.rstrip(".")) for text in held.texts)]
    return all(after in (before + 1, 1) for before, after in itertools.pairwise(numbers))


def _numbered(name: str) -> str:
    """Give what a heading says beside its number: "dose" of "2nd dose"."""
    return numbered(name)[0] or fold(name)


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
    from queen_outcomes.records.map.seen.fits import can_hold

    return (
        can_hold("text", FINDINGS, column.contents) if column.contents.filled else 0.0
    )


def unit_of(column: SheetColumn, table: str, name: str) -> str:
    """Give the unit that the heading names, where it is not ours."""
    from queen_outcomes.facts.column import UNITS

    ours = ours_of(table, name)
    unit = column.heading.unit
    if ours.unit and unit != ours.unit and unit in UNITS.get(ours.unit, {}):
        return unit
    return ""


def is_of_sales(sheet: Sheet) -> bool:
    """Tell whether a sheet lists sales, by its name or the titles above its headings."""
    file, _, name = sheet.source.partition("#")
    above = [
        cell.text
        for row in sheet.grid.rows
        if sheet.header and row.line < sheet.header[0]
        for cell in row.cells
    ]
    sold = {p for p, why in vocabulary().words["reason"].items() if why == "sold"}
    texts = map(fold, (PurePosixPath(file).stem, name, *above))
    return any(f" {phrase} " in f" {text} " for text in texts for phrase in sold)


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
