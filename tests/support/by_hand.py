"""One statement run on a few rows written by hand."""

from __future__ import annotations

from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store, quote

Rows = tuple[str, list[tuple]]
"""The columns of a table with their types, and its rows."""


def answers(
    folder: str, name: str, params: dict[str, Any] | None = None, **tables: Rows
):
    """Give the rows of a statement as tuples, in its order.

    Parameters
    ----------
    folder, name : str
        Of the file under ``sql/``, without its ending.
    params : dict, optional
    **tables : (columns, rows)
    """
    with Store(threads=1) as store:
        for table, (columns, rows) in tables.items():
            store.execute(f"CREATE TABLE {quote(table)} ({columns})")
            for row in rows:
                marks = ", ".join("?" * len(row))
                store.con.execute(
                    f"INSERT INTO {quote(table)} VALUES ({marks})", list(row)
                ).fetchall()
        return store.rows(resources.read("sql", folder, f"{name}.sql"), params)
