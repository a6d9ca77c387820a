"""Measures the audit of many operators, on made-up courses of known risk.

    python tests/benchmarks/audit_sizes.py --courses 500000 --operators 200

Prints seconds for operators' figures, batches' figures, running series against given
limits and, with --calibrate, the limits of so many operators; and each as a multiple of
one pass that sorts the courses by operator.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from queen_outcomes.audit.batches import batch_rows
from queen_outcomes.audit.operators import operator_rows
from queen_outcomes.audit.running_series import (
    Baseline,
    SeriesLimits,
    baseline,
    series_rows,
)
from queen_outcomes.facts.settings import Plan
from queen_outcomes.models.closed import ClosedCourses
from queen_outcomes.models.risks import RiskModel
from scipy.special import expit

DEVIATIONS = {"graft_batch": 0.35, "semen_batch": 0.25}
GRAFT, LOAD = 30, 10


def made(courses: int, operators: int) -> ClosedCourses:
    """Make courses of one season, their batches shared by a few operators each."""
    rng = np.random.default_rng(1)
    number = np.arange(courses)
    graft, load = number // GRAFT, number // LOAD
    hands = (graft * 7 % operators + rng.integers(3, size=courses)) % operators
    risk = expit(rng.normal(-1.7, 0.6, courses))
    day = np.datetime64("2026-04-20") + (number * 90 // courses).astype(int)
    stamp = np.char.add(day.astype(str), "T10:00:00")
    values = {
        "course_id": np.char.zfill(number.astype(str), 9),
        "operator": np.char.add("op", hands.astype(str)),
        "year": np.full(courses, "2026"),
        "graft_batch": np.char.add("g", graft.astype(str)),
        "semen_batch": np.char.add("s", load.astype(str)),
        "operator_case": number.astype(float),
    }
    return ClosedCourses(
        question=("laying", 21),
        values=values,
        state=np.where(rng.random(courses) < risk, "no", "yes"),
        laid=np.zeros(courses, bool),
        d0=day,
        known_on=day + 28,
        inseminated_at=stamp,
        risk=risk,
    )


def timed(work) -> float:
    """Give the seconds that work takes."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--courses", type=int, default=500_000)
    parser.add_argument("--operators", type=int, default=200)
    parser.add_argument("--calibrate", type=int, default=0, help="operators to do")
    given = parser.parse_args()
    cases = made(given.courses, given.operators)
    none = np.zeros(1, int)
    model = RiskModel((), none, np.zeros(1), 0.0, DEVIATIONS, False, 0, 0)
    unit = timed(cases.by_operator)
    every = list(cases.by_operator().items())
    owned = every[: given.calibrate]
    fixed = SeriesLimits(2_500, 4.5, 4.5, 0.5, 300.0)

    def series() -> None:
        for name, rows in every:
            series_rows(name, cases.some(rows), Baseline(1, 0.0, fixed, fixed))

    parts = {
        "operators": lambda: operator_rows(cases, model, {}, 10),
        "batches": lambda: batch_rows(cases, DEVIATIONS),
        "running series": series,
    }

    def limits() -> None:
        for name, rows in owned:
            own = cases.some(rows)
            baseline(name, own, own, model, Plan())

    if owned:
        parts[f"limits of {len(owned)} operators"] = limits
    for name, work in parts.items():
        seconds = timed(work)
        print(f"{name:28} {seconds:8.1f} s {seconds / unit:8.0f} x one sort")


if __name__ == "__main__":
    main()
