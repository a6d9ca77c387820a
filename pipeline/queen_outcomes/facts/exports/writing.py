"""Writes rows as a declared table: its columns, types and order come from there."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from queen_outcomes.base.store import Store, quote
from queen_outcomes.facts.exports.exported import Table

Row = Mapping[str, Any]


def schema(table: Table) -> dict[str, Any]:
    """Give a table's columns as polars types, for frames on their way into it."""
    import polars as pl  # late: commands that only read tables start without it

    kinds = {
        "text": pl.String,
        "integer": pl.Int64,
        "number": pl.Float64,
        "yes_no": pl.Boolean,
        "day": pl.Date,
        "time": pl.Datetime("us"),
        "texts": pl.List(pl.String),
    }
    return {column.name: kinds[column.kind] for column in table.columns}


def write_rows(store: Store, table: Table, rows: Iterable[Row]) -> None:
    """Write a declared table from rows, ordered as it declares.

    Parameters
    ----------
    store : Store
        Where the table is made; it must not stand there yet.
    table : Table
        The declaration; a column that a row lacks is an empty cell there.
    rows : iterable of mapping
        A number that is not finite is an empty cell. A time may be an ISO text.
    """
    import polars as pl

    types = schema(table)
    times = [column.name for column in table.columns if column.kind == "time"]
    given = {**types, **dict.fromkeys(times, pl.String)}
    plain = [{name: _plain(row.get(name)) for name in types} for row in rows]
    frame = pl.DataFrame(plain, schema=given).with_columns(
        pl.col(times).str.to_datetime("%Y-%m-%dT%H:%M:%S", time_unit="us")
    )
    order = ", ".join(quote(name) for name in table.order)
    store.con.register("written", frame)
    store.table(table.name, f"SELECT * FROM written ORDER BY {order}")
    store.con.unregister("written")


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value
