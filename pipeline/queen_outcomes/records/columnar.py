"""Parquet files: typed columns taken as they are, without a detour over text.

Only brings the file into the build's store; what a type may be read as is decided
where the columns are cast.
"""

from __future__ import annotations

from pathlib import Path

import duckdb

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.records.header import unique

_ROW = "file_row_number"


def headings(store: Store, path: Path, name: str) -> list[str]:
    """Give a Parquet file's column names, in order.

    Raises
    ------
    RecordsError
        The file is empty, damaged, or not Parquet.
    """
    try:
        described = store.rows(f"DESCRIBE SELECT * FROM {_scan(path)}")
    except duckdb.Error as problem:
        raise _unreadable(name, problem) from None
    return [row[0] for row in described]


def land(store: Store, table: str, path: Path, name: str) -> None:
    """Show a Parquet file's rows as a view: source_line, then its columns.

    The file is read where it lies; only what becomes of its rows is written, so the view
    must go before the build ends.

    Raises
    ------
    RecordsError
        The file is damaged.
    """
    theirs = headings(store, path, name)
    renamed = ", ".join(
        f"{quote(old)} AS {quote(new)}"
        for old, new in zip(theirs, unique(theirs), strict=True)
    )
    try:
        store.execute(
            f"CREATE VIEW {quote(table)} AS "
            f"SELECT {_ROW} + 1 AS source_line, {renamed} "
            f"FROM {_scan(path, f', {_ROW} = true')}"
        )
    except duckdb.Error as problem:
        raise _unreadable(name, problem) from None


def _scan(path: Path, more: str = "") -> str:
    # One file is meant, whatever signs its name holds that elsewhere stand for many.
    plain = "".join(f"[{sign}]" if sign in "*?[" else sign for sign in str(path))
    return f"read_parquet({literal(plain)}, hive_partitioning = false{more})"


def _unreadable(name: str, problem: Exception) -> RecordsError:
    return RecordsError(
        "the Parquet file cannot be read",
        where=name,
        found=str(problem).splitlines()[0],
        hint="write it again, or move it out of the records",
    )
