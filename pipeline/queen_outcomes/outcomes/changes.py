"""What changed since the build before, from both builds' outcomes.

Reads the earlier build's exported table; without one nothing has changed.
"""

from __future__ import annotations

from pathlib import Path

from queen_outcomes.base import folders
from queen_outcomes.base.store import Store
from queen_outcomes.facts import exports as contract


def compare(store: Store, earlier: Path | None) -> int:
    """Write the table ``changes``.

    Parameters
    ----------
    store : Store
        Holds this build's outcomes.
    earlier : Path or None
        The folder of the build before.

    Returns
    -------
    int
        How many outcomes changed.
    """
    before = take_over(store, "outcomes", earlier)
    store.step("04_outcomes", "changes", {})
    store.drop(before)
    return store.rows("SELECT count(*) FROM changes")[0][0]


def take_over(store: Store, table: str, earlier: Path | None) -> str:
    """Take a table of the build before into this one; give its name here.

    Where there is none, or one of other columns, this build's own stands for it: then
    nothing has changed.
    """
    import polars as pl

    name = f"previous_{table}"
    path = earlier / folders.TABLES / f"{table}.parquet" if earlier else None
    promised = {column.name for column in contract.TABLES[table].columns}
    readable = path is not None and path.is_file()
    # not by DuckDB itself: it would take a bracket in the path for a pattern
    frame = pl.read_parquet(path, glob=False) if readable else None
    if frame is None or not promised <= set(frame.columns):
        store.table(name, f"SELECT * FROM {table}")
        return name
    with store.lent("earlier_frame", frame):
        store.table(name, "SELECT * FROM earlier_frame")
    return name
