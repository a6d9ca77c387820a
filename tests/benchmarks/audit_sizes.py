"""Measures the audit of many operators, on made-up courses of known risk.

    python tests/benchmarks/audit_sizes.py --courses 500000 --operators 200

Prints seconds for operators' figures, batches' figures, what operators cannot be told
apart from and, with --follow, the running series of so many courses; and each as a multiple
of one pass that sorts the courses by operator.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from queen_outcomes.audit.apart import Apart, apart_from
from queen_outcomes.audit.batches import batch_rows
from queen_outcomes.audit.operators import operator_rows
from queen_outcomes.audit.running_series import AuditSeason, running_series_of
from queen_outcomes.facts.settings import Settings
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
    lays = rng.random(courses) >= risk
    return ClosedCourses(
        question=("laying", 21),
        values=values,
        state=np.where(lays, "yes", "no"),
        laid=np.zeros(courses, bool),
        d0=day,
        known_on=day + 28,
        inseminated_at=stamp,
        risk=risk,
        answers=lays.astype(float)[None, :],
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
    parser.add_argument("--follow", type=int, default=0, help="courses of a season")
    given = parser.parse_args()
    cases = made(given.courses, given.operators)
    none = np.zeros(1, int)
    model = RiskModel((), none, np.zeros(1), 0.0, DEVIATIONS, False, 0, 0)
    unit = timed(cases.by_operator)
    apart = {name: Apart() for name in cases.by_operator()}
    parts = {
        "operators": lambda: operator_rows(cases, model, {}, 10, apart),
        "batches": lambda: batch_rows(cases, DEVIATIONS),
        "not told apart": lambda: apart_from(cases, model, ()),
    }
    if given.follow:
        season = AuditSeason("2026", made(given.follow, 20), Settings(), None)
        parts[f"series of {given.follow} courses"] = lambda: running_series_of(
            season, model, {}
        )
    for name, work in parts.items():
        seconds = timed(work)
        print(f"{name:28} {seconds:8.1f} s {seconds / unit:8.0f} x one sort")


if __name__ == "__main__":
    main()
