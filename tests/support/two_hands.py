"""Eleven closed courses of two operators and of nobody, two of them undecided."""

from __future__ import annotations

import numpy as np
from closed_courses import closed_courses
from queen_outcomes.models.closed import ClosedCourses

DAY = np.datetime64("2026-06-01")
OPERATOR = np.array(["A", "A", "A", "A", "A", "B", "B", "B", "", "B", "A"])
FAILED = np.array([1, 0, 1, np.nan, 1, 1, 0, np.nan, 1, 1, 0])
LOAD = np.array(["s1", "s1", "s2", "s2", "", "s1", "s1", "s1", "s1", "", "s3"])
ON = np.array([0, 0, 1, 1, 2, 0, 0, 0, 0, 1, 40])


def two_hands(**columns) -> ClosedCourses:
    """Give the courses; columns in the place of their own."""
    n = len(OPERATOR)
    usual = {
        "course_id": np.char.zfill(np.arange(n).astype(str), 2),
        "operator": OPERATOR,
        "year": np.array(["2025"] + ["2026"] * (n - 1)),
        "graft_batch": np.full(n, "g1"),
        "semen_batch": LOAD,
        **columns,
    }
    return closed_courses(FAILED, np.arange(n) / 100 + 0.1, DAY + ON, **usual)
