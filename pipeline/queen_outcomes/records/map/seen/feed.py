"""One table that a sheet feeds: which of its columns fill each column of ours."""

from __future__ import annotations

from dataclasses import dataclass, field

from queen_outcomes.facts.column import UNITS
from queen_outcomes.records.map.seen.fits import FINDINGS, names_of, ours_of
from queen_outcomes.records.map.seen.sheet import SheetColumn

SURE = 0.6
"""From here on a column fills what it seems to, without being asked about."""
SUPPORT = {
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


def unit_of(column: SheetColumn, table: str, name: str) -> str:
    """Give the unit that the heading names, where it is not ours."""
    ours = ours_of(table, name)
    unit = column.heading.unit
    if ours.unit and unit != ours.unit and unit in UNITS.get(ours.unit, {}):
        return unit
    return ""
