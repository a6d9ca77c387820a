"""Limits of curves of competing events, and who is known by each day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.times.curve_limits import share_limits


@dataclass(frozen=True)
class Curves:
    """Shares by day, with 95 % limits.

    Attributes
    ----------
    days : ndarray, shape (k,)
    estimate, se, low, high : ndarray, shape (states or causes, k)
        Where the estimate is 0 or 1 or does not vary between batches, the limits are
        Wilson's on the ``known`` courses.
    known : ndarray of int, shape (k,)
        Courses whose state on the day is known: under observation, or past their end.
    clusters : int
        Clusters that the standard errors, by the infinitesimal jackknife, stand on.
    """

    days: np.ndarray
    estimate: np.ndarray
    se: np.ndarray
    low: np.ndarray
    high: np.ndarray
    known: np.ndarray
    clusters: int


def with_limits(days, share, se, known, clusters: int) -> Curves:
    """Put 95 % limits by t on shares, their errors widened for few clusters."""
    freedom = clusters - 1
    widened = se * np.sqrt(clusters / max(freedom, 1))
    low, high = share_limits(share, widened, known, freedom)
    return Curves(days, share, se, low, high, known, clusters)


def known_courses(entry, upto, by, ended, days) -> np.ndarray:
    """Count the courses whose state on each day is known.

    Parameters
    ----------
    entry, upto : array_like, shape (n,)
        Under observation from the one to the other, both included.
    by : array_like, shape (n,)
        Day from which an end is known.
    ended : array_like of bool, shape (n,)
    days : array_like, shape (k,)

    Returns
    -------
    ndarray of int, shape (k,)
    """
    ends = np.where(ended, by, np.inf)
    came, left, over = (
        np.searchsorted(np.sort(part), days, side=side)
        for part, side in ((entry, "right"), (upto, "left"), (ends, "right"))
    )
    return came - left + over
