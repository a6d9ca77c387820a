"""Incidence of an event whose day is known only to an interval, among competing ends.

Survivors are known up to the look that saw them well, ends up to the look that found
them. To place every end at that look would take the survivors away and keep the ends:
the later the looks, the larger the share. So each end is spread over the days on which
it may have come, as the curve itself has them. With exact days it is Aalen-Johansen.
"""

from __future__ import annotations

import numpy as np

from queen_outcomes.stats.times.competing import Curves, known_courses
from queen_outcomes.stats.times.curve_limits import share_limits
from queen_outcomes.stats.times.spread_influence import Kinds, Spread, influence_squares

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
    entry, by = np.asarray(entry, float), np.asarray(by, float)
    covers = by > entry
    entry, by = entry[covers], by[covers]
    to = np.asarray(event, int)[covers] - 1
    after = np.where(to >= 0, np.asarray(after, float)[covers], by)
    sure = _sure(entry, after, by, to)
    names, cluster = np.unique(np.asarray(clusters)[covers], return_inverse=True)
    if not len(entry):
        zero = np.zeros(len(days))
        return _with_limits(days, zero, zero, zero, 0)
    first = entry.min()
    kinds, alike = _gather(entry - first, sure - first, by - first, to)
    spread = _settle(kinds)
    place = np.clip(days - first, 0, kinds.last).astype(int)
    squares = influence_squares(spread, kinds, alike, cluster.ravel(), place)
    known = known_courses(entry, np.where(to >= 0, sure, by), by, to >= 0, days)
    share = np.cumsum(spread.mass[0])[place]
    return _with_limits(days, share, np.sqrt(squares), known, len(names))


def _with_limits(days, share, se, known, clusters: int) -> Curves:
    freedom = clusters - 1
    widened = se * np.sqrt(clusters / max(freedom, 1))
    low, high = share_limits(share, widened, known, freedom)
    method = f"infinitesimal jackknife over {clusters} clusters"
    return Curves(days, share, se, low, high, known, clusters, method)


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
    found[covers] = _sure(*rows, event[covers] - 1) + 1.0
    return np.where(event > 0, found, by)


def _sure(entry, after, by, to) -> np.ndarray:
    """Give the day up to which each is surely at risk."""
    if not len(entry):
        return by
    come = np.quantile(entry, COME, method="inverted_cdf")
    earliest = np.maximum(np.maximum(after, entry), come)
    return np.where(to >= 0, np.minimum(earliest, by - 1.0), by)


def _gather(entry, sure, by, to) -> tuple[Kinds, np.ndarray]:
    """Put like courses together; also give the number of each course's kind."""
    entry, sure, by = (part.astype(np.int64) for part in (entry, sure, by))
    last = int(by.max())
    code = ((entry * (last + 1) + sure) * (last + 1) + by) * 3 + to + 1
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
    for _ in range(STEPS if len(wide) else 1):
        upto = np.zeros((2, width + 1))
        np.cumsum(mass, axis=1, out=upto[:, 1:])
        upto = upto.ravel()
        within = upto[stop] - upto[start]
        share = np.divide(
            kinds.count[wide], within, out=np.zeros_like(within), where=within > 0
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
