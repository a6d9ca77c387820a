"""Codes in the place of operators' names, for what leaves the station.

They are set once, in the store that a command reads, before anything is read, sorted or
drawn: an order by name would tell who is who. An operator's code follows the order in
which operators first appear in the records, so it stays the same when others join.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from queen_outcomes.base.store import Store, literal, quote

FIRST_SEEN = """
    SELECT operator FROM courses WHERE operator IS NOT NULL
    GROUP BY operator ORDER BY min(inseminated_at), operator
"""
AS_WRITTEN = {"quarantine": ("value", "message", "row"), "listed": ("value", "message")}
"""Columns that quote records, and so may hold a name anywhere: emptied."""
SPOKEN = (
    *("model_fits", "model_coefficients", "adjusted", "contrasts", "changes"),
    "attention",
)
"""Tables whose texts may name an operator among other words."""


def set_pseudonyms(store: Store) -> dict[str, str]:
    """Put codes in the place of operators' names in all that is read from now on.

    Parameters
    ----------
    store : Store
        A finished build. Its file is not changed: views of this connection hide the
        tables that name operators.

    Returns
    -------
    dict of str to str
        Every operator's name and code.
    """
    names = [name for (name,) in store.rows(FIRST_SEEN)]
    codes = {name: f"operator {number}" for number, name in enumerate(names, start=1)}
    if not codes:
        return codes
    pairs = ", ".join(f"{literal(name)}: {literal(codes[name])}" for name in names)
    store.execute(
        f"CREATE TEMP MACRO code_of(name) AS coalesce(MAP {{{pairs}}}[name], name)"
    )
    ((file,),) = store.rows("SELECT current_database()")
    for (table,) in store.rows("SELECT table_name FROM duckdb_tables() ORDER BY ALL"):
        hidden = _hidden(table, store.columns(table))
        if hidden:
            columns = ", ".join(
                f"{text} AS {quote(name)}" for name, text in hidden.items()
            )
            store.execute(
                f"CREATE TEMP VIEW {quote(table)} AS SELECT * REPLACE ({columns}) "
                f"FROM {quote(file)}.main.{quote(table)}"
            )
        if table in SPOKEN:
            _hide_spoken(store, table, codes)
    return codes


def _hidden(table: str, columns: Mapping[str, str]) -> dict[str, str]:
    """Give what stands in the place of each column that holds names by itself."""
    hidden = dict.fromkeys(AS_WRITTEN.get(table, ()), "''")
    if columns.get("operator") == "VARCHAR":
        hidden["operator"] = "code_of(operator)"
    if columns.get("operators") == "VARCHAR[]":  # elsewhere it is their number
        # put in order anew, since they stood in the order of the names
        coded = "list_transform(operators, lambda name: code_of(name))"
        hidden["operators"] = f"list_sort({coded})"
    if {"grouping", "level"} <= set(columns):
        hidden["level"] = (
            "CASE WHEN \"grouping\" = 'operator' THEN code_of(level) ELSE level END"
        )
    return hidden


def _hide_spoken(store: Store, table: str, codes: Mapping[str, str]) -> None:
    """Replace names that stand in texts among other words."""
    import polars as pl

    longest_first = sorted(codes, key=lambda name: (-len(name), name))
    pattern = re.compile(rf"(?<!\w)({'|'.join(map(re.escape, longest_first))})(?!\w)")
    frame = store.frame(f"SELECT * FROM {quote(table)}")
    texts = [name for name, kind in frame.schema.items() if kind == pl.String]
    frame = frame.with_columns(
        pl.col(text).map_elements(
            lambda said: pattern.sub(lambda name: codes[name[0]], said),
            return_dtype=pl.String,
        )
        for text in texts
    )
    store.con.register("unspoken", frame)
    store.execute(f"CREATE TEMP TABLE {quote(table)} AS SELECT * FROM unspoken")
    store.con.unregister("unspoken")
