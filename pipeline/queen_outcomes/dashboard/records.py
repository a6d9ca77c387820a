"""What was read, what was set aside or quarantined, and what the records lack."""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base.store import Store, quote
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.dashboard.gap_warning import gap_warning
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings

MOST_EXAMPLES = 5
"""Rows shown of one reason; all of them stand in the tables."""

IN_SHORT = {
    "cells_missing": "too few cells",
    "cells_extra": "too many cells",
    "quote_open": "a quotation mark never closed",
    "id_missing": "an id is missing",
    "neither_id": "neither queen nor colony is named",
    "date_missing": "a day is missing",
    "date_unreadable": "a day that cannot be read",
    "in_the_future": "a day far in the future",
    "date_in_future": "a day far in the future",
    "key_twice": "one id in different rows",
    "no_queen_in_colony": "no queen in that colony on that day",
    "two_queens_in_colony": "two queens in that colony on that day",
    "impossible_pair": "two values that exclude each other",
    "unusual_pair": "two values that rarely go together",
    "after_as_of": "dated after the as-of day, and waiting for it",
    "look_alike": "names that differ only in how they are written",
    "semen_unknown": "semen without a row of its own",
    "flat_disagrees": "two tables that disagree",
    "derived_impossible": "an age that cannot be, from the dates",
    "derived_unusual": "an unusual age, from the dates",
    "sealed_contradicted": "no sealed brood, yet its pattern scored",
    "older_brood": "brood older than hers could be",
    "onset_conflict": "looks that disagree on when laying began",
    "later_exit": "a further exit",
    "after_end": "a check after she was gone",
}
"""Headings of the reasons whose name alone does not say what was found."""


def show(store: Store, settings: Settings, _as_of: dt.date) -> dict[str, Any]:
    """Give what the page `records.html` shows."""
    grouped = store.records(statement("reasons_found"), {"most": MOST_EXAMPLES})
    for row in grouped:
        row["told"] = IN_SHORT.get(row["reason"], row["reason"].replace("_", " "))
    return {
        "sources": store.records('SELECT * FROM sources ORDER BY source, "table"'),
        "quarantine": [row for row in grouped if row["kind"] == "quarantine"],
        "listed": [row for row in grouped if row["kind"] == "listed"],
        "coverage": coverage(store),
        "warning": gap_warning(store, settings.plan.question),
        "expectations": store.records(
            'SELECT * FROM expectations ORDER BY failed = 0, "table", expectation'
        ),
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
