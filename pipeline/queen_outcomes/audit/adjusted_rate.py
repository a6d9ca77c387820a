"""An operator's failure rate on the station's own mix of courses.

The operator's odds are the station's times exp(delta), with delta such that as many
failures are expected as there were; the adjusted rate is what the station's courses
would give at those odds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit, logit, ndtri

from queen_outcomes.audit.batch_points import BatchPoints, batch_points
from queen_outcomes.audit.poisson_binomial import (
    CountDistribution,
    counts_at,
    independent_counts,
)
from queen_outcomes.audit.shared_effects import SharedEffects, effect_columns

POINTS = 256
"""Draws of the batches' deviations; limits are averages over them."""
MANY, POINTS_FOR_MANY = 1_000, 128
"""Courses from which on fewer draws do: many batches average out by themselves."""
WIDEST = 60.0
"""Change of the log odds beyond which no limit is looked for."""
STEPS = 0.01, 2.0
"""Shortest and longest first step on the way to a limit, in log odds."""
CLOSE = 1e-5
"""Accuracy of a limit's log odds."""
SMALLEST, LARGEST = 1e-300, 1.0 - 1e-15
"""Tails taken for ones that underflow, or are rounded to all there is."""


@dataclass(frozen=True)
class AdjustedRate:
    """An operator's adjusted failure rate with limits.

    Attributes
    ----------
    courses, failures : int
        Decided courses of the operator, and failures among them.
    expected : float
        Failures that the station's average hand would have had with these courses.
    ratio : float
        Failures over expected; for this operator alone, ratios of several operators
        stand on different courses and cannot be ranked.
    delta : float
        Log of the odds ratio to the station; minus infinity without failures, plus
        infinity when all failed.
    adjusted, low, high : float
        Share of failures on the station's courses, with its limits. Without failures
        `adjusted` and `low` are 0, with failures only `adjusted` and `high` are 1; the
        other limit keeps its own tail, (1 - level) / 2.
    message : str
        Why there is no figure; empty when there is one. Figures are NaN then.
    """

    courses: int
    failures: int
    expected: float
    ratio: float
    delta: float
    adjusted: float
    low: float
    high: float
    message: str


def adjusted_rate(
    risks,
    failures: int,
    station_risks,
    *,
    shared: SharedEffects | None = None,
    seed: int = 0,
    level: float = 0.95,
) -> AdjustedRate:
    """Standardise an operator's failures to the station's courses.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Risk of failure of the operator's decided courses at the station's average hand,
        between 0 and 1 exclusive.
    failures : int
        How many of them failed.
    station_risks : array_like, shape (N,)
        The same risks of all decided courses of the station.
    shared : SharedEffects, optional
        Batches of the operator's courses; they widen the limits.
    seed : int
        Seed of the drawn batches.
    level : float
        Coverage of the limits.

    Returns
    -------
    AdjustedRate
        Limits are those changes of the odds at which the mid-P tail of the number of
        failures is (1 - level) / 2.
    """
    risks = np.asarray(risks, float).ravel()
    station = np.asarray(station_risks, float).ravel()
    n = len(risks)
    words = _fault(risks, failures, station)
    if words:
        blank = (np.nan,) * 6
        return AdjustedRate(n, failures, *blank, words)
    own, whole = logit(risks), logit(station)
    expected = float(risks.sum())
    delta = change_of_odds(own, failures)
    low, high = _limits(own, failures, (1 - level) / 2, _counter(own, shared, seed))
    rates = (float(expit(whole + change).mean()) for change in (delta, low, high))
    return AdjustedRate(n, failures, expected, failures / expected, delta, *rates, "")


def change_of_odds(logits: np.ndarray, failures: float) -> float:
    """Log odds ratio at which as many failures are expected as there were.

    Parameters
    ----------
    logits : ndarray, shape (n,)
        Log odds of failure of each course.
    failures : float
        Number of failures, 0 to n.

    Returns
    -------
    float
        Infinite when none or all failed.
    """
    if failures <= 0 or failures >= len(logits):
        return -np.inf if failures <= 0 else np.inf
    # every course's odds then lie on one side of the average's
    share = logit(failures / len(logits))
    low, high = share - logits.max() - 1e-6, share - logits.min() + 1e-6
    return brentq(lambda d: expit(logits + d).sum() - failures, low, high, xtol=1e-12)


def _fault(risks: np.ndarray, failures: int, station: np.ndarray) -> str:
    if not len(risks) or not len(station):
        return "there are no decided courses"
    both = np.concatenate([risks, station])
    if not ((both > 0) & (both < 1)).all():
        return "a risk is missing or does not lie between 0 and 1"
    if not 0 <= failures <= len(risks):
        return f"{failures} failures do not fit {len(risks)} courses"
    return ""


@dataclass(frozen=True)
class _Counter:
    """Gives the distribution of the number of failures when all log odds are moved.

    Of each change it is worked out once. ``points`` are draws of the batches' deviations;
    None where courses share nothing.
    """

    logits: np.ndarray
    points: BatchPoints | None
    known: dict[float, CountDistribution] = field(default_factory=dict)

    def at(self, change: float) -> CountDistribution:
        """Give the distribution with the log odds moved by `change`."""
        if change not in self.known:
            risks = expit(self.logits + change)
            self.known[change] = (
                counts_at(risks, self.points)
                if self.points
                else independent_counts(risks)
            )
        return self.known[change]

    def deviation(self, change: float) -> float:
        """Give roughly by how much of the log odds a count strays by chance."""
        counts = self.at(change)
        risks = expit(self.logits + change)
        return float(np.sqrt(counts.variance) / (risks * (1.0 - risks)).sum())


def _counter(logits: np.ndarray, shared: SharedEffects | None, seed: int) -> _Counter:
    columns = effect_columns(shared, len(logits))
    if columns.nothing_shared:
        return _Counter(logits, None)
    draws = POINTS if len(logits) < MANY else POINTS_FOR_MANY
    return _Counter(logits, batch_points(expit(logits), columns, seed, draws))


def _limits(
    logits: np.ndarray, failures: int, tail: float, counts: _Counter
) -> tuple[float, float]:
    """Changes of the log odds at which either mid-P tail is `tail`."""
    n = len(logits)
    # half a failure from the edge gives a finite place to look from
    start = change_of_odds(logits, float(np.clip(failures, 0.5, n - 0.5)))
    step = float(np.clip(-ndtri(tail) * counts.deviation(start), *STEPS))
    low, high = -np.inf, np.inf
    if failures > 0:
        low = _crossing(lambda d: counts.at(d).mid_upper(failures), tail, start, -step)
    if failures < n:
        high = _crossing(lambda d: counts.at(d).mid_lower(failures), tail, start, step)
    return low, high


def _crossing(
    chance: Callable[[float], float], tail: float, start: float, step: float
) -> float:
    """Go from `start` by steps until the tail is met; normal deviates are smooth.

    The tail falls in the step's direction. A limit further away than `WIDEST` is
    infinite.
    """

    def over(change: float) -> float:
        found = min(max(chance(change), SMALLEST), LARGEST)
        return float(ndtri(found) - ndtri(tail))

    side = np.sign(step)
    inner, outer = start, start + step
    while (
        over(inner) <= 0
    ):  # the start lies beyond, as with batches alike in all courses
        outer, inner, step = inner, inner - step, 2 * step
        if abs(step) > WIDEST:
            return -side * np.inf
    while over(outer) > 0:
        inner, outer, step = outer, outer + step, 2 * step
        if abs(step) > WIDEST:
            return side * np.inf
    return brentq(over, *sorted((inner, outer)), xtol=CLOSE)
