"""Which columns of a wide sheet belong to the first, second, third look or dose.

A series is told by numbers in the headings ("1st check", "Check 2 date"), by headings
that repeat ("date", "date" again), or by days that stand as headings.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from itertools import pairwise

from queen_outcomes.records.map.seen import weeks
from queen_outcomes.records.map.seen.contents import day_of
from queen_outcomes.records.map.seen.fits import PARTLY, fit, names_of
from queen_outcomes.records.map.seen.headings import numbered
from queen_outcomes.records.map.seen.sheet import Sheet, SheetColumn
from queen_outcomes.records.map.seen.words import fold

LEAST = 2
SERIES_TABLES = ("checks", "inseminations", "co2", "placements", "lab")
_OWN = {
    "checks": (
        "eggs",
        "larvae",
        "sealed",
        "queen_seen",
        "pattern_pct",
        "findings",
        "drone_in_worker",
        "queen_cells",
        "mark_seen",
        "checked_on",
        "brood_given",
    ),
    "inseminations": ("dose_ul", "operator", "inseminated_at", "attempts", "leak"),
    "co2": ("given_at", "minutes"),
    "placements": ("colony_id", "placed_on", "removed_on"),
    "lab": ("sperm_millions", "sampled_on"),
}

_EXPOSURES = ("co2_other_at", "given_at")


@dataclass
class Series:
    """A table that a wide sheet feeds several times a row.

    Parameters
    ----------
    table : str
    slots : dict of slot name to the columns of it, in the sheet's order
    days : dict of slot name to the day its heading states; empty where none does.
    """

    table: str
    slots: dict[str, list[SheetColumn]] = field(default_factory=dict)
    days: dict[str, str] = field(default_factory=dict)


def find(sheet: Sheet) -> list[Series]:
    """Find the series of a sheet; none in a sheet with one record a row."""
    dated = _dated(sheet)
    if dated:
        return [dated]
    numbered = _numbered(sheet)
    if numbered:
        return numbered
    return _repeated(sheet)


def _dated(sheet: Sheet) -> Series | None:
    """Days as headings, with what was found below them."""
    days = [c.at for c in sheet.columns if c.name and _heading_day(c.name)]
    among = [c for c in sheet.columns if c.at in days or weeks.is_late(c.name)]
    found = among if days else _weeks(sheet)
    if len(found) < LEAST:
        return None
    return Series(
        "checks",
        {column.name: [column] for column in found},
        {column.name: column.name for column in found},
    )


def _weeks(sheet: Sheet) -> list[SheetColumn]:
    """Give the columns that are headed by weeks of the year."""
    found = [column for column in sheet.columns if weeks.week_of(column.name)]
    return found if weeks.run([column.name for column in found]) else []


def _heading_day(name: str) -> bool:
    return day_of(name.split(" (", maxsplit=1)[0]) is not None


def _numbered(sheet: Sheet) -> list[Series]:
    """Numbers in the headings; columns between them that say none go with their neighbour."""
    numbers = _exposures(sheet) | _firsts(sheet)
    columns = [numbers.get(column.at, column) for column in sheet.columns]
    marked = [column for column in columns if column.heading.slot]
    families: dict[str, dict[str, list[SheetColumn]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for column in marked:
        families[_table(column, marked)][column.heading.slot].append(column)
    for table in [t for t, slots in families.items() if len(slots) < LEAST]:
        del families[table]
    if not families:
        return []
    _adopt_repeats(sheet, families)
    for table, slots in families.items():
        _adopt_between(sheet, families, table, slots)
    found = []
    for table, slots in families.items():
        in_order = sorted(slots.items(), key=lambda item: min(c.at for c in item[1]))
        ordered = {s: sorted(cs, key=lambda c: c.at) for s, cs in in_order}
        found.append(Series(table, ordered))
    return found


def _exposures(sheet: Sheet) -> dict[int, SheetColumn]:
    """Give the days of a first and a second CO2 exposure as slots, by their place.

    Alone "2nd CO2" is the other exposure; beside "1st CO2" each is one of them all.
    """
    groups: dict[str, dict[str, SheetColumn]] = defaultdict(dict)
    for column in sheet.columns:
        rest, number = numbered(column.name)
        if _is_of_gas(column) and column.contents.day_share >= PARTLY:
            groups[rest].setdefault(number, column)
    return {
        column.at: replace(column, heading=replace(column.heading, slot=number))
        for group in groups.values()
        if len(group.keys() - {""}) >= LEAST
        for number, column in group.items()
        if number
    }


def _firsts(sheet: Sheet) -> dict[int, SheetColumn]:
    """Give the first of a kind, which says no number, as slot 1 by its place.

    "Check" before "2nd check" is the first one. What "2nd CO2" is alone is judged elsewhere.
    """
    found: dict[int, SheetColumn] = {}
    single = [c for c in sheet.columns if c.name and c.heading.repeat == 1]
    counted = {numbered(c.name): c for c in reversed(single)}
    for column in single:
        said, rest = column.heading, fold(column.name)
        second = counted.get((rest, "2"))
        if said.slot or second is None or (rest, "1") in counted or _is_of_gas(column):
            continue
        dated = {c.contents.day_share >= PARTLY for c in (column, second)}
        if column.at < second.at and len(dated) == 1:
            found[column.at] = replace(column, heading=replace(said, slot="1"))
    return found


def _is_of_gas(column: SheetColumn) -> bool:
    said = column.heading
    return "co2" in said.of("topic") or bool(said.of("column") & set(_EXPOSURES))


def _table(column: SheetColumn, marked: list[SheetColumn]) -> str:
    """Tell which table a numbered column feeds: its topic, or its neighbours' of that number."""

    def worth(table: str) -> float:
        return max(
            (fit(column, table, n) for n in _OWN[table] if n in names_of(table)),
            default=0,
        )

    alike = [c for c in marked if c.heading.slot == column.heading.slot]
    named = {t for t in SERIES_TABLES if column.heading.of("column") & set(_OWN[t])}
    for group in ([column], alike):
        topics = {t for c in group for t in c.heading.of("topic") if t in SERIES_TABLES}
        # "2nd CO2 date" beside "2nd check date" speaks of another table than its neighbour
        if len(topics) == 1 and (not named or named & topics or worth(*topics)):
            return topics.pop()

    best = max(SERIES_TABLES, key=lambda table: (worth(table), table == "checks"))
    own = column.heading.of("topic") & set(SERIES_TABLES)
    # "Insemination 2nd CO2" beside "2nd check date" is no look, whatever else it is
    return best if worth(best) else min(named or own, default="checks")


def _adopt_repeats(sheet: Sheet, families) -> None:
    """Give unnumbered headings that repeat to the numbered column they stand beside."""
    groups = _groups(sheet)
    owner = {
        column.at: (table, slot)
        for table, slots in families.items()
        for slot, columns in slots.items()
        for column in columns
    }
    numbered = sorted(owner)
    for columns in groups.values():
        if len(columns) < LEAST:
            continue
        ahead = columns[0].at < numbered[0]
        for column in columns:
            side = [
                at for at in numbered if (at > column.at) == ahead and at != column.at
            ]
            if side:
                table, slot = owner[side[0] if ahead else side[-1]]
                near = abs((side[0] if ahead else side[-1]) - column.at)
                if near <= _widest(numbered):
                    families[table][slot].append(column)


def _adopt_between(sheet: Sheet, families, table: str, slots) -> None:
    """Give what one look alone was asked to the look that it stands behind: "Check, Eggs, 2nd check".

    Behind the last one it is that one's where an earlier one has such a column as well.
    """
    taken = {c.at for own in families.values() for cs in own.values() for c in cs}
    starts = sorted((min(c.at for c in columns), slot) for slot, columns in slots.items())
    ends = [start for start, _ in starts[1:]] + [sheet.columns[-1].at + 1]
    adopted = False
    for (start, slot), end in zip(starts, ends, strict=True):
        if end > starts[-1][0] and not adopted:
            break
        for column in (c for c in sheet.columns if start < c.at < end and c.at not in taken):
            if not column.heading.of("column") & set(_OWN[table]):
                break
            slots[slot].append(column)
            adopted = True


def _widest(numbered: list[int]) -> int:
    gaps = [after - before for before, after in pairwise(numbered)]
    return max(gaps, default=1) + 1


def _groups(sheet: Sheet) -> dict[str, list[SheetColumn]]:
    """Unnumbered columns by the heading they share."""
    groups: dict[str, list[SheetColumn]] = defaultdict(list)
    for column in sheet.columns:
        if column.name and not column.heading.slot:
            base = (
                column.name.rsplit(" (", 1)[0]
                if column.heading.repeat > 1
                else column.name
            )
            groups[base.casefold()].append(column)
    return groups


def _repeated(sheet: Sheet) -> list[Series]:
    """Whole groups of headings that come again: "Date, Eggs, Larvae, Date, Eggs, Larvae"."""
    repeated = {k: cs for k, cs in _groups(sheet).items() if len(cs) >= LEAST}
    counts = {len(columns) for columns in repeated.values()}
    several = [cs for cs in repeated.values() if len(cs) == max(counts, default=0)]
    if len(several) < 2:
        return []
    number = max(counts)
    slots = {
        str(k + 1): sorted((cs[k] for cs in several), key=lambda c: c.at)
        for k in range(number)
    }
    table = _own_table(slots["1"])
    # a group is a series only where something in it says of what, and no column of
    # another table stands between ("Date, By, Dose, Date, By, Eggs" is two tables)
    return [Series(table, slots)] if table else []


def _own_table(columns: list[SheetColumn]) -> str:
    worths = {
        table: sum(
            max((fit(column, table, name) for name in _OWN[table]), default=0)
            for column in columns
            if column.heading.of("column") & set(_OWN[table])
            or column.heading.of("topic") & {table}
        )
        for table in SERIES_TABLES
    }
    best = max(worths, key=lambda table: worths[table])
    return best if worths[best] > 0 else ""
