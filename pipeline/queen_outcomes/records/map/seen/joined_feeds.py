"""What is joined to the feeds of a sheet once its columns are shared out.

Clocks and years to their days, minutes to their exposure, a second dose to the first; and the
stays, sales and exits that one row tells of beside something else.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import PurePosixPath

from queen_outcomes.records.map.seen.contents import MOST
from queen_outcomes.records.map.seen.feed import SURE, Feed, Use, unit_of
from queen_outcomes.records.map.seen.fits import (
    MAIN_DATE,
    PARTLY,
    SPANS,
    can_hold,
    is_year,
    ours_of,
)
from queen_outcomes.records.map.seen.headings import numbered
from queen_outcomes.records.map.seen.sheet import Sheet, SheetColumn
from queen_outcomes.records.map.seen.words import fold, vocabulary


def join_times(sheet: Sheet, times: list[SheetColumn], feeds: list[Feed]) -> None:
    """Join a column of clocks to the day it stands beside."""
    at_of = {column.name: column.at for column in sheet.columns}
    for time in times:
        days = [
            (abs(at_of[use.names[0]] - time.at), at_of[use.names[0]] > time.at, use)
            for feed in feeds
            for name, use in feed.uses.items()
            if ours_of(feed.table, name).kind == "datetime" and len(use.names) == 1
        ]
        if days:
            _, _, use = min(days, key=lambda day: day[:2])
            use.names.append(time.name)


def join_years(columns: list[SheetColumn], feeds: list[Feed]) -> None:
    """Join a column of years to the days that are written without one."""
    years = [column for column in columns if is_year(column)]
    at_of = {column.name: column for column in columns}
    for feed in feeds if len(years) == 1 else ():
        for name, use in feed.uses.items():
            days = at_of.get(use.names[0]) if len(use.names) == 1 else None
            dated = ours_of(feed.table, name).kind in ("date", "datetime")
            if dated and days and days.contents.yearless_share >= MOST:
                use.names.append(years[0].name)


def add_stays(columns: list[SheetColumn], feeds: list[Feed]) -> None:
    """Add that queens went into the colony beside their insemination, on its day: it is asked."""
    done = next((f for f in feeds if f.table == "inseminations"), None)
    day = MAIN_DATE["inseminations"]
    days = done.headings(day)[:1] if done else []
    stays = any(f.table == "placements" for f in feeds)
    colonies = [
        column
        for column in columns
        if column.heading.of("column") == {"colony_id"}
        and can_hold("id", "colony_id", column.contents) == 1
        and not column.heading.unit
    ]
    if stays or done is None or len(colonies) != 1 or not days or "queen_id" not in done.uses:
        return
    uses = {"queen_id": done.uses["queen_id"], "colony_id": Use([colonies[0].name])}
    uses["placed_on"] = Use(days, SURE - 0.1)
    feeds.append(Feed("placements", uses))


def add_sales(sheet: Sheet, feeds: list[Feed]) -> None:
    """Add that the queens of a list of sales were sold, where no column says why they left."""
    feed = next((f for f in feeds if f.table == "exits" and not f.slots), None)
    if feed is not None and "reason" not in feed.uses and is_of_sales(sheet):
        feed.uses["reason"] = Use([], SURE - 0.1, value="sold")


def add_exits_at_looks(columns: list[SheetColumn], fits: Mapping[tuple[str, str, int], float], feeds: list[Feed]) -> None:
    """Add exits that are written beside a look, on the day of the look."""
    looks = next((f for f in feeds if f.table == "checks" and not f.slots), None)
    if looks is None or "queen_id" not in looks.uses or any(f.table == "exits" for f in feeds):
        return
    day = looks.uses.get(MAIN_DATE["checks"])
    used = {name for one in feeds for n in one.columns for name in one.headings(n)}
    told = [
        column
        for column in columns
        if column.name not in used
        and fits.get(("exits", "reason", column.at), 0) >= SURE
        and column.contents.word_share("reason") >= MOST
    ]
    if day is None or len(told) != 1:
        return
    uses = {"queen_id": looks.uses["queen_id"], "reason": Use([told[0].name])}
    # by its heading it is the day of the look alone: it is asked about
    uses["left_on"] = Use(list(day.names), SURE - 0.1)
    feeds.append(Feed("exits", uses))


def join_doses(sheet: Sheet, columns: list[SheetColumn], feeds: list[Feed]) -> None:
    """Add a second dose of the same day to the first: both columns are one dose.

    Where days stand between the two it may be another day's.
    """
    feed = next((f for f in feeds if "dose_ul" in f.uses and not f.slots), None)
    if feed is None:
        return
    use = feed.uses["dose_ul"]
    used = {name for one in feeds for n in one.columns for name in one.headings(n)}
    kind = _numbered(use.names[0])
    first = sheet.column(use.names[0]).at
    days = [c.at for c in columns if c.contents.day_share >= PARTLY and c.at > first]
    use.names += [
        column.name
        for column in columns
        if column.name not in used
        and _numbered(column.name) == kind
        and column.contents.filled
        and column.contents.number_share >= MOST
        and not any(day < column.at for day in days)
    ]


def join_minutes(columns: list[SheetColumn], feeds: list[Feed]) -> None:
    """Give minutes that stand right behind the day of a CO2 exposure to it."""
    for day, lasts in (("co2_other_at", "co2_other_minutes"), ("given_at", "minutes")):
        feed = next((f for f in feeds if day in f.uses), None)
        if feed is not None and lasts not in feed.uses:
            _give_minutes(columns, feeds, feed, day, lasts)


def _give_minutes(columns: list[SheetColumn], feeds: list[Feed], feed: Feed, day: str, minutes: str) -> None:
    days = feed.uses[day].names
    behind = max(c.at for c in columns if c.name in days) + 1
    for column in columns:
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


def _numbered(name: str) -> str:
    """Give what a heading says beside its number: "dose" of "2nd dose"."""
    return numbered(name)[0] or fold(name)


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
