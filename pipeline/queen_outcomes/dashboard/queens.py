"""Find a queen, and see what her records say of her."""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes import resources
from queen_outcomes.dashboard import words
from queen_outcomes.settings import Settings
from queen_outcomes.store import Store


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `queens.html` shows: a card a course, and her looks."""
    del settings, as_of
    looks: dict[str, list[list[Any]]] = {}
    for course_id, *look in store.rows(
        resources.read("sql", "7_pages", "queen_looks.sql"),
        {"sources": words.source_names(store)},
    ):
        looks.setdefault(course_id, []).append(look)
    cards = store.records(resources.read("sql", "7_pages", "queen_cards.sql"))
    return {
        "count": len(cards),
        "cards": [_card(row, looks.get(row["course_id"], [])) for row in cards],
        "charts": {},
    }


def _card(row: dict[str, Any], looks: list[list[Any]]) -> dict[str, Any]:
    """Give one course as short keys; the page carries every course there is."""
    return {
        "id": row["course_id"],
        "d0": row["d0"].isoformat(),
        "by": row["operator"],
        "line": row["line"],
        "graft": row["graft_batch"],
        "semen": row["semen_batch"],
        "protocol": row["protocol"],
        "ul": row["dose_ul"],
        "onset": [row["onset_after"], row["onset_by"]],
        "end": [row["end_reason"], row["end_by"]] if row["end_reason"] else None,
        "outcomes": [
            [
                answer["outcome"],
                answer["window_days"],
                answer["state"],
                answer["closed"],
                answer["settled_by"],
            ]
            for answer in row["outcomes"]
        ],
        "looks": looks,
    }
