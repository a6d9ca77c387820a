"""What changed since the build before, from both builds' outcomes.

Reads the earlier build's exported table; without one nothing has changed.
"""

from __future__ import annotations

from pathlib import Path

from queen_outcomes.base.store import Store
from queen_outcomes.facts import exports as contract

EARLIER = "previous_outcomes"


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
    _take_over(store, earlier / "tables" / "outcomes.parquet" if earlier else None)
    store.step("04_outcomes", "changes", {})
    store.drop(EARLIER)
    return store.rows("SELECT count(*) FROM changes")[0][0]


def _take_over(store: Store, path: Path | None) -> None:
    import polars as pl

    names = {column.name for column in contract.TABLES["outcomes"].columns}
    readable = path is not None and path.is_file()
    # not by DuckDB itself: it would take a bracket in the path for a pattern
    frame = pl.read_parquet(path, glob=False) if readable else None
    if frame is None or not names <= set(frame.columns):
        store.table(EARLIER, "SELECT * FROM outcomes")
        return
    store.con.register("earlier_frame", frame)
    store.table(EARLIER, "SELECT * FROM earlier_frame")
    store.con.unregister("earlier_frame")
