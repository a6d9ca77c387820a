"""The distribution of a count, averaged over draws given which courses are independent."""

from __future__ import annotations

import numpy as np
from scipy.special import expit, ndtr

from queen_outcomes.audit.batch_points import BatchPoints

FEW = 100
"""Courses up to which every draw's distribution is exact."""
NARROW = 25.0
"""Variance of the count below which a draw's distribution is exact, not expanded."""
FAR = 9.0
"""Standard deviations from the mean beyond which a count has no chance worth keeping."""
CELLS = 100_000
"""Draws times courses worked on at once: what the processor's cache holds."""
ROOT_2PI = np.sqrt(2.0 * np.pi)


def mixture_pmf(logits: np.ndarray, points: BatchPoints) -> np.ndarray:
    """Chance of 0 to n failures, averaged over the draws.

    Parameters
    ----------
    logits : ndarray, shape (n,)
        Log odds of each course where no batch deviates.
    points : BatchPoints
        Draws and their weights.

    Returns
    -------
    ndarray, shape (n + 1,)
    """
    n, draws = len(logits), len(points.weights)
    rows = max(1, CELLS // max(n, 1))
    blocks = [slice(start, start + rows) for start in range(0, draws, rows)]
    moments = np.concatenate(
        [_cumulants(expit(logits + points.sums(b))) for b in blocks]
    )
    exact = (moments[:, 1] < NARROW) | (n <= FEW)
    pmf = np.zeros(n + 1)
    if exact.any():
        chances = expit(logits + points.sums(np.flatnonzero(exact)))
        pmf += _exact(chances, points.weights[exact])
    if not exact.all():
        pmf += _expanded(n, moments[~exact], points.weights[~exact])
    return pmf / pmf.sum()


def _cumulants(chance: np.ndarray) -> np.ndarray:
    """First four cumulants of the count at each draw, shape (draws, 4)."""
    spread = chance * (1.0 - chance)
    second = spread.sum(axis=1)
    third = second - 2.0 * np.einsum("ij,ij->i", spread, chance)
    fourth = second - 6.0 * np.einsum("ij,ij->i", spread, spread)
    return np.column_stack([chance.sum(axis=1), second, third, fourth])


def _exact(chance: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Build the distribution course by course, up to a count that no draw reaches."""
    draws, n = chance.shape
    mean = chance.sum(axis=1)
    reach = mean + FAR * np.sqrt(mean) + 2 * FAR
    top = int(min(n, np.ceil(reach.max())))
    table = np.zeros((top + 1, draws))
    table[0] = weights
    for risk in np.ascontiguousarray(chance.T):
        moved = table * risk
        table -= moved
        table[1:] += moved[:-1]
    return np.concatenate([table.sum(axis=1), np.zeros(n - top)])


def _expanded(n: int, moments: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Expand around the normal distribution, to the second order.

    Edgeworth's series at k + 1/2 with the variance lowered by 1/12, as sums of whole
    numbers ask for (Kolassa JE, McCullagh P. Annals of Statistics 1990;18:981-985).
    """
    mean, variance, third, fourth = moments.T
    sd = np.sqrt(variance - 1.0 / 12.0)
    low = int(max(0, np.floor((mean - FAR * sd).min())))
    high = int(min(n, np.ceil((mean + FAR * sd).max())))
    mixed = np.empty(high - low + 1)
    rows = max(1, CELLS // len(mean))
    for start in range(low, high + 1, rows):
        counts = np.arange(start, min(start + rows, high + 1))
        x = (counts[:, None] + 0.5 - mean) / sd
        below = _edgeworth(x, third / sd**3, fourth / sd**4)
        mixed[counts - low] = np.einsum("ij,j->i", np.clip(below, 0.0, 1.0), weights)
    mixed[-1] = weights.sum()
    steps = np.diff(np.maximum.accumulate(mixed), prepend=0.0)
    return np.concatenate([np.zeros(low), steps, np.zeros(n - high)])


def _edgeworth(x: np.ndarray, skew: np.ndarray, tail: np.ndarray) -> np.ndarray:
    """Distribution function at x for given third and fourth standardised cumulants."""
    square = x * x
    bend = (10.0 - square) * square - 15.0
    bend *= -(skew**2) / 72.0
    bend += tail / 24.0 * (square - 3.0)
    bend *= x
    bend += skew / 6.0 * (square - 1.0)
    return ndtr(x) - np.exp(-0.5 * square) / ROOT_2PI * bend
