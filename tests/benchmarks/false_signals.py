"""How often the running series signal, over simulated stations.

    python tests/benchmarks/false_signals.py --stations 2000 --seed 1 --report FILE

Each station has two seasons of courses in graft and semen batches that several operators
share. The second season is followed; the first is what a risk model may be made from. Shares
are of operator-seasons, in the direction of more failures, at a setting of 0.01.
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from pathlib import Path

import numpy as np
from queen_outcomes.stats.logistic.mixed import fit_mixed
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.series.calibrate import calibrate
from queen_outcomes.stats.series.cusum import changed_risks, running_series
from queen_outcomes.stats.shares.shared_effects import SharedEffects, conditional_logits
from scipy.special import expit

SETTING = 0.01
OPERATORS, FOLLOWED = 6, 2
GRAFT, LOAD = 30, 9
DEVIATIONS = np.array([0.4, 0.3])
REPLICATES = 4_000
KINDS = (
    "known risks, independent courses",
    "known risks, batches, limits by batch",
    "known risks, batches, limits that ignore batches",
    "estimated risks, batches, limits by batch",
    "odds doubled, known risks, limits by batch",
    "odds doubled, what calibration foretold",
)


class Season:
    """Courses of one season: factors, batches, hands."""

    def __init__(self, rng: np.random.Generator, courses: int) -> None:
        self.x = np.column_stack([np.ones(courses), rng.normal(size=(courses, 2))])
        self.levels = np.column_stack(
            [np.arange(courses) // GRAFT, np.arange(courses) // LOAD]
        )
        self.operator = rng.integers(OPERATORS, size=courses)
        eta = self.x @ np.array([-1.7, 0.5, -0.4])
        self.risk = integrate_random(eta, np.sqrt(np.sum(DEVIATIONS**2)))[0]

    def failed(self, rng, deviations, change: float = 1.0) -> np.ndarray:
        """Draw the failures, with batches that deviate and odds that changed."""
        risk = changed_risks(self.risk, change)
        eta = conditional_logits(risk, np.sqrt(np.sum(deviations**2)))
        for level, deviation in zip(self.levels.T, deviations, strict=True):
            eta = eta + rng.normal(0, deviation, level.max() + 1)[level]
        return (rng.random(len(eta)) < expit(eta)).astype(float)


def estimated(earlier: Season, failed: np.ndarray, now: Season):
    """Fit the risk model on the season before; give risks and deviations, or None."""
    groups = dict(zip(("graft", "load"), earlier.levels.T, strict=True))
    found = fit_mixed(earlier.x, failed, groups)
    if not found.converged:
        return None
    deviations = np.array(list(found.theta_sd.values()))
    spread = np.sqrt(np.sum(deviations**2))
    return integrate_random(now.x @ found.beta, spread)[0], deviations


def follow(now: Season, rows, failed, risks, deviations, seed: int):
    """Tell whether an operator's season signals, and where; give the calibration."""
    shared = SharedEffects(now.levels[rows], deviations)
    limits = calibrate(
        risks[rows],
        shared,
        false_alarm_chance=SETTING,
        replicates=REPLICATES,
        seed=seed,
    )
    path = running_series(failed[rows], risks[rows], limit_worse=limits.worse.limit)
    at = np.flatnonzero(path.worse.signal)
    return (at[0] + 1 if len(at) else 0), limits


def one_station(seed: int) -> list[tuple[str, float, float]]:
    """Give (kind, signalled, courses to it) of the operators followed."""
    rng = np.random.default_rng([seed, 7])
    earlier, now = Season(rng, 720), Season(rng, 600)
    none = np.zeros(2)
    plain, batchy = now.failed(rng, none), now.failed(rng, DEVIATIONS)
    doubled = now.failed(rng, DEVIATIONS, 2.0)
    fitted = estimated(earlier, earlier.failed(rng, DEVIATIONS), now)
    found = []
    for operator in range(FOLLOWED):
        rows = np.flatnonzero(now.operator == operator)
        at = seed * OPERATORS + operator

        def told(kind, failed, risks, deviations, rows=rows, at=at):
            case, limits = follow(now, rows, failed, risks, deviations, at)
            found.append((kind, float(case > 0), float(case)))
            return limits

        told(KINDS[0], plain, now.risk, none)
        limits = told(KINDS[1], batchy, now.risk, DEVIATIONS)
        told(KINDS[2], batchy, now.risk, none)
        if fitted is not None:
            told(KINDS[3], batchy, *fitted)
        told(KINDS[4], doubled, now.risk, DEVIATIONS)
        worse = limits.worse
        found.append((KINDS[5], worse.detection, worse.median_courses))
    return found


def main() -> None:
    """Run the stations and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stations", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--report", type=Path)
    given = parser.parse_args()
    begin = time.perf_counter()
    rows = [
        row
        for station in range(given.stations)
        for row in one_station(given.seed * 1_000_000 + station)
    ]
    table = []
    for kind in KINDS:
        signalled = np.array([row[1] for row in rows if row[0] == kind])
        cases = np.array([row[2] for row in rows if row[0] == kind])
        share = signalled.mean()
        error = np.sqrt(share * (1 - share) / len(signalled))
        reached = cases[(cases > 0) & np.isfinite(cases)]
        median = np.median(reached) if len(reached) else np.nan
        table.append((kind, len(signalled), share, error, median))
    head = ("what", "operator_seasons", "signalled", "se", "median_courses_to_it")
    out = given.report.open("w", newline="") if given.report else sys.stdout
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(
        (kind, n, f"{share:.4f}", f"{error:.4f}", f"{median:.0f}")
        for kind, n, share, error, median in table
    )
    print(f"{time.perf_counter() - begin:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
