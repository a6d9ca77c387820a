"""Shares over filled-in courses, with limits for gaps, batches and few known courses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.histories.pooling import (
    MOST_UNSETTLED,
    freedom_with_gaps,
    unsettled_of,
)
from queen_outcomes.stats.tails import t_sf
from queen_outcomes.stats.times.curve_limits import logit_limits, wilson_limits


@dataclass(frozen=True)
class FilledShare:
    """A share with its 95 % limits, and which part of its variance the gaps make."""

    estimate: float
    low: float
    high: float
    unsettled: float


def filled_share(answers, clusters, known: int) -> FilledShare:
    """Give the share of yes among those at risk, over all fillings.

    Parameters
    ----------
    answers : ndarray, shape (m, n)
        1 yes, 0 no, nan not at risk, in each of m fillings.
    clusters : ndarray, shape (n,)
        Batch of each course.
    known : int
        Courses whose answer the records settle.

    Returns
    -------
    FilledShare
        nan throughout where nobody is at risk. Never narrower than Wilson's limits on
        the known courses over their design effect, nor than what the fillings span.

    Notes
    -----
    Variances within and between fillings by Rubin's rules, degrees of freedom by Barnard
    J, Rubin DB. Biometrika 1999;86:948-955 (from memory), batches less one being those of
    the whole data; the share is a ratio, its variance linearised over batches.
    """
    at_risk = np.isfinite(answers)
    size = at_risk.sum(axis=1)
    if not len(answers) or not size.all():
        return FilledShare(*[np.nan] * 4)
    yes = np.where(at_risk, answers, 0.0)
    each = yes.sum(axis=1) / size
    codes = np.unique(clusters, return_inverse=True)[1]
    if codes.max() == 0:  # of one batch every course stands for itself
        codes = np.arange(len(codes))
    groups = codes.max() + 1
    order = np.argsort(codes, kind="stable")
    off = (yes - at_risk * each[:, None])[:, order]
    sums = np.add.reduceat(
        off, np.searchsorted(codes[order], np.arange(groups)), axis=1
    )
    within = (sums**2).sum(axis=1) / size**2 * groups / max(groups - 1, 1)
    share, m = float(each.mean()), len(each)
    between = each.var(ddof=1) if m > 1 else 0.0
    total = float(within.mean() + (1 + 1 / m) * between)
    simple = float((each * (1 - each) / size).mean())
    unsettled = float(unsettled_of(between, total, m))
    low, high = logit_limits(
        share, np.sqrt(total), float(freedom_with_gaps(m, unsettled, groups - 1))
    )
    design = max(within.mean() / simple, 1.0) if simple > 0 else 1.0
    least, most = wilson_limits(share, known / design)
    # of few courses none may have said yes, which limits on the log odds never reach
    low, high = np.fmin(low, each.min()), np.fmax(high, each.max())
    return FilledShare(
        share, float(np.fmin(low, least)), float(np.fmax(high, most)), unsettled
    )


@dataclass(frozen=True)
class FilledDifference:
    """Shares of two groups of courses, and the P of there being no difference."""

    one: float
    other: float
    p: float


def filled_difference(answers, is_one, clusters) -> FilledDifference:
    """Compare the share of yes in some courses with that of the others.

    Parameters
    ----------
    answers : ndarray, shape (m, n)
        1 yes, 0 no, nan not at risk, in each of m fillings.
    is_one : ndarray of bool, shape (n,)
    clusters : ndarray, shape (n,)
        Batch of each course.

    Returns
    -------
    FilledDifference
        nan where one of the groups has nobody at risk; P nan where more than half of what
        the difference rests on is filled in.

    Notes
    -----
    Variances as in `filled_share`, of the difference of two ratios linearised over batches.
    """
    at_risk = np.isfinite(answers)
    sides = [at_risk & (is_one == side) for side in (True, False)]
    sizes = [side.sum(axis=1) for side in sides]
    if not len(answers) or not all(size.all() for size in sizes):
        return FilledDifference(*[np.nan] * 3)
    yes = np.where(at_risk, answers, 0.0)
    shares, off = [], np.zeros(answers.shape)
    for side, size, sign in zip(sides, sizes, (1, -1), strict=True):
        share = (yes * side).sum(axis=1) / size
        off += sign * side * (yes - share[:, None]) / size[:, None]
        shares.append(share)
    codes = np.unique(clusters, return_inverse=True)[1]
    if codes.max() == 0:
        codes = np.arange(len(codes))
    groups, m = codes.max() + 1, len(answers)
    sums = np.array([np.bincount(codes, row, groups) for row in off])
    within = float((sums**2).sum(axis=1).mean() * groups / max(groups - 1, 1))
    each = shares[0] - shares[1]
    between = float(each.var(ddof=1)) if m > 1 else 0.0
    total = within + (1 + 1 / m) * between
    unsettled = float(unsettled_of(between, total, m))
    p = np.nan
    if total > 0 and unsettled <= MOST_UNSETTLED:
        df = float(freedom_with_gaps(m, unsettled, groups - 1))
        p = float(2 * t_sf(abs(each.mean()) / np.sqrt(total), df))
    return FilledDifference(float(shares[0].mean()), float(shares[1].mean()), p)
