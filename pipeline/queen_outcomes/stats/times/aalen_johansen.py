"""The Aalen-Johansen product over whole days, and what each batch does to it.

The engine behind `competing`: stretches of courses in states, moves between states on
days with exact ties. It gives shares and spreads, and knows nothing of what a state is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

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
    copies : ndarray, shape (G,)
        How many batches each numbered one stands for.
    """

    entry: np.ndarray
    exit: np.ndarray
    state: np.ndarray
    to: np.ndarray
    cluster: np.ndarray
    copies: np.ndarray


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
    share, influence = start.copy(), np.zeros((len(rows.copies), states))
    times, shares, variances = [], [start], [np.zeros(states)]
    for time, own, moves in _days(rows, states):
        total = rows.copies @ own
        moved, pushed = share.copy(), influence.copy()
        for state, to, done in moves:
            # h = N / Y; its derivative in a batch's weight is (N_own - Y_own h) / Y
            hazard = (rows.copies @ done) / total[state]
            change = influence[:, state] * hazard
            change += share[state] * (done - own[:, state] * hazard) / total[state]
            _move(moved, state, to, share[state] * hazard)
            _move(pushed.T, state, to, change)
        share, influence = moved, pushed
        times.append(time)
        shares.append(share)
        variances.append(rows.copies @ influence**2)
    return Path(np.array(times, float), np.array(shares), np.array(variances))


def walk_again(rows: Stretches, states: int, start, draws) -> np.ndarray:
    """Take the product with the batches drawn anew.

    Parameters
    ----------
    rows : Stretches
    states : int
    start : ndarray, shape (states,)
    draws : ndarray, shape (B, G)
        How often each batch counts.

    Returns
    -------
    ndarray, shape (T + 1, B, states)
        On the times of `walk`. Where nobody drawn is at risk, nothing moves.
    """
    draws = draws.astype(float)
    share = np.tile(start, (len(draws), 1))
    shares = [share]
    for _, own, moves in _days(rows, states):
        total = draws @ own
        moved = share.copy()
        for state, to, done in moves:
            hazard = (draws @ done) / np.maximum(total[:, state], 1.0)
            _move(moved.T, state, to, share[:, state] * hazard)
        share = moved
        shares.append(share)
    return np.array(shares)


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
    own, before, gone = np.zeros((len(rows.copies), states)), 0, 0
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
        done = np.bincount(clusters, minlength=len(rows.copies)).astype(float)
        found.append((source, target, done))
    return found
