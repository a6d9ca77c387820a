"""Groups held against each other in an event, among ends that compete with it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.sparse import csr_array

from queen_outcomes.stats.times.between_groups import (
    GroupScore,
    between_clusters,
    too_few,
    untested,
)
from queen_outcomes.stats.times.spread import Kinds, Spread, settle

CELLS = 1_000_000
"""Clusters times groups times days that are worked on at a time."""
NOBODY = 1e-9
"""Fewer at risk, or free of any end, than this are what rounding leaves of none."""


def incidence_score(entry, after, by, event, group, clusters) -> GroupScore:
    r"""Test whether groups meet an event alike, competing ends being part of their fate.

    Parameters
    ----------
    entry, after, by, event : array_like, shape (n,)
        As in `spread_incidence`.
    group : array_like of int, shape (n,)
        0 .. k - 1.
    clusters : array_like, shape (n,)
        What shares its fate, and may hold several groups.

    Returns
    -------
    GroupScore
        Rows that say nothing count for nothing, in ``clusters`` too.

    Notes
    -----
    Ends are spread over their days as the curve of all groups together has them. On each
    day group g has :math:`d_g` events and at risk of the incidence
    :math:`R_g = n_g (1 - F_g) / S_g` courses: those under observation, and of those that
    met a competing end as many as would still be watched. The score is
    :math:`\sum d_g - R_g d / R`, with sums over groups in the denominator (Gray RJ. Ann
    Stat 1988;16:1141-1154, rho 0; from memory). What a cluster adds to it is what the
    score loses without that cluster, the spreading held as it is.
    """
    k = int(np.asarray(group).max(initial=-1)) + 1
    found = settle(entry, after, by, event)
    if k < 2 or found is None:
        return untested(k, 0, "fewer than two groups")
    names, code = np.unique(np.asarray(clusters)[found.covers], return_inverse=True)
    why = too_few(k, len(names))
    if why:
        return untested(k, len(names), why)
    group = np.asarray(group, int)[found.covers]
    shape = (len(names) * k, len(found.kinds.count))
    cells = (np.ones(len(group)), (code.ravel() * k + group, found.alike))
    given = csr_array(cells, shape=shape), found.kinds, found.spread, k
    few = len(names) <= _at_once(found.kinds, k)
    # many clusters are added up twice over, since all at once would fill the memory
    sums = list(_by_cluster(*given)) if few else None
    every = sum(part.sum(axis=0) for part in sums or _by_cluster(*given))
    if not every[0].sum() > 0:
        none = np.zeros(k)
        return GroupScore(none, none, np.nan, np.nan, len(names), "nobody met it")
    score = _score(every[None])[0]
    parts = np.concatenate(
        [score - _score(every - part) for part in sums or _by_cluster(*given)]
    )
    return between_clusters(score, every[0].sum(axis=-1) - score, parts)


def _at_once(kinds: Kinds, k: int) -> int:
    return max(CELLS // (k * (kinds.last + 1)), 1)


def _by_cluster(
    counts: csr_array, kinds: Kinds, spread: Spread, k: int
) -> Iterator[np.ndarray]:
    """Give some clusters' events, competing ends and courses at risk, (c, 3, k, days).

    ``counts`` has the courses of each cluster and group, by kind.
    """
    step, width = k * _at_once(kinds, k), 3 * (kinds.last + 1)
    for start in range(0, counts.shape[0], step):
        some = counts[start : start + step].tocsc()
        held = np.flatnonzero(np.diff(some.indptr))
        sums = np.zeros((some.shape[0], width))
        few = max(CELLS // width, 1)
        for part in (held[at : at + few] for at in range(0, len(held), few)):
            days = _expected(kinds, spread, part).reshape(len(part), width)
            sums += some[:, part] @ days
        yield sums.reshape(-1, k, 3, kinds.last + 1).swapaxes(1, 2)


def _expected(kinds: Kinds, spread: Spread, held) -> np.ndarray:
    """Give event, competing end and presence to expect of kinds by day, (m, 3, days)."""
    day = np.arange(kinds.last + 1)
    entry, sure, by, to = (
        part[held, None] for part in (kinds.entry, kinds.sure, kinds.by, kinds.to)
    )
    mass = spread.mass[np.maximum(to[:, 0], 0)]
    ended = mass * ((day > sure) & (day <= by))
    within = ended.sum(axis=1, keepdims=True)
    last = (day == by).astype(float)
    ended = np.where(within > 0, ended / np.where(within > 0, within, 1.0), last)
    ended *= to >= 0
    there = ((day > entry) & (day <= by)) - (np.cumsum(ended, axis=1) - ended)
    return np.stack(
        [ended * (to == 0), ended * (to == 1), np.maximum(there, 0)], axis=1
    )


def _score(sums: np.ndarray) -> np.ndarray:
    """Give each group's events beyond those expected, (..., k)."""
    event, other, there = np.moveaxis(sums, -3, 0)
    some = there > NOBODY
    safe = np.where(some, there, 1.0)
    left = np.clip(1.0 - np.where(some, (event + other) / safe, 0.0), 0.0, 1.0)
    free = _before(np.cumprod(left, axis=-1), 1.0)
    met = _before(np.cumsum(np.where(some, free * event / safe, 0.0), axis=-1), 0.0)
    alive = free > NOBODY
    at_risk = np.where(
        some & alive, there * (1.0 - met) / np.where(alive, free, 1.0), 0.0
    )
    event = np.where(at_risk > 0, event, 0.0)
    total = at_risk.sum(axis=-2, keepdims=True)
    rate = event.sum(axis=-2, keepdims=True) / np.where(total > 0, total, 1.0)
    return (event - at_risk * rate).sum(axis=-1)


def _before(values: np.ndarray, at_first: float) -> np.ndarray:
    """Give a running value as it stood before each day."""
    moved = np.empty_like(values)
    moved[..., 0], moved[..., 1:] = at_first, values[..., :-1]
    return moved
