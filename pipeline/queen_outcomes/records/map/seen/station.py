"""Everything under ``records/`` opened, laid out and given to tables: what is then asked about."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from types import MappingProxyType

from queen_outcomes.records.headings import tidy
from queen_outcomes.records.map.seen import (
    batches,
    deeds,
    feeds,
    hives_or_volumes,
    looks_apart,
    opened,
    stacked,
)
from queen_outcomes.records.map.seen.contents import Contents, SeenDay
from queen_outcomes.records.map.seen.deeds import Deed, Given
from queen_outcomes.records.map.seen.feed import Feed
from queen_outcomes.records.map.seen.feeds import Said
from queen_outcomes.records.map.seen.fits import FINDINGS, MAIN_DATE, ours_of
from queen_outcomes.records.map.seen.opened import Cell
from queen_outcomes.records.map.seen.sheet import (
    Sheet,
    SheetColumn,
    choose,
    lay_out,
    top_texts,
)
from queen_outcomes.records.map.seen.stacked import Begins
from queen_outcomes.records.map.seen.words import fold, languages_in

Chosen = Mapping[str, Mapping[str, str]]
"""A sheet's name -> its headings, as questions have them -> what they were answered to be."""


@dataclass
class Part:
    """One rule with the sheet that it reads."""

    sheet: Sheet
    feed: Feed

    @property
    def source(self) -> str:
        """The sheet's name as the settings know it."""
        return self.sheet.source

    @property
    def table(self) -> str:
        """The table fed."""
        return self.feed.table

    def columns_of(self, name: str) -> list[SheetColumn]:
        """Give the sheet's columns that fill a column of ours, slot by slot."""
        return [self.sheet.column(heading) for heading in self.feed.headings(name)]

    def contents(self, name: str) -> list[Contents]:
        """Give what stands in the columns that fill a column of ours.

        Free words of several headings are one text, as a build reads them.
        """
        columns = self.columns_of(name)
        if name == FINDINGS and not self.feed.slots and len(columns) > 1:
            places = [column.at for column in columns]
            texts = (
                " ".join(text for at in places if (text := row.text(at)))
                for row in self.sheet.rows
            )
            return [Contents([Cell(text) for text in texts])]
        return [column.contents for column in columns]

    def texts(self, name: str) -> list[str]:
        """Give the filled cells of a column of ours, all slots together."""
        return [text for held in self.contents(name) for text in held.texts]

    def dates(self) -> Iterator[tuple[str, list[Contents]]]:
        """Give our columns of days, with what stands in them."""
        for name in self.feed.columns:
            if ours_of(self.table, name).kind in ("date", "datetime"):
                days = [h for h in self.contents(name) if h.day_share >= 0.6]
                if days:
                    yield name, days

    @cached_property
    def main_days(self) -> list[SeenDay]:
        """The days of the table's own date, as they may be read."""
        return [
            day
            for held in self.contents(MAIN_DATE[self.table])
            for day in held.days
            if day is not None
        ]

    def years(self, order: str = "") -> Counter[int]:
        """How many of the table's days fall in each year, under an order, or any."""
        days = (day for day in self.main_days if not day.yearless)
        return Counter((day.on(order) or day.days[0][1]).year for day in days)


@dataclass
class Station:
    """What lies in the folder of records.

    Parameters
    ----------
    sheets : list of Sheet
    parts : list of Part
        The rules proposed, in the order of the sheets.
    deeds : list of Deed
        What the diaries among the sheets say was done.
    given : mapping
        The table of each of these, as far as it is known or likely.
    """

    sheets: list[Sheet] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    deeds: list[Deed] = field(default_factory=list)
    given: Given = field(default_factory=dict)

    def of(self, table: str) -> list[Part]:
        """Give the rules that feed a table."""
        return [part for part in self.parts if part.table == table]

    def parts_of(self, source: str) -> list[Part]:
        """Give the rules that read a sheet."""
        return [part for part in self.parts if part.source == source]

    @property
    def no_records(self) -> list[Sheet]:
        """Give the sheets that feed nothing; those without any text left out."""
        fed = {part.source for part in self.parts}
        return [s for s in self.sheets if s.source not in fed and not s.grid.empty]

    @property
    def not_opened(self) -> list[Sheet]:
        """Give the files that could not be opened."""
        return [sheet for sheet in self.sheets if sheet.grid.problem]


def look(
    records: Path,
    links: str = "inside",
    said: Said = MappingProxyType({}),
    begins: Begins = lambda _: None,
    done: Given = MappingProxyType({}),
    chosen: Chosen = MappingProxyType({}),
) -> Station:
    """Open the records and propose which tables each sheet feeds.

    Parameters
    ----------
    records : Path
    links : str
        Whether links that lead out of the folder are followed.
    said : mapping of mappings
        Table -> our column -> the heading that the settings have for it.
    begins : callable
        What the settings say of tables below each other, see `stacked`.
    done : mapping
        Which table the rows of a diary belong to, by what they say was done.
    chosen : mapping of mappings
        Which column of ours a sheet's headings were answered to be.
    """
    own: dict[str, frozenset[str]] = {}
    for columns in said.values():
        for name, theirs in columns.items():
            folded = tidy(theirs).casefold()
            own[folded] = own.get(folded, frozenset()) | {f"column:{name}"}
    grids = [
        part
        for grid in opened.every(records, links)
        for part in stacked.parted(grid, begins(grid.source))
    ]
    prior: Counter[str] = Counter()
    for grid in grids:
        prior.update(languages_in(top_texts(grid)))
    laid = (deeds.with_short_rows(lay_out(grid, prior, own)) for grid in grids)
    station = Station([looks_apart.part(sheet) for sheet in laid])
    for sheet in station.sheets:
        choose(sheet, chosen.get(sheet.source, {}))
    batches.settle(station.sheets)
    hives_or_volumes.settle(station.sheets)
    station.deeds = deeds.listed(station.sheets)
    station.given = deeds.likely(station.deeds, done)
    station.parts = _parts(station, station.sheets, frozenset(), said)
    # with the inseminated queens known, a column of their labels is known by them
    known = frozenset(
        fold(text)
        for part in station.of("inseminations")
        for text in part.texts("queen_id")
    )
    fed = {part.source for part in station.parts}
    again = [sheet for sheet in station.sheets if sheet.source not in fed]
    station.parts += _parts(station, again, known, said)
    order = {sheet.source: at for at, sheet in enumerate(station.sheets)}
    station.parts.sort(key=lambda part: order[part.source])
    return station


def _parts(
    station: Station, sheets: list[Sheet], known: frozenset[str], said: Said
) -> list[Part]:
    diaries = {sheet.source for deed in station.deeds for sheet, _ in deed.rows}
    return [
        Part(*part)
        for sheet in sheets
        for part in (
            deeds.parts(sheet, station.given, known)
            if sheet.source in diaries
            else ((sheet, feed) for feed in feeds.find(sheet, known, said))
        )
    ]
