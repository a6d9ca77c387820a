"""Groups compared by a score: the spread between clusters, and F for few of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.tails import f_sf

FEWEST_BEYOND = 5
"""Clusters beyond the groups compared that a P needs."""


@dataclass(frozen=True)
class GroupScore:
    """What a test of groups gives.

    Attributes
    ----------
    score : ndarray, shape (k,)
        Events of each group beyond those expected were all groups alike; sums to 0.
    expected : ndarray, shape (k,)
        Those expected; NaN where it was not got so far.
    statistic : float
        F, on ``groups - 1`` and ``clusters - groups + 1`` degrees of freedom.
    p : float
    clusters : int
    message : str
        Why there is no P; empty when there is.
    """

    score: np.ndarray
    expected: np.ndarray
    statistic: float
    p: float
    clusters: int
    message: str = ""


def untested(k: int, clusters: int, why: str) -> GroupScore:
    """Give no P, and the reason."""
    none = np.full(k, np.nan)
    return GroupScore(none, none, np.nan, np.nan, clusters, why)


def too_few(k: int, clusters: int) -> str:
    """Say that there are too few clusters for a P; empty: there are enough."""
    if clusters - k + 1 >= FEWEST_BEYOND:
        return ""
    return f"{clusters} batches are too few to compare {k} groups between"


def between_clusters(
    score: np.ndarray, expected: np.ndarray, parts: np.ndarray
) -> GroupScore:
    """Test a score by what each cluster adds to it.

    Parameters
    ----------
    score, expected : ndarray, shape (k,)
    parts : ndarray, shape (clusters, k)

    Returns
    -------
    GroupScore

    Notes
    -----
    F by Hotelling's T squared (Ann Math Stat 1931;2:360-378; from memory), as clusters are
    few.
    """
    count, k = parts.shape
    df, below = k - 1, count - k + 1
    some = parts[:, :-1]
    spread = some.T @ some
    why = too_few(k, count)
    if not why and np.linalg.matrix_rank(spread, hermitian=True) < df:
        why = "all courses of a group are told alike"
    if why:
        return GroupScore(score, expected, np.nan, np.nan, count, why)
    square = float(score[:-1] @ np.linalg.solve(spread, score[:-1]))
    statistic = below / df * square / max(count - square, 1e-12)
    p = float(f_sf(statistic, df, below))
    return GroupScore(score, expected, statistic, p, count)
