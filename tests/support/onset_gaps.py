"""The onset model of a station's arrays, with some values of its factors taken away."""

from __future__ import annotations

import numpy as np
from onset_records import SETTINGS, queens, station
from queen_outcomes.models.closed import read_factors
from queen_outcomes.models.onset_model import fit_station
from queen_outcomes.models.onset_results import read_seen
from queen_outcomes.models.questions import main_terms


def courses_of(n: int):
    """Give every course's factors, and what is known of its onset."""
    store = station(queens(n))
    values = read_factors(store, {})
    return values, read_seen(store, values["course_id"])


def fitted(values, seen, form=None):
    terms, always = main_terms(SETTINGS), SETTINGS.models.adjust_for
    return fit_station(values, seen, terms, always, 21, form)


def without(values, gaps: dict):
    """Take away some values of some factors."""
    gone = {}
    for name, gap in gaps.items():
        nothing = np.nan if values[name].dtype.kind == "f" else ""
        gone[name] = np.where(gap, nothing, values[name])
    return {**values, **gone}


def of_laying(courses, seed: int = 3):
    """Take the dose from every second course not known to have laid; lines at random."""
    values, seen = courses
    draw = np.random.default_rng(seed)
    n = len(seen.after)
    lost = ~seen.laid & (draw.random(n) < 0.5)
    return without(values, {"dose": lost, "line": draw.random(n) < 0.15})
