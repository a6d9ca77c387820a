"""Fills in the courses of a small derived station and draws its curves, with no worker."""

from __future__ import annotations

from queen_outcomes.base.workers import Workers
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.curves import begin_curves
from queen_outcomes.outcomes.derive import count_rates
from queen_outcomes.outcomes.fills import begin_fills, write_fills
from queen_outcomes.outcomes.signs import histories_given, read_known


def fill_station(store, settings: Settings) -> None:
    """Write what the curves' step leaves for models, audit and doses."""
    if not store.has("rates"):
        count_rates(store, settings)
    store.step("05_rates", "histories", histories_given())
    fill_courses(store, settings)


def fill_courses(store, settings: Settings):
    """Write fills and give what is known of every course."""
    filling = begin_fills(read_known(store, settings), Workers(1))
    write_fills(store, settings, filling)
    return filling.known


def draw_curves(store, settings: Settings) -> None:
    """Write the curves and estimates, and put the estimates into rates."""
    begin_curves(store, settings, Workers(1))()
