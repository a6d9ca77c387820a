"""Aalen and Johansen's estimate on whole days, to hold curves and fillings against.

Ties are exact, an event comes before a leaving on its day, and no time is jittered.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from queen_outcomes.stats.times.competing import Curves, known_courses, with_limits

CENSORED = -1
"""Next state of a stretch that ended without a move."""


@dataclass(frozen=True)
class Stretches:
    """Time under observation, a stretch a row, and the batches they belong to.

    Attributes
    ----------
    entry, exit : ndarray, shape (n,)
        Each covers the days behind ``entry``, up to and with ``exit``.
    state, to : ndarray of int, shape (n,)
        State during the stretch and after it; -1 where observation ended.
    cluster : ndarray of int, shape (n,)
        0 .. G - 1.
    """

    entry: np.ndarray
    exit: np.ndarray
    state: np.ndarray
    to: np.ndarray
    cluster: np.ndarray

    @property
    def clusters(self) -> int:
        """How many batches there are."""
        return int(self.cluster.max(initial=-1)) + 1


@dataclass(frozen=True)
class Path:
    """Shares on the days with a move, the start first.

    Attributes
    ----------
    times : ndarray, shape (T,)
    share, variance : ndarray, shape (T + 1, states)
        Row i holds from ``times[i - 1]`` on.
    """

    times: np.ndarray
    share: np.ndarray
    variance: np.ndarray


def walk(rows: Stretches, states: int, start) -> Path:
    """Take the product day by day, with its variance by the infinitesimal jackknife.

    A batch's influence is the derivative of the shares in its weight; the variance is
    the sum of the squares.

    Parameters
    ----------
    rows : Stretches
    states : int
    start : ndarray, shape (states,)
        Shares before the first move.
    """
    share, influence = start.copy(), np.zeros((rows.clusters, states))
    each = np.ones(rows.clusters)
    times, shares, variances = [], [start], [np.zeros(states)]
    for time, own, moves in _days(rows, states):
        total = each @ own
        moved, pushed = share.copy(), influence.copy()
        for state, to, done in moves:
            # h = N / Y; its derivative in a batch's weight is (N_own - Y_own h) / Y
            hazard = (each @ done) / total[state]
            change = influence[:, state] * hazard
            change += share[state] * (done - own[:, state] * hazard) / total[state]
            _move(moved, state, to, share[state] * hazard)
            _move(pushed.T, state, to, change)
        share, influence = moved, pushed
        times.append(time)
        shares.append(share)
        variances.append(each @ influence**2)
    return Path(np.array(times, float), np.array(shares), np.array(variances))


def _move(shares, state: int, to: int, amount) -> None:
    """Take from one state, give to another; states are the first axis."""
    shares[state] -= amount
    shares[to] += amount


def _days(rows: Stretches, states: int) -> Iterator[tuple]:
    """Go through the days with a move.

    Yields the day, the batches' counts at risk just before it (G, states), and the
    moves: from, to and each batch's count of them.
    """
    came, went = (
        np.argsort(rows.entry, kind="stable"),
        np.argsort(rows.exit, kind="stable"),
    )
    moving = went[rows.to[went] >= 0]
    times, first = np.unique(rows.exit[moving], return_index=True)
    entered = np.searchsorted(rows.entry[came], times, side="left")
    left = np.searchsorted(rows.exit[went], times, side="left")
    own, before, gone = np.zeros((rows.clusters, states)), 0, 0
    stops = np.append(first[1:], len(moving))[: len(times)]
    spans = zip(times, entered, left, first, stops, strict=True)
    for time, comes, goes, start, stop in spans:
        _count(own, rows, came[before:comes], 1.0)
        _count(own, rows, went[gone:goes], -1.0)
        before, gone = comes, goes
        yield float(time), own, _moves(rows, moving[start:stop])


def _count(own, rows: Stretches, which, sign: float) -> None:
    np.add.at(own, (rows.cluster[which], rows.state[which]), sign)


def _moves(rows: Stretches, which) -> list[tuple[int, int, np.ndarray]]:
    """Count the moves of one day by batch, for each pair of states."""
    state, to = rows.state[which], rows.to[which]
    pairs = np.unique(np.column_stack([state, to]), axis=0)
    found = []
    for source, target in pairs.tolist():
        clusters = rows.cluster[which[(state == source) & (to == target)]]
        done = np.bincount(clusters, minlength=rows.clusters).astype(float)
        found.append((source, target, done))
    return found


def state_occupation(stretches: dict, *, states: int, days) -> Curves:
    r"""Share in each state by day, from stretches under observation.

    .. math:: p(t) = p(0) \prod_{s \le t} (I + dA(s)), \quad dA_{jk}(s) = N_{jk}(s) / Y_j(s)

    Parameters
    ----------
    stretches : dict of str to array_like, shape (n,)
        ``entry, exit_``: a stretch runs over the days behind ``entry``, up to and with
        ``exit_``; ``state``: during it, 0 .. states - 1; ``to``: after it, -1 where
        observation ended; ``clusters``: batch, the same for all of a course.
    states : int
        Every course begins in the first.
    days : array_like, shape (k,)

    Returns
    -------
    Curves
        Shapes (states, k).

    Notes
    -----
    Aalen OO, Johansen S, Scand J Stat 1978;5:141-150.
    """
    entry, exit_ = (np.asarray(stretches[c], float) for c in ("entry", "exit_"))
    state, to = (np.asarray(stretches[c], int) for c in ("state", "to"))
    # a comparison with nan is false: a stretch without a day at either end says nothing
    covers = exit_ > entry
    code = np.unique(np.asarray(stretches["clusters"])[covers], return_inverse=True)[1]
    rows = Stretches(
        *(part[covers] for part in (entry, exit_, state, to)), code.ravel()
    )
    days = np.atleast_1d(np.asarray(days, float))
    path = walk(rows, states, np.eye(states)[0])
    place = np.searchsorted(path.times, days, side="right")
    share, se = path.share[place].T, np.sqrt(path.variance[place]).T
    ended = (rows.to >= 0) & ~np.isin(rows.to, rows.state)
    # a move counts on its day, a leaving after it
    upto = np.where(rows.to < 0, rows.exit, rows.exit - 1.0)
    known = known_courses(rows.entry, upto, rows.exit, ended, days)
    return with_limits(days, share, se, known, rows.clusters)


def cumulative_incidence(entry, exit_, event, *, causes, days, clusters=None):
    """Share that has met each of several competing events by each day.

    The states of `state_occupation` beside the first; an event that is no cause is a
    leaving, and without clusters every row stands for itself.
    """
    to = np.full(len(entry), CENSORED)
    for number, cause in enumerate(causes):
        to[np.asarray(event) == cause] = number + 1
    stretches = {"entry": entry, "exit_": exit_, "to": to}
    stretches["state"] = np.zeros(len(entry), int)
    stretches["clusters"] = np.arange(len(entry)) if clusters is None else clusters
    found = state_occupation(stretches, states=len(causes) + 1, days=days)
    names = ("estimate", "se", "low", "high")
    return replace(found, **{name: getattr(found, name)[1:] for name in names})
