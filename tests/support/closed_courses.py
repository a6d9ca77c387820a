"""Closed courses of laying by day 21, given by what became of them."""

from __future__ import annotations

import numpy as np
from queen_outcomes.models.closed import ClosedCourses


def closed_courses(failed, risk, d0, inseminated_at=None, **values) -> ClosedCourses:
    """Make closed courses from arrays of one length.

    ``failed`` is 1, 0 or NaN: undecided, and in the one filling not at risk; ``values`` are groups and running numbers by
    column, in the order of the ids.
    """
    failed = np.asarray(failed, float)
    states = np.where(failed > 0, "no", "yes")
    stamps = np.datetime_as_string(d0, unit="s")
    return ClosedCourses(
        ("laying", 21),
        values,
        np.where(np.isnan(failed), "undecided", states),
        np.zeros(len(failed), bool),
        d0,
        d0 + 28,
        stamps if inseminated_at is None else inseminated_at,
        np.asarray(risk, float),
        (1.0 - failed)[None, :],
    )
