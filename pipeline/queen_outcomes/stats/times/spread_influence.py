"""What each batch does to an incidence whose ends are spread over days.

The derivative of the incidence in the weight of a course is a sum over the days that the
course was at risk and its end's shares; running sums over days give it without a loop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

BLOCK = 4_000_000
"""Most numbers held at once when batches are added up."""


@dataclass(frozen=True)
class Kinds:
    """Courses that are alike, on days counted from the first entry.

    Attributes
    ----------
    entry, sure, by, to : ndarray of int, shape (R,)
        At risk behind ``entry``, surely up to ``sure``, and an end of kind ``to`` (0 the
        event, 1 a competing one, -1 none) lies in ``(sure, by]``.
    count : ndarray, shape (R,)
        Courses of each kind.
    last : int
        The last day.
    """

    entry: np.ndarray
    sure: np.ndarray
    by: np.ndarray
    to: np.ndarray
    count: np.ndarray
    last: int


@dataclass(frozen=True)
class Spread:
    """An incidence by day 0 .. D.

    Attributes
    ----------
    mass : ndarray, shape (2, D + 1)
        Share of the courses that meets each kind of end on each day.
    hazard : ndarray, shape (2, D + 1)
    free : ndarray, shape (D + 1,)
        Share without any end just before each day.
    at_risk : ndarray, shape (D + 1,)
        Courses at risk on each day; inf where nobody is.
    """

    mass: np.ndarray
    hazard: np.ndarray
    free: np.ndarray
    at_risk: np.ndarray


def influence_squares(
    spread: Spread, kinds: Kinds, alike, cluster, place
) -> np.ndarray:
    """Sum of the squares of the clusters' influences, shape (k,).

    Parameters
    ----------
    spread : Spread
    kinds : Kinds
    alike : ndarray of int, shape (n,)
        Kind of each course.
    cluster : ndarray of int, shape (n,)
        0 .. G - 1.
    place : ndarray of int, shape (k,)
        Days asked for.
    """
    influence = _of_kinds(spread, kinds, place)
    shape = (int(cluster.max()) + 1, len(influence))
    counts = csr_array((np.ones(len(alike)), (cluster, alike)), shape=shape)
    squares = np.zeros(len(place))
    step = max(1, BLOCK // max(len(place), 1))
    for start in range(0, shape[0], step):
        squares += ((counts[start : start + step] @ influence) ** 2).sum(axis=0)
    return squares


def _of_kinds(spread: Spread, kinds: Kinds, place) -> np.ndarray:
    """Derivative of the incidence in the weight of one course of each kind, (R, k).

    A course that is at risk on a day lowers both hazards there, an end on it raises
    one; a hazard of the event moves the incidence up by what is free, and every hazard
    takes from what would still have come.
    """
    event, other, cost = _of_days(spread, place)
    spent = np.cumsum(cost, axis=0)
    found = spent[kinds.entry] - spent[kinds.by]
    for kind, gain in enumerate((event, other)):
        rows = np.flatnonzero(kinds.to == kind)
        sure, by = kinds.sure[rows], kinds.by[rows]
        net = gain - spent
        upto = np.cumsum(spread.mass[kind][:, None] * net, axis=0)
        mass = np.cumsum(spread.mass[kind])
        within = (mass[by] - mass[sure])[:, None]
        wide = (by > sure + 1)[:, None] & (within > 0)
        mean = np.divide(upto[by] - upto[sure], within, out=net[by], where=wide)
        found[rows] = spent[kinds.entry[rows]] + mean
    return found


def _of_days(spread: Spread, place) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give what an end of either kind and a day at risk do, each shape (D + 1, k)."""
    curve = np.cumsum(spread.mass[0])
    asked = np.arange(len(curve))[:, None] <= place
    left = 1.0 - spread.hazard.sum(axis=0)
    # where all that were at risk end, nothing could have come later
    share = np.divide(1.0, left, out=np.zeros_like(left), where=left > 1e-12)
    to_come = (curve[place] - curve[:, None]) * share[:, None]
    per_course = asked / spread.at_risk[:, None]
    event = (spread.free[:, None] - to_come) * per_course
    other = -to_come * per_course
    cost = event * spread.hazard[0][:, None] + other * spread.hazard[1][:, None]
    return event, other, cost
