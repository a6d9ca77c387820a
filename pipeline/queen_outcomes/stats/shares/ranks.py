"""Ranks of operators, with how uncertain they are.

Goldstein H, Spiegelhalter DJ. JRSS A 1996;159:385-443; Laird NM, Louis TA. J Educ Stat
1989;14:29-46; Lin R et al. Bayesian Analysis 2006;1:915-946.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, cholesky
from scipy.special import ndtr

DRAWS = 10_000
"""Draws from which the limits of ranks are read."""
AT_ONCE = 1_000_000
"""Draws times operators ranked at once."""
RIDGE = 1e-10
"""Share of the mean variance added where a covariance has no full rank."""


@dataclass(frozen=True)
class Ranks:
    """Ranks, 1 for the lowest value.

    Attributes
    ----------
    expected : ndarray, shape (K,)
        Posterior expected rank; they add up to K (K + 1) / 2.
    low, high : ndarray of int, shape (K,)
        Limits of each rank. Operators that nothing tells apart share theirs.
    """

    expected: np.ndarray
    low: np.ndarray
    high: np.ndarray


def expected_ranks(modes, covariance) -> np.ndarray:
    """Posterior expected ranks of jointly normal values; exact.

    Parameters
    ----------
    modes : array_like, shape (K,)
        Centre of each.
    covariance : array_like, shape (K, K) or (K,)
        Covariance, or variances of independent values.

    Returns
    -------
    ndarray, shape (K,)
        ``1 + sum over j of Phi((m_i - m_j) / sd(theta_i - theta_j))``; a half where two
        cannot differ.
    """
    modes, covariance = _prepared(modes, covariance)
    variance = np.diag(covariance)
    apart = variance[:, None] + variance - 2.0 * covariance
    sd = np.sqrt(np.maximum(apart, 0.0))
    gap = modes[:, None] - modes
    # without spread the gap alone decides
    place = np.where(gap > 0, np.inf, -np.inf)
    np.divide(gap, sd, out=place, where=sd > 0)
    return 0.5 + ndtr(np.where(gap == 0, 0.0, place)).sum(axis=1)


def rank_limits(
    modes, covariance, *, seed: int = 0, draws: int = DRAWS, level: float = 0.95
) -> Ranks:
    """Ranks of jointly normal values with their limits.

    Parameters
    ----------
    modes, covariance : array_like
        As for `expected_ranks`.
    seed : int
        Seed of the draws that give the limits.
    draws : int
        How many.
    level : float
        Coverage of the limits.

    Returns
    -------
    Ranks
        Limits are the smallest ranks with at least (1 - level) / 2 and (1 + level) / 2
        of the draws at or below.
    """
    modes, covariance = _prepared(modes, covariance)
    operators = len(modes)
    if not operators:
        return Ranks(np.empty(0), np.empty(0, int), np.empty(0, int))
    below = np.cumsum(_counted(modes, covariance, draws, seed), axis=2)
    tail = (1.0 - level) / 2
    low = (below[0] < tail * draws).sum(axis=1)
    high = (below[1] < (1.0 - tail) * draws).sum(axis=1)
    return Ranks(expected_ranks(modes, covariance), low, high)


def _counted(modes, covariance, draws: int, seed: int) -> np.ndarray:
    """How often each operator had each rank, ties low and high: (2, K, K + 1)."""
    root, operators = _root(covariance), len(modes)
    rng = np.random.default_rng(seed)
    rows = -(-AT_ONCE // operators)
    counts = np.zeros((2, operators * (operators + 1)), int)
    for start in range(0, draws, rows):
        size = min(rows, draws - start)
        drawn = modes + rng.standard_normal((size, operators)) @ root.T
        who = np.argsort(drawn, axis=1)
        for side, ranks in enumerate(_tied(np.take_along_axis(drawn, who, axis=1))):
            met = who * (operators + 1) + ranks
            counts[side] += np.bincount(met.ravel(), None, counts.shape[1])
    return counts.reshape(2, operators, operators + 1)


def _tied(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the ranks of rising values, ties low and high; those of one row where none tie."""
    size = values.shape[1]
    ranks = np.arange(1, size + 1)
    apart = values[:, 1:] > values[:, :-1]
    if apart.all():
        return ranks, ranks
    edge = np.ones((len(values), 1), bool)
    low = np.where(np.hstack([edge, apart]), ranks, 0)
    high = np.where(np.hstack([apart, edge]), ranks, size)
    from_above = np.minimum.accumulate(high[:, ::-1], axis=1)[:, ::-1]
    return np.maximum.accumulate(low, axis=1), from_above


def _prepared(modes, covariance) -> tuple[np.ndarray, np.ndarray]:
    covariance = np.asarray(covariance, float)
    if covariance.ndim == 1:
        covariance = np.diag(covariance)
    return np.asarray(modes, float), covariance


def _root(covariance: np.ndarray) -> np.ndarray:
    """Triangular root; one of low rank is lifted a little."""
    if not covariance.any():
        return np.zeros_like(covariance)
    try:
        return cholesky(covariance, lower=True)
    except LinAlgError:
        lift = RIDGE * np.trace(covariance) / len(covariance)
        return cholesky(covariance + lift * np.eye(len(covariance)), lower=True)
