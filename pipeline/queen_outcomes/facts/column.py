"""What a column, a limit and a table of the dictionary are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Kind = Literal[
    "id", "label", "text", "date", "datetime", "number", "integer", "yes_no", "word"
]
"""id and label: a name (trimmed, inner blanks collapsed, Unicode NFKC); an id also
loses a spreadsheet's ".0". text: kept as it stands."""

Severity = Literal["quarantine", "hard", "soft"]
"""quarantine: the row cannot be placed. hard: the cell is set aside, the row used.
soft: the value is used and listed for a second look."""

SQL_TYPES: dict[Kind, str] = {
    "id": "VARCHAR",
    "label": "VARCHAR",
    "text": "VARCHAR",
    "date": "DATE",
    "datetime": "TIMESTAMP",
    "number": "DOUBLE",
    "integer": "BIGINT",
    "yes_no": "BOOLEAN",
    "word": "VARCHAR",
}

UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "uL": {"uL": (1, 0), "mL": (1000, 0)},
    "min": {
        "min": (1, 0),
        "s": (1 / 60, 0),
        "h": (60, 0),
        "min:s": (1, 0),
        "h:min": (60, 0),
    },
    "days": {"days": (1, 0), "h": (1 / 24, 0), "weeks": (7, 0)},
    "C": {"C": (1, 0), "F": (5 / 9, -160 / 9)},
    "%": {"%": (1, 0), "fraction": (100, 0), "share": (100, 0)},
    "million": {"million": (1, 0), "thousand": (0.001, 0)},
}
"""For each of our units, the units a station may keep and (factor, offset) to ours. Of a
unit of two, such as min:s, the factor is that of the first, of figures that stand alone."""


@dataclass(frozen=True)
class Limits:
    """An interval that a value should lie in; None is no limit on that side."""

    low: float | None = None
    high: float | None = None
    low_open: bool = False
    why: str = ""

    def words(self, unit: str = "") -> str:
        """Say the interval in words, such as "above 0 and at most 40 uL"."""
        parts = []
        if self.low is not None:
            parts.append(f"{'above' if self.low_open else 'at least'} {self.low:g}")
        if self.high is not None:
            parts.append(f"at most {self.high:g}")
        return " and ".join(parts) + (f" {unit}" if unit else "")


@dataclass(frozen=True)
class Column:
    """One column: its name in the tool, its kind, and what may stand in it."""

    name: str
    kind: Kind
    meaning: str
    required: bool = False
    unit: str = ""
    hard: Limits | None = None
    soft: Limits | None = None
    words: tuple[str, ...] = ()
    summed: bool = False
    """May be written as a sum or product ("4+4", "2x4"), whose parts are counted."""
    flat: bool = False
    """Kept here only by a station with one flat sheet; its proper table comes first."""

    def as_flat(self) -> Column:
        """Give the same column as one flat sheet would keep it."""
        return replace(self, flat=True, required=False)

    @property
    def sql_type(self) -> str:
        """The DuckDB type of the column once read."""
        return SQL_TYPES[self.kind]

    @property
    def unread(self) -> str | None:
        """The staged column that keeps what could not be read; None: all can be."""
        named = self.kind in ("id", "label", "text")
        return None if named else f"{self.name}__unread"

    @property
    def why(self) -> str | None:
        """The staged column that says why a text was not read; None: nothing is said."""
        told = self.kind in ("date", "datetime", "number", "integer")
        return f"{self.name}__why" if told else None

    @property
    def parts(self) -> str | None:
        """The column that counts the parts of a sum; empty where there is no sum."""
        return f"{self.name}__parts" if self.summed else None


@dataclass(frozen=True)
class Pair:
    """The first column is at most ``factor`` times the second, or it is found."""

    smaller: str
    larger: str
    severity: Severity
    factor: float = 1


@dataclass(frozen=True)
class Table:
    """One table of the records."""

    name: str
    grain: str
    columns: tuple[Column, ...]
    key: str | None = None
    required: bool = False
    either: tuple[str, ...] = ()
    """At least one of these columns must hold a value."""
    pairs: tuple[Pair, ...] = ()
    findings: bool = False
    """Free words of one cell may set several of its columns."""

    def column(self, name: str) -> Column:
        """Give one column by its name."""
        return next(column for column in self.columns if column.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        """The columns' names, in order."""
        return tuple(column.name for column in self.columns)

    @property
    def kept(self) -> tuple[str, ...]:
        """What an accepted row has: the columns, and the parts of each sum."""
        counted = (column.parts for column in self.columns if column.parts)
        return (*self.names, *counted)

    @property
    def dated(self) -> Column:
        """The required day or time that places a row, or the table's key."""
        found = [
            column
            for column in self.columns
            if column.required and column.kind in ("date", "datetime")
        ]
        return found[0] if found else self.columns[0]
