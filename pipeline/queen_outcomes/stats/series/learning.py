"""When a beginner's failures have become few: the learning-curve CUSUM.

Biau DJ, Porcher R. Stat Med 2010;29:1900-1909. It starts from "not yet competent" and
signals competence. Left to run it signals sooner or later whatever the failure rate, so
its limit is set from how many cases are to be watched.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from queen_outcomes.stats.series.cusum import REACHED, cusum_path

FINE = 1e-6
"""Accuracy of a limit."""
KEY = 1e10
"""Sums of weights equal to ten decimals are one state."""


@dataclass(frozen=True)
class LearningLimit:
    """Limit of a learning-curve CUSUM for some number of cases.

    Attributes
    ----------
    horizon : int
        Cases watched.
    limit : float
        A value at or above it says "competent"; infinite when so few cases cannot.
    false_chance : float
        Exact chance of that within the horizon at the inadequate failure rate.
    true_chance : float
        Exact chance of it at the adequate failure rate.
    message : str
        Why there is no limit; empty when there is one.
    """

    horizon: int
    limit: float
    false_chance: float
    true_chance: float
    message: str


@dataclass(frozen=True)
class LearningCurve:
    """A learning-curve CUSUM after each case.

    Attributes
    ----------
    value : ndarray, shape (n,)
        Goes on after the signal; an undecided case carries it on.
    competent_at : int or None
        Number of the case, from 1, that reached the limit first.
    """

    value: np.ndarray
    competent_at: int | None


def learning_weights(inadequate: float, adequate: float) -> tuple[float, float]:
    """Weights of a success and of a failure.

    Parameters
    ----------
    inadequate, adequate : float
        Failure rate of one who cannot do it yet, and of one who can; the latter lower.

    Returns
    -------
    tuple of float
        ``log((1 - a) / (1 - i))``, above 0, and ``log(a / i)``, below 0.
    """
    success = np.log1p(-adequate) - np.log1p(-inadequate)
    return float(success), float(np.log(adequate / inadequate))


def competence_chance(
    rate: float, inadequate: float, adequate: float, limit: float, cases: int
) -> np.ndarray:
    """Chance that competence was signalled by each case; exact.

    Parameters
    ----------
    rate : float
        True failure rate.
    inadequate, adequate, limit : float
        Of the CUSUM.
    cases : int
        How many.

    Returns
    -------
    ndarray, shape (cases,)
    """
    up, down = learning_weights(inadequate, adequate)
    return alike_signal_chance(up, down, 1.0 - rate, limit, cases)


@lru_cache
def learning_limit(
    inadequate: float, adequate: float, horizon: int, *, false_chance: float = 0.05
) -> LearningLimit:
    """Set the limit from the cases watched and the chance of a false "competent".

    Parameters
    ----------
    inadequate, adequate : float
        Failure rates told apart.
    horizon : int
        Cases watched.
    false_chance : float
        Largest chance of "competent" within the horizon at the inadequate rate.

    Returns
    -------
    LearningLimit
        The smallest limit, to `FINE`, that keeps the chance.
    """
    words = _fault(inadequate, adequate, horizon, false_chance)
    if words:
        return LearningLimit(horizon, np.nan, np.nan, np.nan, words)
    up, _ = learning_weights(inadequate, adequate)

    def false_at(limit: float) -> float:
        chance = competence_chance(inadequate, inadequate, adequate, limit, horizon)
        return float(chance[-1])

    low, high = 0.0, horizon * up
    if false_at(high) > false_chance:
        words = f"{horizon} cases are too few for a chance of {false_chance:g}"
        return LearningLimit(horizon, np.inf, 0.0, 0.0, words)
    while high - low > FINE:
        middle = (low + high) / 2
        if false_at(middle) > false_chance:
            low = middle
        else:
            high = middle
    true = competence_chance(adequate, inadequate, adequate, high, horizon)
    return LearningLimit(horizon, high, false_at(high), float(true[-1]), "")


def alike_signal_chance(
    up: float, down: float, chance_up: float, limit: float, cases: int
) -> np.ndarray:
    """Chance that there was a signal by each case, for cases all alike; exact.

    Parameters
    ----------
    up, down : float
        What the answer that raises the CUSUM adds, above 0; what the other adds, below.
    chance_up : float
        Chance of the former.
    limit : float
        Limit, above 0.
    cases : int
        How many.

    Returns
    -------
    ndarray, shape (cases,)
        By going through every sum of weights that can be reached.
    """
    values, chances = np.zeros(1), np.ones(1)
    signals = np.zeros(cases)
    for case in range(cases):
        moved = np.concatenate([values + up, np.maximum(values + down, 0.0)])
        mass = np.concatenate([chances * chance_up, chances * (1.0 - chance_up)])
        over = moved >= limit - REACHED
        signals[case] = mass[over].sum()
        keys = np.round(moved[~over] * KEY)
        _, first, place = np.unique(keys, return_index=True, return_inverse=True)
        values = moved[~over][first]
        chances = np.bincount(place, mass[~over], len(first))
    return np.cumsum(signals)


def learning_curve(
    failed, inadequate: float, adequate: float, limit: float
) -> LearningCurve:
    """Follow a beginner's cases.

    Parameters
    ----------
    failed : array_like, shape (n,)
        1 failed, 0 not, NaN undecided; in order.
    inadequate, adequate, limit : float
        Of the CUSUM.

    Returns
    -------
    LearningCurve
    """
    failed = np.asarray(failed, float)
    success, failure = learning_weights(inadequate, adequate)
    scores = np.where(failed > 0, failure, success)
    value = cusum_path(np.where(np.isnan(failed), np.nan, scores)).value
    reached = np.flatnonzero(value >= limit - REACHED)
    return LearningCurve(value, int(reached[0]) + 1 if len(reached) else None)


def _fault(inadequate, adequate, horizon, false_chance) -> str:
    if not 0 < adequate < inadequate < 1:
        return "the adequate failure rate has to be below the inadequate one"
    if horizon < 1:
        return "there are no cases to watch"
    if not 0 < false_chance < 1:
        return f"a chance of {false_chance} does not lie between 0 and 1"
    return ""
