"""Do groups begin to lay alike? A score test on days known only to intervals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.tails import f_sf
from queen_outcomes.stats.times.turnbull import fit_turnbull

FEWEST_BEYOND = 5
"""Clusters beyond the groups compared that a P needs."""


@dataclass(frozen=True)
class OnsetScore:
    """What a test of groups gives.

    Attributes
    ----------
    score : ndarray, shape (k,)
        Beginnings of each group beyond those expected were all groups alike; sums to 0.
    statistic : float
        F, on ``groups - 1`` and ``clusters - groups + 1`` degrees of freedom.
    p : float
    clusters : int
    message : str
        Why there is no P; empty when there is.
    """

    score: np.ndarray
    statistic: float
    p: float
    clusters: int
    message: str = ""


def onset_score(after, by, or_never, group, clusters) -> OnsetScore:
    r"""Test whether groups begin to lay alike.

    Parameters
    ----------
    after, by, or_never : array_like, shape (n,)
        As in `fit_turnbull`.
    group : array_like of int, shape (n,)
        0 .. k - 1.
    clusters : array_like of int, shape (n,)
        What shares its fate, and may hold several groups.

    Returns
    -------
    OnsetScore

    Notes
    -----
    With the pooled curve each course is taken to begin on its possible days in proportion
    to it, which gives beginnings :math:`d_{ij}` and courses still waiting :math:`r_{ij}`
    by set j of days; a group's score is :math:`\sum_j d_{gj} - d_j r_{gj} / r_j`, which
    with days known exactly is the log-rank test's observed less expected (Sun J. Stat Med
    1996;15:1387-1395). Its variance is that between clusters of
    :math:`\sum_j (z_i - r_{gj} / r_j)(d_{ij} - r_{ij} d_j / r_j)` (Lin DY, Wei LJ. J Am
    Stat Assoc 1989;84:1074-1078), F by Hotelling's T squared for few clusters. Groups
    that are looked at on other days are compared alike as long as looks do not depend on
    laying. Both papers from memory.
    """
    group, clusters = np.asarray(group, int), np.asarray(clusters)
    names, code = np.unique(clusters, return_inverse=True)
    count, k = len(names), int(group.max(initial=-1)) + 1
    none = np.full(k, np.nan)
    if k < 2:
        return OnsetScore(none, np.nan, np.nan, count, "fewer than two groups")
    fit = fit_turnbull(after, by, or_never)
    if fit.message:
        return OnsetScore(none, np.nan, np.nan, count, fit.message)
    mine = (np.arange(k) == group[:, None]).astype(float)
    begins, waiting = _expected(fit, after, by, or_never)
    parts = _parts(begins, waiting, mine)
    score = parts.sum(axis=0)
    sums = np.zeros((count, k))
    np.add.at(sums, code, parts)
    df, below = k - 1, count - k + 1
    if below < FEWEST_BEYOND:
        why = f"{count} batches are too few to compare {k} groups between"
        return OnsetScore(score, np.nan, np.nan, count, why)
    some = sums[:, :-1]
    spread = some.T @ some
    if np.linalg.matrix_rank(spread, hermitian=True) < df:
        why = "all courses of a group are told alike"
        return OnsetScore(score, np.nan, np.nan, count, why)
    square = float(score[:-1] @ np.linalg.solve(spread, score[:-1]))
    statistic = below / df * square / max(count - square, 1e-12)
    return OnsetScore(score, statistic, float(f_sf(statistic, df, below)), count)


def _expected(fit, after, by, or_never) -> tuple[np.ndarray, np.ndarray]:
    """Give expected beginnings, and courses still waiting, by set of days, (n, m)."""
    after, by = np.asarray(after, float), np.asarray(by, float)
    never = np.asarray(or_never, bool) | np.isposinf(by)
    left, right = fit.support.T
    finite = np.isfinite(right)
    holds = (left >= after[:, None]) & (right <= by[:, None]) & finite
    holds |= never[:, None] & ~finite
    chance = holds * fit.mass
    # where rounding leaves a course no mass at all, its sets are as likely as each other
    none = ~(chance.sum(axis=1) > 0)
    chance[none] = holds[none]
    chance /= chance.sum(axis=1, keepdims=True)
    begins, backwards = chance[:, finite], chance[:, ::-1]
    np.cumsum(backwards, axis=1, out=backwards)  # in place: a network has many courses
    return begins, chance[:, finite]


def _parts(begins, waiting, mine) -> np.ndarray:
    """Give each course's part in each group's score, (n, k); ``waiting`` is used up."""
    total = waiting.sum(axis=0)
    some = total > 0
    if not some.all():
        begins, waiting, total = begins[:, some], waiting[:, some], total[some]
    rate = begins.sum(axis=0) / total
    share = (mine.T @ waiting) / total
    waiting *= rate
    off = np.subtract(begins, waiting, out=waiting)
    return mine * off.sum(axis=1, keepdims=True) - off @ share.T
