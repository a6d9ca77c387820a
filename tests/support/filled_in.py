"""Fills in the courses of a small derived station, as the build does before its models."""

from __future__ import annotations

from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.curves import histories_given
from queen_outcomes.outcomes.derive import count_rates
from queen_outcomes.outcomes.fills import fill_courses


def fill_station(store, settings: Settings) -> None:
    """Write what the curves' step leaves for models, audit and doses."""
    if not store.has("rates"):
        count_rates(store, settings)
    store.step("05_rates", "histories", histories_given())
    fill_courses(store, settings)
