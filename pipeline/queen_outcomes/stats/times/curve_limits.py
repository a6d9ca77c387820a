"""Limits of a curve of shares when the courses of one batch share their fate.

Leaves a batch, or one of some fifty parts of very many batches, out at a time, and turns
the spread into 95 % limits on the logit scale. Knows nothing of what the curve is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit, ndtri, stdtrit

from queen_outcomes.stats.times.turnbull import (
    fit_turnbull,
    fit_weighted_many,
    share_by,
)

MOST_PARTS = 50
"""Parts of about as many batches each that are left out in turn, where there are more
batches: further parts would make limits hardly steadier, and each takes a fit."""


@dataclass(frozen=True)
class CurveLimits:
    """A curve with its 95 % limits.

    Attributes
    ----------
    days, estimate, low, high, se : ndarray, shape (k,)
    batches : int
        Clusters that the limits stand on.
    method : str
        In words, how the limits were found.
    """

    days: np.ndarray
    estimate: np.ndarray
    low: np.ndarray
    high: np.ndarray
    se: np.ndarray
    batches: int
    method: str


def batch_limits(after, by, or_never, *, clusters, days, seed: int) -> CurveLimits:
    """Laying by day, with limits that allow for batches.

    The jackknife that leaves one cluster out, or one of `MOST_PARTS` parts of the
    clusters, by lot; the standard error is carried to the logit scale and multiplied by
    the 97.5 % point of t with parts - 1 degrees of freedom.

    Parameters
    ----------
    after, by, or_never
        As in `turnbull.fit_turnbull`.
    clusters : array_like, shape (n,)
        Batch of each course. With a single batch every course stands for itself, and
        one at a time is left out.
    days : array_like, shape (k,)
    seed : int
        Of the lot; the same seed gives the same limits.

    Returns
    -------
    CurveLimits
        nan throughout where there is no fit. Where the share is 0 or 1 or does not
        vary, Wilson's limits on the courses settled by that day.

    Notes
    -----
    Parts instead of single clusters: Kott PS, J Off Stat 2001;17:521-526 (from memory).
    In 300 simulated stations each of 20, 40 and 60 batches of 2 to 12 courses, and of 130
    of 12 to 20 (share 0.77, intercept deviation 0.5, looks 4 to 14 days apart), these
    covered 90 to 96 % on days 10 to 45, and a bootstrap over clusters, which takes six
    times as long, the same within 2 points; with 5, 10 and 16 batches 95 to 96 %. Limits on
    the complementary log-log scale covered a point less or as much. Of one batch of 12
    to 40 courses these covered 93 to 99 %, and the bootstrap 93 to 97 %.
    """
    days = np.atleast_1d(np.asarray(days, float))
    after, by = np.asarray(after, float), np.asarray(by, float)
    fit = fit_turnbull(after, by, or_never)
    if not len(fit.support):
        none = np.full(len(days), np.nan)
        return CurveLimits(days, none, none, none, none, 0, fit.message)
    # numbered by name, so that the order of the rows does not matter
    codes = np.unique(np.asarray(clusters), return_inverse=True)[1].ravel()
    groups = int(codes.max()) + 1
    if groups == 1:
        groups, how = len(after), "jackknife over {} courses of one batch"
        se = _deviation_alone(after, by, or_never, days)
        parts = groups
    else:
        how, part = "jackknife over {} batches", by_lot(groups, seed)
        parts = int(part.max()) + 1
        if parts < groups:
            how += f" in {parts} parts"
        less = 1 - np.eye(parts, dtype=int)
        many = fit_weighted_many(after, by, or_never, less, part[codes])
        se = _jackknife(share_by(many, days), np.ones(parts))
    estimate = share_by(fit, days)
    settled = ((by[:, None] <= days) | (after[:, None] >= days)).sum(axis=0)
    low, high = share_limits(estimate, se, settled, parts - 1)
    return CurveLimits(days, estimate, low, high, se, groups, how.format(groups))


def logit_limits(estimate, se, freedom) -> tuple[np.ndarray, np.ndarray]:
    r"""95 % limits of shares, symmetric in the log odds.

    .. math:: \mathrm{expit}(\mathrm{logit}(p) \pm t_{0.975} \, s / (p (1 - p)))

    Parameters
    ----------
    estimate, se : array_like, shape (...)
    freedom : float
        Degrees of freedom of t; inf gives the normal.

    Returns
    -------
    low, high : ndarray, shape (...)
        Equal to the estimate where it is 0 or 1; nan without degrees of freedom.
    """
    estimate, se = np.asarray(estimate, float), np.asarray(se, float)
    inside = (estimate > 0) & (estimate < 1)
    share = np.where(inside, estimate, 0.5)
    multiple = stdtrit(freedom, 0.975) if freedom > 0 else np.nan
    reach = multiple * se / (share * (1.0 - share))
    low = np.where(inside, expit(logit(share) - reach), estimate)
    high = np.where(inside, expit(logit(share) + reach), estimate)
    return low, high


def share_limits(share, se, known, freedom) -> tuple[np.ndarray, np.ndarray]:
    """95 % limits of a curve of shares, also where it does not vary.

    Parameters
    ----------
    share, se : array_like, shape (...)
    known : array_like, shape (...)
        Courses whose state is known, for Wilson's limits where the share is 0 or 1, or
        does not vary between batches, or there is one.
    freedom : float
        Degrees of freedom of t elsewhere.

    Returns
    -------
    low, high : ndarray, shape (...)
    """
    share, se = np.asarray(share, float), np.asarray(se, float)
    low, high = logit_limits(share, se, freedom)
    flat = ~(se > 1e-12) | (share <= 0) | (share >= 1) | (freedom < 1)
    wilson = wilson_limits(np.clip(share, 0.0, 1.0), known)
    return np.where(flat, wilson[0], low), np.where(flat, wilson[1], high)


def wilson_limits(share, of) -> tuple[np.ndarray, np.ndarray]:
    """Wilson's 95 % limits of a share of ``of`` courses; 0 to 1 where there are none."""
    share, of = np.asarray(share, float), np.asarray(of, float)
    z2 = ndtri(0.975) ** 2
    count = np.where(of > 0, of, 1.0)
    middle = (share + z2 / (2.0 * count)) / (1.0 + z2 / count)
    root = np.sqrt(share * (1.0 - share) * z2 / count + (z2 / (2.0 * count)) ** 2)
    reach = root / (1.0 + z2 / count)
    low, high = np.clip(middle - reach, 0.0, 1.0), np.clip(middle + reach, 0.0, 1.0)
    return np.where(of > 0, low, 0.0), np.where(of > 0, high, 1.0)


def by_lot(groups: int, seed: int) -> np.ndarray:
    """Give the part of each batch, shape (groups,): its own, or one of `MOST_PARTS`.

    Parts hold as many batches, or one more.
    """
    if groups <= MOST_PARTS:
        return np.arange(groups)
    return np.random.default_rng(seed).permutation(groups) % MOST_PARTS


def _deviation_alone(after, by, or_never, days) -> np.ndarray:
    """Leave out one course at a time, shape (k,); courses known alike are one refit."""
    sets = np.column_stack([after, by, np.asarray(or_never, bool)])
    alike, times = np.unique(sets, axis=0, return_counts=True)
    less = times - np.eye(len(times), dtype=int)
    many = fit_weighted_many(alike[:, 0], alike[:, 1], alike[:, 2] > 0, less)
    return _jackknife(share_by(many, days), times)


def _jackknife(shares, times) -> np.ndarray:
    """Standard error of a curve from its refits, each for so many left out, (k,)."""
    fitted = np.isfinite(shares).all(axis=1)
    shares, times = shares[fitted], times[fitted]
    count = times.sum()
    if count < 2:
        return np.full(shares.shape[1], np.nan)
    off = shares - times @ shares / count
    return np.sqrt((count - 1) / count * (times @ off**2))
