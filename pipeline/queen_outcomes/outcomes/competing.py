"""Shares of courses in each state by day, while courses leave and come late.

The Aalen-Johansen estimate on whole days: ties are exact, an event comes before a
leaving on its day, and no time is jittered. Standard errors are the infinitesimal
jackknife's, by batch. Never one minus Kaplan-Meier, which counts competing ends as if
they could still turn into the event.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CENSORED = -1
"""Next state of a stretch that ended without a move."""
UNSETTLED, WORKING, FAILED = 0, 1, 2
"""States of `three_states`: not yet laying, working, failed."""


@dataclass(frozen=True)
class Curves:
    """Shares by day.

    Attributes
    ----------
    days : ndarray, shape (k,)
    estimate, se : ndarray, shape (states or causes, k)
        Share, and its standard error by the infinitesimal jackknife over clusters.
    at_risk : ndarray, shape (k,)
        Rows under observation just before each day, in whatever state.
    clusters : int
        Clusters that the standard errors stand on.
    """

    days: np.ndarray
    estimate: np.ndarray
    se: np.ndarray
    at_risk: np.ndarray
    clusters: int


def cumulative_incidence(entry, exit_, event, *, causes, days, clusters=None) -> Curves:
    r"""Share that has met each of several competing events by each day.

    .. math:: F_k(t) = \sum_{s \le t} S(s-) \, d_k(s) / n(s)

    with S the share without any event, d the events and n those with entry < s <= exit.

    Parameters
    ----------
    entry, exit_ : array_like, shape (n,)
        Under observation on the days behind ``entry``, up to and with ``exit_``.
        An event on day 0 needs an entry of -1; a row with exit_ <= entry says nothing.
    event : array_like of int, shape (n,)
        What happened on ``exit_``; a value that is no cause means the row left.
    causes : sequence of int
        Codes of the causes, in the order of the result.
    days : array_like, shape (k,)
    clusters : array_like, shape (n,), optional
        Batch of each row; without it every row stands for itself.

    Returns
    -------
    Curves
        ``estimate`` and ``se`` of shape (causes, k).

    Notes
    -----
    Aalen OO, Johansen S, Scand J Stat 1978;5:141-150.
    """
    entry, exit_ = np.asarray(entry, float), np.asarray(exit_, float)
    event = np.asarray(event)
    to = np.full(len(entry), CENSORED)
    for number, cause in enumerate(causes):
        to[event == cause] = number + 1
    copies = np.ones(len(entry))
    if clusters is None:
        given = np.column_stack([entry, exit_, to])
        alike, copies = np.unique(given, axis=0, return_counts=True)
        entry, exit_, to = alike[:, 0], alike[:, 1], alike[:, 2].astype(int)
        clusters = np.arange(len(alike))
    rows = _stretches(entry, exit_, np.zeros(len(entry), int), to, clusters, copies)
    curves = _walk(rows, len(causes) + 1, np.eye(len(causes) + 1)[0], days)
    return Curves(
        curves.days, curves.estimate[1:], curves.se[1:], curves.at_risk, curves.clusters
    )


def state_occupation(
    entry, exit_, state, to, *, states: int, days, clusters, start: int = 0
) -> Curves:
    r"""Share in each state by day, from stretches under observation.

    .. math:: p(t) = p(0) \prod_{s \le t} (I + dA(s)), \quad dA_{jk}(s) = N_{jk}(s) / Y_j(s)

    Parameters
    ----------
    entry, exit_ : array_like, shape (n,)
        A stretch runs over the days behind ``entry``, up to and with ``exit_``.
    state : array_like of int, shape (n,)
        State during the stretch, 0 .. states - 1.
    to : array_like of int, shape (n,)
        State after it, or -1 where observation ended.
    states : int
    days : array_like, shape (k,)
    clusters : array_like, shape (n,)
        Batch of each stretch; all stretches of a course belong to one.
    start : int
        State in which every course begins.

    Returns
    -------
    Curves
        ``estimate`` and ``se`` of shape (states, k).
    """
    entry, exit_ = np.asarray(entry, float), np.asarray(exit_, float)
    state, to = np.asarray(state, int), np.asarray(to, int)
    rows = _stretches(entry, exit_, state, to, clusters, np.ones(len(entry)))
    return _walk(rows, states, np.eye(states)[start], days)


def three_states(onset, failed, last, clusters, *, entry=0.0):
    """Cut courses into stretches of not yet laying, working and failed.

    Parameters
    ----------
    onset, failed : array_like, shape (n,)
        Day of each, inf where it was never seen. A failure on the day of onset or
        before goes straight to failed.
    last : array_like, shape (n,)
        Last day under observation; what comes later is as if unseen.
    clusters : array_like, shape (n,)
    entry : float or array_like, shape (n,)
        Day behind which observation begins; -1 where day 0 may bring a failure.

    Returns
    -------
    dict of str to ndarray
        Arguments of `state_occupation`: entry, exit_, state, to, clusters.
    """
    onset, failed = np.asarray(onset, float), np.asarray(failed, float)
    last, clusters = np.asarray(last, float), np.asarray(clusters)
    entry = np.broadcast_to(np.asarray(entry, float), onset.shape)
    first_end = np.minimum(np.minimum(onset, failed), last)
    fails = (failed <= onset) & (failed <= last)
    lays = (onset < failed) & (onset <= last)
    to = np.where(fails, FAILED, np.where(lays, WORKING, CENSORED))
    later = np.minimum(failed, last)[lays]
    ends = np.where(failed[lays] <= last[lays], FAILED, CENSORED)
    return {
        "entry": np.concatenate([entry, onset[lays]]),
        "exit_": np.concatenate([first_end, later]),
        "state": np.repeat([UNSETTLED, WORKING], [len(onset), lays.sum()]),
        "to": np.concatenate([to, ends]),
        "clusters": np.concatenate([clusters, clusters[lays]]),
    }


@dataclass(frozen=True)
class _Stretches:
    """Stretches that cover a day, with clusters numbered from 0.

    ``copies`` (G,) is how many clusters each numbered one stands for; ``weight`` (n,)
    is each row's weight in the totals.
    """

    entry: np.ndarray
    exit: np.ndarray
    state: np.ndarray
    to: np.ndarray
    cluster: np.ndarray
    copies: np.ndarray


def _stretches(entry, exit_, state, to, clusters, copies) -> _Stretches:
    """Leave out stretches without a day, and number the clusters.

    Copies belong to rows where every row is its own cluster, and are 1 otherwise.
    """
    names, code = np.unique(np.asarray(clusters), return_inverse=True)
    each = np.ones(len(names))
    if len(names) == len(copies):
        each[code.ravel()] = copies
    covers = exit_ > entry
    parts = (entry, exit_, state, to, code.ravel())
    return _Stretches(*(part[covers] for part in parts), each)


def _walk(rows: _Stretches, states: int, start, days) -> Curves:
    """Take the product over the days with a move, with each cluster's influence."""
    days = np.atleast_1d(np.asarray(days, float))
    moves = np.flatnonzero(rows.to >= 0)
    moves = moves[np.argsort(rows.exit[moves], kind="stable")]
    times, firsts = np.unique(rows.exit[moves], return_index=True)
    at_risk = _AtRisk(rows, states)
    share, influence = start.copy(), np.zeros((len(rows.copies), states))
    estimate, variance = (
        np.empty((len(times) + 1, states)),
        np.zeros((len(times) + 1, states)),
    )
    estimate[0] = start
    for number, time in enumerate(times):
        last = firsts[number + 1] if number + 1 < len(times) else len(moves)
        now = moves[firsts[number] : last]
        own = at_risk.before(time)
        share, influence = _step(rows, now, own, share, influence)
        estimate[number + 1] = share
        variance[number + 1] = rows.copies @ influence**2
    place = np.searchsorted(times, days, side="right")
    under = [
        int(rows.copies[rows.cluster[(rows.entry < d) & (rows.exit >= d)]].sum())
        for d in days
    ]
    return Curves(
        days,
        estimate[place].T,
        np.sqrt(variance[place]).T,
        np.array(under, int),
        int(rows.copies.sum()),
    )


class _AtRisk:
    """How many rows of each cluster are in each state just before a day."""

    def __init__(self, rows: _Stretches, states: int) -> None:
        self._rows = rows
        self._in = np.argsort(rows.entry, kind="stable")
        self._out = np.argsort(rows.exit, kind="stable")
        self._entries, self._exits = rows.entry[self._in], rows.exit[self._out]
        self._came = self._went = 0
        self._own = np.zeros((len(rows.copies), states))

    def before(self, time: float) -> np.ndarray:
        """Give the counts of rows with entry < time <= exit, shape (G, states)."""
        came = np.searchsorted(self._entries, time, side="left")
        went = np.searchsorted(self._exits, time, side="left")
        self._add(self._in[self._came : came], 1.0)
        self._add(self._out[self._went : went], -1.0)
        self._came, self._went = came, went
        return self._own

    def _add(self, which, sign: float) -> None:
        places = (self._rows.cluster[which], self._rows.state[which])
        np.add.at(self._own, places, sign)


def _step(
    rows: _Stretches, now, own, share, influence
) -> tuple[np.ndarray, np.ndarray]:
    """Move the shares over one day, and what each cluster's weight does to them.

    ``own`` is (G, states). With h = dA_jk, a cluster's derivative of h is
    (N_jk - Y_j h) / Y_j, both counts its own.
    """
    total = rows.copies @ own
    moved, pushed = share.copy(), influence.copy()
    pairs = np.unique(np.column_stack([rows.state[now], rows.to[now]]), axis=0)
    for state, to in pairs:
        which = now[(rows.state[now] == state) & (rows.to[now] == to)]
        done = np.bincount(rows.cluster[which], minlength=len(own)).astype(float)
        hazard = (rows.copies @ done) / total[state]
        change = influence[:, state] * hazard
        change += share[state] * (done - own[:, state] * hazard) / total[state]
        for place, sign in ((to, 1.0), (state, -1.0)):
            moved[place] += sign * share[state] * hazard
            pushed[:, place] += sign * change
    return moved, pushed
