"""Do groups begin to lay alike? A score test on days known only to intervals."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array

from queen_outcomes.stats.times.between_groups import (
    GroupScore,
    between_clusters,
    untested,
)
from queen_outcomes.stats.times.turnbull import fit_turnbull


def onset_score(after, by, or_never, group, clusters) -> GroupScore:
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
    GroupScore

    Notes
    -----
    With the pooled curve each course is taken to begin on its possible days in proportion
    to it, which gives beginnings :math:`d_{ij}` and courses still waiting :math:`r_{ij}`
    by set j of days; a group's score is :math:`\sum_j d_{gj} - d_j r_{gj} / r_j`, which
    with days known exactly is the log-rank test's observed less expected (Sun J. Stat Med
    1996;15:1387-1395). Its variance is that between clusters of
    :math:`\sum_j (z_i - r_{gj} / r_j)(d_{ij} - r_{ij} d_j / r_j)` (Lin DY, Wei LJ. J Am
    Stat Assoc 1989;84:1074-1078). Groups that are looked at on other days are compared alike as long as looks do not depend on
    laying. Both papers from memory.
    """
    group, clusters = np.asarray(group, int), np.asarray(clusters)
    names, code = np.unique(clusters, return_inverse=True)
    count, k = len(names), int(group.max(initial=-1)) + 1
    if k < 2:
        return untested(k, count, "fewer than two groups")
    fit = fit_turnbull(after, by, or_never)
    if fit.message:
        return untested(k, count, fit.message)
    mine = (np.arange(k) == group[:, None]).astype(float)
    seen = np.column_stack([after, by, np.asarray(or_never, bool)]).astype(float)
    # many are told by the same days: of a network's courses only some thousand differ
    kinds, alike = np.unique(seen, axis=0, return_inverse=True)
    alike = alike.ravel()
    of_kind = csr_array((np.ones(len(seen)), (alike, np.arange(len(seen)))))
    held = of_kind @ mine
    begins, waiting = _expected(fit, *kinds.T)
    begun = held.T @ begins.sum(axis=1)
    off, share = _off_and_share(begins, waiting, held)
    parts = mine * off.sum(axis=1)[alike, None] - (off @ share.T)[alike]
    sums = np.zeros((count, k))
    np.add.at(sums, code, parts)
    score = parts.sum(axis=0)
    return between_clusters(score, begun - score, sums)


def _expected(fit, after, by, or_never) -> tuple[np.ndarray, np.ndarray]:
    """Give expected beginnings, and courses still waiting, by set of days, (n, m)."""
    never = or_never.astype(bool) | np.isposinf(by)
    left, right = fit.support.T
    finite = np.isfinite(right)
    holds = (left >= after[:, None]) & (right <= by[:, None]) & finite
    holds |= never[:, None] & ~finite
    chance = holds * fit.mass
    # where rounding leaves a course no mass at all, its sets are as likely as each other
    none = ~(chance.sum(axis=1) > 0)
    chance[none] = holds[none]
    chance /= chance.sum(axis=1, keepdims=True)
    waiting = np.cumsum(chance[:, ::-1], axis=1)[:, ::-1]
    return chance[:, finite], waiting[:, finite]


def _off_and_share(begins, waiting, held) -> tuple[np.ndarray, np.ndarray]:
    """Give beginnings beyond those expected, (n, m), and the groups' shares of the waiting.

    ``held`` has the courses of each kind and group; shares are of shape (k, m).
    """
    many = held.sum(axis=1)
    total = many @ waiting
    some = total > 0
    begins, waiting, total = begins[:, some], waiting[:, some], total[some]
    rate = many @ begins / total
    return begins - waiting * rate, (held.T @ waiting) / total
