"""What a column and a table of the exported tables' contract are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "integer", "number", "yes_no", "day", "time", "texts"]

SQL_TYPES: dict[Kind, str] = {
    "text": "VARCHAR",
    "integer": "BIGINT",
    "number": "DOUBLE",
    "yes_no": "BOOLEAN",
    "day": "DATE",
    "time": "TIMESTAMP",
    "texts": "VARCHAR[]",
}
_INTEGERS = {
    f"{sign}{size}INT"
    for sign in ("", "U")
    for size in ("TINY", "SMALL", "BIG", "HUGE")
} | {"INTEGER", "UINTEGER"}


@dataclass(frozen=True)
class ExportColumn:
    """One exported column."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    null: str = ""
    """What an empty cell means; empty text: there is none."""

    @property
    def sql_type(self) -> str:
        """The DuckDB (and so the Parquet) type."""
        return SQL_TYPES[self.kind]

    def takes(self, sql_type: str) -> bool:
        """Tell whether a table's type may be written as this column's."""
        return sql_type == self.sql_type or (
            self.kind == "integer" and sql_type in _INTEGERS
        )


@dataclass(frozen=True)
class ExportTable:
    """One exported table; its rows are ordered by ``key``."""

    name: str
    grain: str
    columns: tuple[ExportColumn, ...]
    key: tuple[str, ...] = ()
    """Columns that are unique together; empty: rows may repeat."""

    @property
    def order(self) -> tuple[str, ...]:
        """The columns that give the rows one order, whatever the thread count."""
        return self.key or tuple(column.name for column in self.columns)


OUTCOME = ExportColumn("outcome", "text", "which outcome")
WINDOW = ExportColumn(
    "window_days", "integer", "the outcome's window after day 0", "days"
)


def count(name: str, meaning: str, null: str = "") -> ExportColumn:
    """Declare a number of courses."""
    return ExportColumn(name, "integer", meaning, "courses", null)


def number(name: str, meaning: str, unit: str = "", null: str = "") -> ExportColumn:
    """Declare a number that may have places after the point."""
    return ExportColumn(name, "number", meaning, unit, null)


def share(name: str, meaning: str, null: str = "") -> ExportColumn:
    """Declare a part of one."""
    return number(name, meaning, "share 0-1", null)


def limits(
    of: str = "", null: str = "", unit: str = "share 0-1", *, about: str = ""
) -> tuple[ExportColumn, ExportColumn]:
    """Declare a value's two 95 % limits: `low` and `high`, behind the value's name."""
    start = f"{of}_" if of else ""
    return (
        number(f"{start}low", f"lower 95 % limit{about}", unit, null),
        number(f"{start}high", f"upper 95 % limit{about}", unit, null),
    )
