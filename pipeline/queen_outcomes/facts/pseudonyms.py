"""Codes in the place of operators' names, for what leaves the station.

An operator's code follows the order in which operators first appear in the records, so it
stays the same when others join.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import polars as pl

from queen_outcomes.base.store import Store, quote
from queen_outcomes.facts import exports as contract

FIRST_SEEN = """
    SELECT operator FROM courses WHERE operator IS NOT NULL
    GROUP BY operator ORDER BY min(inseminated_at), operator
"""
AS_WRITTEN = {"quarantine": ("value", "message", "row"), "listed": ("value", "message")}
"""Columns that quote records, and so may hold a name anywhere: emptied."""
SPOKEN = ("model_fits", "model_coefficients", "adjusted", "contrasts", "changes")
"""Tables whose texts may name an operator among other words."""
LEVELS = ("rates", "onset_curves", "incidence", "model_groups")


def codes(store: Store) -> dict[str, str]:
    """Give every operator's code."""
    names = [name for (name,) in store.rows(FIRST_SEEN)]
    return {name: f"operator {number}" for number, name in enumerate(names, start=1)}


def masked(store: Store) -> Store:
    """Give a copy of the exported tables without operators' names.

    Parameters
    ----------
    store : Store
        A finished build; it is not changed.
    """
    known = codes(store)
    copy = Store()
    for name in contract.TABLES:
        frame = _masked(name, store.frame(f"SELECT * FROM {quote(name)}"), known)
        copy.con.register("unnamed", frame)
        copy.table(name, "SELECT * FROM unnamed")
        copy.con.unregister("unnamed")
    return copy


def _masked(name: str, frame: pl.DataFrame, known: Mapping[str, str]) -> pl.DataFrame:
    def code(column: str) -> pl.Expr:
        return pl.col(column).replace(known)

    if "operator" in frame.columns:
        frame = frame.with_columns(code("operator"))
    if "operators" in frame.columns:
        frame = frame.with_columns(
            pl.col("operators").list.eval(pl.element().replace(known))
        )
    if name in LEVELS:
        own = pl.col("grouping") == "operator"
        level = pl.when(own).then(code("level")).otherwise(pl.col("level"))
        frame = frame.with_columns(level.alias("level"))
    for column in AS_WRITTEN.get(name, ()):
        frame = frame.with_columns(pl.lit("").alias(column))
    return _unspoken(frame, known) if name in SPOKEN else frame


def _unspoken(frame: pl.DataFrame, known: Mapping[str, str]) -> pl.DataFrame:
    """Replace names that stand in texts among other words."""
    if not known:
        return frame
    longest_first = sorted(known, key=lambda name: (-len(name), name))
    pattern = re.compile(rf"(?<!\w)({'|'.join(map(re.escape, longest_first))})(?!\w)")
    texts = [name for name, kind in frame.schema.items() if kind == pl.String]
    return frame.with_columns(
        pl.col(text).map_elements(
            lambda said: pattern.sub(lambda found: known[found[0]], said),
            return_dtype=pl.String,
        )
        for text in texts
    )
