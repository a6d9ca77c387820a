"""Writes rows as a declared table: its columns, types and order come from there."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from queen_outcomes.base.store import Store, quote
from queen_outcomes.facts.exports.exported import ExportTable

if TYPE_CHECKING:
    import polars as pl

Row = Mapping[str, Any]


def schema(table: ExportTable) -> dict[str, Any]:
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


def filled(table: ExportTable, rows: Iterable[Row]) -> list[dict[str, Any]]:
    """Give rows with all columns of a table and no others, as they are written.

    A column that a row lacks is an empty cell, and so is a number that is not finite.
    """
    names = [column.name for column in table.columns]
    return [{name: _plain(row.get(name)) for name in names} for row in rows]


def write_rows(store: Store, table: ExportTable, rows: Iterable[Row]) -> None:
    """Write a declared table from rows, ordered as it declares.

    Parameters
    ----------
    store : Store
        Where the table is made; it must not stand there yet.
    table : ExportTable
    rows : iterable of mapping
        See `filled`. A time may be an ISO text.
    """
    import polars as pl

    types = schema(table)
    times = [column.name for column in table.columns if column.kind == "time"]
    given = {**types, **dict.fromkeys(times, pl.String)}
    write_frame(store, table, pl.DataFrame(filled(table, rows), schema=given))


def write_frame(store: Store, table: ExportTable, frame: pl.DataFrame) -> None:
    """Write a declared table from a frame with all of its columns.

    For tables with a row a course, which are not to be taken through Python row by row.
    A number that is not finite is an empty cell. A time may be an ISO text.
    """
    import polars as pl

    texts = [c.name for c in table.columns if c.kind == "time"]
    texts = [name for name in texts if frame.schema[name] == pl.String]
    floats = pl.selectors.float()
    frame = frame.with_columns(
        pl.when(floats.is_finite()).then(floats).name.keep(),
        pl.col(texts).str.to_datetime("%Y-%m-%dT%H:%M:%S", time_unit="us"),
    ).select(pl.col(name).cast(kind) for name, kind in schema(table).items())
    order = ", ".join(quote(name) for name in table.order)
    with store.lent("written", frame):
        store.table(table.name, f"SELECT * FROM written ORDER BY {order}")


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value
