"""Incidence of an event whose day is known only to an interval, among competing ends.

Survivors are known up to the look that saw them well, ends up to the look that found
them. To place every end at that look would take the survivors away and keep the ends:
the later the looks, the larger the share. So each end is spread over the days on which
it may have come, as the curve itself has them. With exact days it is Aalen-Johansen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from queen_outcomes.stats.times.competing import Curves, known_courses, with_limits

BATCHES = 10_000
"""Batches added up at a time."""


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


@dataclass(frozen=True)
class Settled:
    """Courses with their ends spread over days.

    Attributes
    ----------
    covers : ndarray of bool, shape (n,)
        Which rows say anything; the others are left out.
    first : float
        The day that counts as day 0 of `kinds` and `spread`.
    kinds : Kinds
    alike : ndarray of int
        Kind of each row that says anything.
    spread : Spread
    """

    covers: np.ndarray
    first: float
    kinds: Kinds
    alike: np.ndarray
    spread: Spread


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
    for start in range(0, shape[0], BATCHES):
        squares += ((counts[start : start + BATCHES] @ influence) ** 2).sum(axis=0)
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
        wide = (by > sure + 1)[:, None] & (within > 0.0)
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


STEPS = 50
"""Rounds of spreading and counting. In 60 stations 400 rounds moved no estimate by more
than 0.006, and by 0.0006 on average."""
SETTLED = 1e-9
"""Change of the curve at which further rounds are left out."""
NOBODY = 1e-9
"""Fewer courses at risk than this are what rounding leaves of none."""
COME = 0.5
"""Share of the courses that must have come before an end is spread over a day."""


def spread_incidence(entry, after, by, event, *, days, clusters) -> Curves:
    r"""Share that has met an event by each day, while its days are known to intervals.

    .. math:: h_k(s) = d_k(s) / n(s), \quad
              w_i(s) = S(s-) h_k(s) / \sum_{r \in (a_i, b_i]} S(r-) h_k(r)

    with d the sum of the shares w of each end that fall on day s, n the courses at risk
    (an end leaves the risk by its shares), S the share without any end: solved by
    turns, each end being first spread evenly.

    Parameters
    ----------
    entry : array_like, shape (n,)
        At risk on the days behind it; -1 where day 0 may bring an end.
    after, by : array_like, shape (n,)
        An end lies in ``(after, by]``; a course without one is known up to ``by``. A
        row with by <= entry says nothing.
    event : array_like of int, shape (n,)
        1 the event, 2 a competing end, 0 none.
    days : array_like, shape (k,)
    clusters : array_like, shape (n,)
        Batch of each row.

    Returns
    -------
    Curves
        Of the event alone, shapes (k,).

    Notes
    -----
    The rounds are those of expectation and maximisation of the likelihood given that
    each course had no end by its entry. Where few have come, a single end would take
    the whole curve, so no end is spread over days before half of the courses have
    come, unless it has no later one.

    The errors are the infinitesimal jackknife's by cluster, each end's shares held as
    they are: that the shares would change too is left out. In 100 stations of 14
    batches and 600 courses these limits held the method's own mean in 93 to 96 of 100;
    refitting without each batch in turn made them 1 to 10 % wider.
    """
    days = np.atleast_1d(np.asarray(days, float))
    found = settle(entry, after, by, event)
    if found is None:
        zero = np.zeros(len(days))
        return with_limits(days, zero, zero, zero, 0)
    covers, first, kinds, spread = found.covers, found.first, found.kinds, found.spread
    names, cluster = np.unique(np.asarray(clusters)[covers], return_inverse=True)
    place = np.clip(days - first, 0, kinds.last).astype(int)
    squares = influence_squares(spread, kinds, found.alike, cluster.ravel(), place)
    entry, by = np.asarray(entry, float)[covers], np.asarray(by, float)[covers]
    sure, ends = kinds.sure[found.alike] + first, kinds.to[found.alike] >= 0
    known = known_courses(entry, sure, by, ends, days)
    share = np.cumsum(spread.mass[0])[place]
    return with_limits(days, share, np.sqrt(squares), known, len(names))


def settle(entry, after, by, event) -> Settled | None:
    """Spread ends over their days, with the arguments of `spread_incidence`.

    None: no row says anything.
    """
    entry, by = np.asarray(entry, float), np.asarray(by, float)
    covers = by > entry
    if not covers.any():
        return None
    entry, by = entry[covers], by[covers]
    to = np.asarray(event, int)[covers] - 1
    after = np.where(to >= 0, np.asarray(after, float)[covers], by)
    sure = np.where(to >= 0, _sure(entry, after, by), by)
    first = float(entry.min())
    kinds, alike = _gather(entry - first, sure - first, by - first, to)
    return Settled(covers, first, kinds, alike, _settle(kinds))


def first_days(entry, after, by, event) -> np.ndarray:
    """Give the earliest day over which each end is spread, shape (n,).

    Parameters
    ----------
    entry, after, by, event
        As in `spread_incidence`.

    Returns
    -------
    ndarray
        ``by`` where there was no end, or the row says nothing.
    """
    found, covers = np.array(by, float), by > entry
    rows = (part[covers] for part in (entry, after, by))
    found[covers] = _sure(*rows) + 1.0
    return np.where(event > 0, found, by)


def _sure(entry, after, by) -> np.ndarray:
    """Give the day up to which each would surely be at risk if it ended by ``by``."""
    if not len(entry):
        return by
    come = np.quantile(entry, COME, method="inverted_cdf")
    return np.minimum(np.maximum(np.maximum(after, entry), come), by - 1.0)


def _gather(entry, sure, by, to) -> tuple[Kinds, np.ndarray]:
    """Put like courses together; also give the number of each course's kind."""
    entry, sure, by = (part.astype(np.int64) for part in (entry, sure, by))
    last = int(by.max())
    shape = (*[last + 1] * 3, 3)
    code = np.ravel_multi_index((entry, sure, by, to + 1), shape)
    _, one, alike, count = np.unique(
        code, return_index=True, return_inverse=True, return_counts=True
    )
    parts = (part[one] for part in (entry, sure, by, to))
    return Kinds(*parts, count.astype(float), last), alike.ravel()


def _settle(kinds: Kinds) -> Spread:
    """Spread the ends and count who is at risk, by turns."""
    ends = np.flatnonzero(kinds.to >= 0)
    exact = kinds.by[ends] == kinds.sure[ends] + 1
    width = kinds.last + 1
    base = _at_risk_but_for_ends(kinds)
    surely = _tally(kinds, ends[exact], kinds.count[ends[exact]])
    wide = ends[~exact]
    row = kinds.to[wide] * (width + 1)  # one place a kind to spare, for what stops
    start, stop = row + kinds.sure[wide] + 1, row + kinds.by[wide] + 1
    mass, before = np.ones((2, width)), np.full((2, width), np.inf)
    for _ in range(STEPS):
        upto = np.zeros((2, width + 1))
        np.cumsum(mass, axis=1, out=upto[:, 1:])
        upto = upto.ravel()
        within = upto[stop] - upto[start]
        share = np.divide(
            kinds.count[wide], within, out=np.zeros_like(within), where=within > 0.0
        )
        turns = np.bincount(start, share, 2 * width + 2)
        turns -= np.bincount(stop, share, 2 * width + 2)
        held = np.cumsum(turns.reshape(2, width + 1), axis=1)[:, :width]
        ended = surely + mass * np.maximum(held, 0.0)
        spread = _count(ended, base)
        mass = spread.mass
        curve = np.cumsum(mass, axis=1)
        if np.abs(curve - before).max() < SETTLED:
            break
        before = curve
    return spread


def _at_risk_but_for_ends(kinds: Kinds) -> np.ndarray:
    """Count who has come and not left unended, by day; ends are taken off later."""
    came = np.bincount(kinds.entry + 1, kinds.count, kinds.last + 2)
    unended = kinds.to < 0
    left = np.bincount(kinds.by[unended] + 1, kinds.count[unended], kinds.last + 2)
    return np.cumsum(came - left)[: kinds.last + 1]


def _tally(kinds: Kinds, which, count) -> np.ndarray:
    """Count ends on their last day, shape (2, days)."""
    place = kinds.to[which] * (kinds.last + 1) + kinds.by[which]
    return np.bincount(place, count, 2 * (kinds.last + 1)).reshape(2, -1)


def _count(ended, base) -> Spread:
    """Turn ends by day into hazards, and those into the share that each day takes."""
    every = ended.sum(axis=0)
    at_risk = base - (np.cumsum(every) - every)
    there = at_risk > NOBODY
    hazard = np.divide(ended, at_risk, out=np.zeros_like(ended), where=there)
    left = np.maximum(1.0 - hazard.sum(axis=0), 0.0)
    free = np.ones_like(left)
    free[1:] = np.cumprod(left)[:-1]
    return Spread(free * hazard, hazard, free, np.where(there, at_risk, np.inf))
