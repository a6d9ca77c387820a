"""An operator's failure rate on the station's own mix of courses.

The operator's odds are the station's times exp(delta), with delta such that as many
failures are expected as there were; the adjusted rate is what the station's courses
would give at those odds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.special import expit, logit, ndtri

from queen_outcomes.stats.logistic.odds_shift import odds_shift
from queen_outcomes.stats.shares.poisson_binomial import (
    MANY,
    BatchPoints,
    Tails,
    batch_points,
    independent_counts,
    tails_given,
)
from queen_outcomes.stats.shares.shared_effects import (
    SharedEffects,
    conditional_logits,
    effect_columns,
)

POINTS = 256
"""Draws of the batches' deviations; limits are averages over them."""
POINTS_FOR_MANY = 128
"""Draws that do from `MANY` courses on: many batches average out by themselves."""
WIDEST = 60.0
"""Change of the log odds beyond which no limit is looked for."""
STEPS = 0.01, 2.0
"""Shortest and longest first step on the way to a limit, in log odds."""
CLOSE, CLOSER = 1e-5, 1e-7
"""Agreement of two readings of a limit's log odds; accuracy where readings fail."""
MOST_LOOKS = 8
"""Looks at the tails after which readings are given up."""
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
    delta = odds_shift(own, failures)
    low, high = _limits(_counter(own, failures, shared, seed), (1 - level) / 2)
    rates = (float(expit(whole + change).mean()) for change in (delta, low, high))
    return AdjustedRate(n, failures, expected, failures / expected, delta, *rates, "")


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
    """Gives the tails at the number of failures when all log odds are moved.

    Of each change they are worked out once. ``points`` are draws of the batches'
    deviations; None where courses share nothing.
    """

    logits: np.ndarray
    failures: int
    points: BatchPoints | None
    known: dict[float, Tails] = field(default_factory=dict)

    def at(self, change: float) -> Tails:
        """Give the tails with the log odds moved by `change`."""
        if change not in self.known:
            self.known[change] = self._tails(expit(self.logits + change))
        return self.known[change]

    def _tails(self, risks: np.ndarray) -> Tails:
        if self.points is None:
            return independent_counts(risks).tails(self.failures)
        spread = self.points.columns.total_deviation
        return tails_given(
            conditional_logits(risks, spread), self.points, self.failures
        )

    def deviation(self, change: float) -> float:
        """Give roughly by how much of the log odds a count strays by chance."""
        risks = expit(self.logits + change)
        steep = risks * (1.0 - risks)
        pull = 0.0 if self.points is None else self.points.columns.pull(steep)
        return float(np.sqrt(steep.sum() + np.sum(pull**2)) / steep.sum())


def _counter(
    logits: np.ndarray, failures: int, shared: SharedEffects | None, seed: int
) -> _Counter:
    columns = effect_columns(shared, len(logits))
    if columns.nothing_shared:
        return _Counter(logits, failures, None)
    draws = POINTS if len(logits) < MANY else POINTS_FOR_MANY
    points = batch_points(expit(logits), columns, seed, draws)
    return _Counter(logits, failures, points)


def _limits(counts: _Counter, tail: float) -> tuple[float, float]:
    """Changes of the log odds at which either mid-P tail is `tail`."""
    n, failures = len(counts.logits), counts.failures
    # half a failure from the edge gives a finite place to look from
    start = odds_shift(counts.logits, float(np.clip(failures, 0.5, n - 0.5)))
    step = float(np.clip(-ndtri(tail) * counts.deviation(start), *STEPS))
    low, high = -np.inf, np.inf
    if failures > 0:
        low = _crossing(lambda d: counts.at(d).above, tail, start, -step)
    if failures < n:
        high = _crossing(lambda d: counts.at(d).below, tail, start, step)
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
    # the start may lie beyond, as with batches alike in all courses
    while over(inner) <= 0:
        outer, inner, step = inner, inner - step, step + step
        if abs(step) > WIDEST:
            return -side * np.inf
    while over(outer) > 0:
        inner, outer, step = outer, outer + step, step + step
        if abs(step) > WIDEST:
            return side * np.inf
    return _between(over, inner, outer)


def _between(over: Callable[[float], float], inner: float, outer: float) -> float:
    """Find where a falling function is zero, by few looks at it.

    The place is read off a polynomial in the function's values through all that is known.
    A smooth function is met after two or three looks, and where two readings agree to
    `CLOSE` the later is nearer by orders of magnitude. Where a reading leaves what is
    known to enclose the zero, Brent's method goes on.
    """
    places, values = [inner, outer], [over(inner), over(outer)]
    read = np.inf
    while len(places) < MOST_LOOKS:
        before, read = read, _read_off(places, values)
        if not min(inner, outer) < read < max(inner, outer):
            break
        if abs(read - before) < CLOSE:
            return read
        value = over(read)
        if value in values:
            break
        places.append(read)
        values.append(value)
        inner, outer = (read, outer) if value > 0 else (inner, read)
    from scipy.optimize import brentq  # late, as `stats/tails.py` says

    return brentq(over, *sorted((inner, outer)), xtol=CLOSER)


def _read_off(places: list[float], values: list[float]) -> float:
    """Give the place of the value zero (Neville's scheme, places as a function of values)."""
    table = list(places)
    for gap in range(1, len(table)):
        for at in range(len(table) - gap):
            low, high = values[at], values[at + gap]
            table[at] = (high * table[at] - low * table[at + 1]) / (high - low)
    return table[0]
