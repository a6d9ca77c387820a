"""Tails of a count, averaged over draws given which courses are independent."""

from __future__ import annotations

import numpy as np
from scipy.special import expit, ndtr

from queen_outcomes.stats.shares.batch_points import BatchPoints

FEW = 100
"""Courses up to which every draw's distribution is exact."""
NARROW = 25.0
"""Variance of the count below which a draw's distribution is exact, not expanded."""
FAR = 9.0
"""Standard deviations from the mean beyond which a count has no chance worth keeping."""
CELLS = 100_000
"""Draws times courses worked on at once: what the processor's cache holds."""
ROOT_2PI = np.sqrt(2.0 * np.pi)


def mixture_tails(
    logits: np.ndarray, points: BatchPoints, failures: int
) -> tuple[float, float]:
    """Both mid-P tails at a number of failures, averaged over the draws.

    Parameters
    ----------
    logits : ndarray, shape (n,)
        Log odds of each course where no batch deviates.
    points : BatchPoints
        Draws and their weights.
    failures : int
        0 to n.

    Returns
    -------
    tuple of float
        Chance of fewer and of more failures, each with half the chance of as many.
    """
    exact, moments = _given_draws(logits, points)
    tails = np.zeros(2)
    if exact.any():
        pmf = _exact(logits, points, exact)
        same = pmf[failures] / 2
        tails += pmf[:failures].sum() + same, pmf[failures + 1 :].sum() + same
    if not exact.all():
        weights = points.weights[~exact]
        tails += _expanded(len(logits), failures, moments[~exact], weights)
    below, above = np.minimum(tails, 1.0).tolist()
    return below, above


def _given_draws(
    logits: np.ndarray, points: BatchPoints
) -> tuple[np.ndarray, np.ndarray]:
    """Tell which draws are to be built exactly, and give all draws' cumulants if not all."""
    n, draws = len(logits), len(points.weights)
    if n <= FEW:
        return np.ones(draws, bool), np.empty((draws, 0))
    rows = max(1, CELLS // n)
    blocks = [slice(start, start + rows) for start in range(0, draws, rows)]
    moments = np.concatenate(
        [_cumulants(expit(logits + points.sums(block))) for block in blocks]
    )
    return moments[:, 1] < NARROW, moments


def _cumulants(chance: np.ndarray) -> np.ndarray:
    """First four cumulants of the count at each draw, shape (draws, 4)."""
    spread = chance * (1.0 - chance)
    second = spread.sum(axis=1)
    third = second - 2.0 * np.einsum("ij,ij->i", spread, chance)
    fourth = second - 6.0 * np.einsum("ij,ij->i", spread, spread)
    return np.column_stack([chance.sum(axis=1), second, third, fourth])


def _exact(logits: np.ndarray, points: BatchPoints, exact: np.ndarray) -> np.ndarray:
    """Build the distribution course by course, up to a count that no draw reaches."""
    chance = expit(logits + points.sums(np.flatnonzero(exact)))
    draws, n = chance.shape
    mean = chance.sum(axis=1)
    reach = mean + FAR * np.sqrt(mean) + 2 * FAR
    top = int(min(n, np.ceil(reach.max())))
    table = np.zeros((top + 1, draws))
    table[0] = points.weights[exact]
    for already, risk in enumerate(np.ascontiguousarray(chance.T)):
        met = table[: already + 2]  # more failures than courses so far have no chance
        moved = met * risk
        met -= moved
        met[1:] += moved[: len(met) - 1]
    return np.concatenate([table.sum(axis=1), np.zeros(n - top)])


def _expanded(
    n: int, failures: int, moments: np.ndarray, weights: np.ndarray
) -> tuple[float, float]:
    """Expand around the normal distribution, to the second order, from either side.

    Edgeworth's series at k + 1/2 with the variance lowered by 1/12, as sums of whole
    numbers ask for (Kolassa JE, McCullagh P. Annals of Statistics 1990;18:981-985).
    """
    mean, variance, third, fourth = moments.T
    sd = np.sqrt(variance - 1.0 / 12.0)
    skew, tail = third / sd**3, fourth / sd**4

    def at_most(count: int, mean: np.ndarray, skew: np.ndarray) -> float:
        if not 0 <= count < n:
            return float(weights.sum()) if count == n else 0.0
        chance = _edgeworth((count + 0.5 - mean) / sd, skew, tail)
        return float(np.clip(chance, 0.0, 1.0) @ weights)

    below = at_most(failures, mean, skew) + at_most(failures - 1, mean, skew)
    passed = n - failures
    above = at_most(passed, n - mean, -skew) + at_most(passed - 1, n - mean, -skew)
    return below / 2, above / 2


def _edgeworth(x: np.ndarray, skew: np.ndarray, tail: np.ndarray) -> np.ndarray:
    """Distribution function at x for given third and fourth standardised cumulants."""
    square = x * x
    bend = (10.0 - square) * square - 15.0
    bend *= -(skew**2) / 72.0
    bend += tail / 24.0 * (square - 3.0)
    bend *= x
    bend += skew / 6.0 * (square - 1.0)
    return ndtr(x) - np.exp(-0.5 * square) / ROOT_2PI * bend
