"""Small stations whose technique is audited, and the page drawn from them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any
from unittest.mock import patch

from modelled import LAYING, modelled
from queen_outcomes.audit.results import audit_station
from queen_outcomes.dashboard import site
from queen_outcomes.dashboard.operators import page as operators
from queen_outcomes.facts.settings import Settings

DAY = dt.date(2026, 10, 1)


def audited(made: list[dict], settings: Settings = LAYING, shuffle: int = 0):
    """Derive, model and audit a station; give the store.

    Limits of running series are simulated more coarsely than in a build.
    """
    store = modelled(made, shuffle, settings)
    with patch("queen_outcomes.audit.running_series.REPLICATES", 2_000):
        audit_station(store, settings)
    return store


def page_of(store, settings: Settings = LAYING) -> tuple[dict[str, Any], str]:
    """Give what the operators' page is handed, and its text."""
    page = operators.show(store, settings, DAY)
    common = {
        "station": "S",
        "as_of": DAY,
        "version": "0",
        "menu": [],
        "min_shown": settings.min_shown,
        "here": "operators.html",
        "title": "Operators",
    }
    return page, site.rendered("operators", {**common, **page})


def told(store, table: str, **where) -> list[dict]:
    """Give the rows of laying, or of a table without outcomes, that match."""
    rows = store.records(f'SELECT * FROM "{table}" ORDER BY ALL')
    if rows and "outcome" in rows[0]:
        where = {"outcome": "laying", **where}
    return [
        row for row in rows if all(row[key] == value for key, value in where.items())
    ]


def with_prior(**cases: int) -> Settings:
    """Give settings in which operators did cases before the first record."""
    return replace(LAYING, prior_cases=cases)
