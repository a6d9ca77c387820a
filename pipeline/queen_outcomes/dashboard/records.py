"""What was read, what was set aside or quarantined, and what the records lack."""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.records.dictionary import TABLES
from queen_outcomes.settings import Settings
from queen_outcomes.store import Store, quote

MOST_EXAMPLES = 5
"""Rows shown of one reason; all of them stand in the tables."""

GROUPED = """
    SELECT
        "table", reason, {severity} count(*) AS found,
        list({{'source': source, 'line': line, 'message': message}}
             ORDER BY source, line)[1:$most] AS examples
    FROM {table}
    GROUP BY ALL
    ORDER BY found DESC, "table", reason
"""


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `records.html` shows."""
    del settings, as_of
    most = {"most": MOST_EXAMPLES}
    return {
        "sources": store.records("SELECT * FROM sources ORDER BY source"),
        "quarantine": store.records(
            GROUPED.format(table="quarantine", severity=""), most
        ),
        "listed": sorted(
            store.records(GROUPED.format(table="listed", severity="severity,"), most),
            # what was set aside first, what only waits for its day last
            key=lambda row: (row["reason"] == "after_as_of", row["severity"] == "look"),
        ),
        "coverage": coverage(store),
        "expectations": store.records(
            'SELECT * FROM expectations ORDER BY failed = 0, "table", expectation'
        ),
        "charts": {},
    }


def coverage(store: Store) -> list[dict[str, Any]]:
    """Give, for each column, how many accepted rows hold a value in it."""
    found = []
    for table in TABLES.values():
        names = [column.name for column in table.columns if not column.flat]
        counts = ", ".join(f"count({quote(name)})" for name in names)
        ((rows, *filled),) = store.rows(
            f"SELECT count(*), {counts} FROM accepted_{table.name}"
        )
        if rows:
            found += [
                {"table": table.name, "column": name, "rows": rows, "filled": count}
                for name, count in zip(names, filled, strict=True)
            ]
    return found
