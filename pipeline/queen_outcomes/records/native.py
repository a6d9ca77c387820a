"""SQL for columns that come typed: what a Parquet type may be read as.

A value of a type that cannot mean what the column holds is unread, with its text:
a time with an offset for a local time, a number for a day.
"""

from __future__ import annotations

from queen_outcomes.facts.column import Column

WHOLE = (
    *("TINYINT", "SMALLINT", "INTEGER", "BIGINT", "HUGEINT"),
    *("UTINYINT", "USMALLINT", "UINTEGER", "UBIGINT", "UHUGEINT"),
)
FLOAT = ("FLOAT", "DOUBLE")
MOMENTS = ("DATE", "TIMESTAMP", "TIMESTAMP_S", "TIMESTAMP_MS", "TIMESTAMP_NS")
QUANTITIES = ("number", "integer", "date", "datetime")
ZONED = "TIMESTAMP WITH TIME ZONE"


def native_value(column: Column, cell: str, sql_type: str) -> tuple[str, str] | None:
    """Give SQL for a typed cell's value and its text, or None to read it as text.

    Parameters
    ----------
    column : Column
        What it is to become.
    cell : str
        The cell in SQL.
    sql_type : str
        Its DuckDB type.
    """
    kind = column.kind
    text = f"CAST({cell} AS VARCHAR)"
    if sql_type in FLOAT or sql_type.startswith("DECIMAL"):
        plain = cell if sql_type in FLOAT else f"CAST({cell} AS DOUBLE)"
        return _from_float(kind, plain)
    if sql_type in WHOLE:
        return _from_whole(kind, cell), text
    if sql_type in MOMENTS:
        return _from_moment(column, cell), text
    if sql_type == "BOOLEAN" and kind in ("yes_no", *QUANTITIES):
        return cell if kind == "yes_no" else f"NULL::{column.sql_type}", text
    if sql_type == ZONED and kind in ("date", "datetime"):
        utc = f"strftime({cell} AT TIME ZONE 'UTC', '%Y-%m-%dT%H:%M:%SZ')"
        return f"NULL::{column.sql_type}", utc
    return None


def _from_whole(kind: str, cell: str) -> str:
    match kind:
        case "number":
            return f"CAST({cell} AS DOUBLE)"
        case "integer":
            return f"TRY_CAST({cell} AS BIGINT)"
        case "yes_no":
            return f"CASE {cell} WHEN 1 THEN TRUE WHEN 0 THEN FALSE END"
        case "date":
            return "NULL::DATE"
        case "datetime":
            return "NULL::TIMESTAMP"
        case _:
            return f"CAST({cell} AS VARCHAR)"


def _from_float(kind: str, cell: str) -> tuple[str, str]:
    # Not-a-number is how some programs write an empty cell; it is one here.
    value = f"CASE WHEN NOT isnan({cell}) THEN {cell} END"
    whole = f"CASE WHEN isfinite({cell}) AND {cell} = trunc({cell}) THEN"
    plain = f"coalesce({whole} CAST(TRY_CAST({cell} AS HUGEINT) AS VARCHAR) END, CAST({value} AS VARCHAR))"
    match kind:
        case "number":
            read = f"CASE WHEN isfinite({cell}) THEN CAST({cell} AS DOUBLE) END"
        case "integer":
            read = f"{whole} TRY_CAST({cell} AS BIGINT) END"
        case "yes_no" | "date" | "datetime":
            read = _from_whole(kind, cell)
        case _:
            read = plain
    return read, plain


def _from_moment(column: Column, cell: str) -> str:
    if column.kind in ("date", "datetime"):
        day = f"CAST({cell} AS {column.sql_type})"
        return f"CASE WHEN year({cell}) BETWEEN 1900 AND 2200 THEN {day} END"
    if column.kind in ("id", "label", "text"):
        return f"CAST({cell} AS VARCHAR)"
    return f"NULL::{column.sql_type}"
