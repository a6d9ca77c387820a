"""Ranks of operators, with how uncertain they are.

Goldstein H, Spiegelhalter DJ. JRSS A 1996;159:385-443; Laird NM, Louis TA. J Educ Stat
1989;14:29-46; Lin R et al. Bayesian Analysis 2006;1:915-946.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, cholesky
from scipy.stats import rankdata

DRAWS = 10_000
"""Draws from which the limits of ranks are read."""
AT_ONCE = 1_000_000
"""Draws times operators ranked at once."""
RIDGE = 1e-10
"""Share of the mean variance added where a covariance has no full rank."""


@dataclass(frozen=True)
class Ranks:
    """Limits of ranks, 1 for the lowest value.

    Attributes
    ----------
    low, high : ndarray of int, shape (K,)
        Operators that nothing tells apart share theirs.
    """

    low: np.ndarray
    high: np.ndarray


def rank_limits(modes, covariance) -> Ranks:
    """Give the 95 % limits of the ranks of jointly normal values.

    Parameters
    ----------
    modes : array_like, shape (K,)
        Centre of each.
    covariance : array_like, shape (K, K) or (K,)
        Covariance, or variances of independent values.

    Returns
    -------
    Ranks
        The smallest ranks with at least 2.5 and 97.5 % of `DRAWS` draws at or below.
    """
    modes, covariance = np.asarray(modes, float), np.asarray(covariance, float)
    if covariance.ndim == 1:
        covariance = np.diag(covariance)
    below = np.cumsum(_counted(modes, covariance), axis=2)
    low = (below[0] < 0.025 * DRAWS).sum(axis=1)
    high = (below[1] < 0.975 * DRAWS).sum(axis=1)
    return Ranks(low, high)


def _counted(modes, covariance) -> np.ndarray:
    """How often each operator had each rank, ties low and high: (2, K, K + 1)."""
    root, operators = _root(covariance), len(modes)
    rng = np.random.default_rng(0)
    rows = max(1, AT_ONCE // operators)
    counts = np.zeros((2, operators, operators + 1), int)
    for start in range(0, DRAWS, rows):
        size = min(rows, DRAWS - start)
        drawn = modes + rng.standard_normal((size, operators)) @ root.T
        for side, method in enumerate(("min", "max")):
            ranked = rankdata(drawn, method=method, axis=1).astype(int)
            for number, column in enumerate(ranked.T):
                counts[side, number] += np.bincount(column, None, operators + 1)
    return counts


def _root(covariance: np.ndarray) -> np.ndarray:
    """Triangular root; one of low rank is lifted a little."""
    if not covariance.any():
        return np.zeros_like(covariance)
    try:
        return cholesky(covariance, lower=True)
    except LinAlgError:
        lift = RIDGE * np.trace(covariance) / len(covariance)
        return cholesky(covariance + lift * np.eye(len(covariance)), lower=True)
