"""What a success costs an arm: semen, drones and queens.

Cost by success alone would always favour the small dose, since queens cost nothing
there; so drones are set against queens, and no arm is ranked by one of them.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.stats.shares.proportions import Interval, wilson

ENOUGH_BATCHES = 20
"""Semen batches from which on they are drawn again; below, Fieller's limits."""
REPLICATES = 2000
UL_A_YIELDING_DRONE = 1.0
"""uL, the usual rule of thumb (Standard methods for instrumental insemination, 2013, doi
10.3896/IBRA.1.52.4.09, section 3.1)."""
YIELDING = 1.0 - 0.405
"""Share of drones everted by hand that give semen (Rhodes et al. 2011, Apidologie
42:29-38)."""


@dataclass(frozen=True)
class ArmCost:
    """What one success of an arm takes.

    Attributes
    ----------
    semen, drones, queens : Interval
        uL of semen, drones handled and queens inseminated a success. Infinite without
        a success; an upper limit is infinite where the batches do not bound it.
    courses, successes : int
    method : str
        How the limits were found, in words.
    message : str
    """

    semen: Interval
    drones: Interval
    queens: Interval
    courses: int
    successes: int
    method: str
    message: str


def arm_cost(
    dose_ul, yes, batch, ul_a_drone, *, seed: int, level: float = 0.95
) -> ArmCost:
    """Give the semen, drones and queens that an arm takes for a success.

    Parameters
    ----------
    dose_ul : array_like, shape (n,)
        All doses of a course together, uL. Courses without one (NaN) are left out.
    yes : array_like, shape (n,)
        0/1; NaN where not decided: left out.
    batch : array_like, shape (n,)
        Semen batch.
    ul_a_drone : float or array_like, shape (n,)
        uL of semen from a drone handled, yielding or not.
    seed : int
        Of the bootstrap.
    level : float

    Returns
    -------
    ArmCost

    Notes
    -----
    Each is a ratio of totals, so ``mean dose / success`` and its like. From 20 semen
    batches on, batches are drawn again and the deviation of the logarithm is multiplied
    by Student's t; below, Fieller's limits over batch totals with t on G - 1. Where all
    courses succeeded or none did, the totals over batches tell nothing of the spread of
    success: then Wilson's limits of it. Fieller EC. J R Stat Soc B 1954;16:175-185.
    """
    totals, batches = _totals(dose_ul, yes, batch, ul_a_drone)
    courses, successes = int(totals[2].sum()), int(totals[3].sum())
    counted = (courses, successes)
    if not courses:
        nothing = Interval(np.nan, np.nan, np.nan)
        said = "no decided course has a dose"
        return ArmCost(nothing, nothing, nothing, *counted, "none", said)
    said = "one semen batch: nothing is said of others" if batches == 1 else ""
    if successes in (0, courses):
        costs, how = _by_wilson(totals, level), "Wilson's limits of success"
    else:
        costs = (
            _by_bootstrap(totals, seed, level) if batches >= ENOUGH_BATCHES else None
        )
        how = f"bootstrap over {batches} semen batches"
        if costs is None:
            costs = tuple(_fieller(a, totals[3], level) for a in totals[:3])
            of = f"{batches} semen batches" if batches > 1 else f"{courses} courses"
            how = f"Fieller's limits over {of}"
    semen, drones, queens = costs
    at_least_one = Interval(queens.estimate, max(queens.low, 1.0), queens.high)
    return ArmCost(semen, drones, at_least_one, *counted, how, said)


def frontier(drones, queens) -> np.ndarray:
    """Tell which arms no other arm beats on both drones and queens a success.

    An arm is beaten where another takes no more of either and less of one. Arms
    without finite costs are never on the frontier. Shape (k,).
    """
    d, q = np.asarray(drones, float), np.asarray(queens, float)
    known = np.isfinite(d) & np.isfinite(q)
    no_more = (d[None] <= d[:, None]) & (q[None] <= q[:, None])
    less = (d[None] < d[:, None]) | (q[None] < q[:, None])
    return known & ~np.any(no_more & less & known[None], axis=1)


def _totals(dose_ul, yes, batch, ul_a_drone) -> tuple[np.ndarray, int]:
    """Sum semen, drones, courses and successes over batches, shape (4, G).

    With one batch every course stands for itself.
    """
    dose, y = np.asarray(dose_ul, float), np.asarray(yes, float)
    drones = dose / np.asarray(ul_a_drone, float)
    kept = np.isfinite(dose) & np.isfinite(y) & np.isfinite(drones)
    code = np.unique(np.asarray(batch)[kept], return_inverse=True)[1].ravel()
    batches = int(code.max(initial=-1)) + 1
    parts = np.array([dose[kept], drones[kept], np.ones(kept.sum()), y[kept]])
    # sums in an order of their own, so that the order of the rows changes no digit
    order = np.lexsort([*parts, code])
    parts, code = parts[:, order], code[order]
    if batches == 1:
        return parts, 1
    return np.array([np.bincount(code, part, batches) for part in parts]), batches


def _by_wilson(totals: np.ndarray, level: float) -> tuple[Interval, ...]:
    courses = totals[2].sum()
    share = wilson(totals[3].sum(), courses, level)
    each = totals[:3].sum(axis=1) / courses
    return tuple(
        Interval(
            float(cost / share.estimate) if share.estimate > 0 else np.inf,
            float(cost / share.high),
            float(cost / share.low) if share.low > 0 else np.inf,
        )
        for cost in each
    )


def _by_bootstrap(totals: np.ndarray, seed: int, level: float):
    """Draw batches again; None where a draw has no success at all."""
    groups = totals.shape[1]
    even = np.full(groups, 1.0 / groups)
    draws = np.random.default_rng(seed).multinomial(groups, even, REPLICATES)
    sums = totals @ draws.T
    if not np.all(sums[3] > 0):
        return None
    spread = np.log(sums[:3] / sums[3]).std(axis=1, ddof=1)
    reach = np.exp(float(stats.t.isf((1 - level) / 2, groups - 1)) * spread)
    middle = totals[:3].sum(axis=1) / totals[3].sum()
    return tuple(
        Interval(float(m), float(m / r), float(m * r))
        for m, r in zip(middle, reach, strict=True)
    )


def _fieller(used: np.ndarray, gained: np.ndarray, level: float) -> Interval:
    """Limit a ratio of two means over batches, by way of its inverse.

    The inverse, success by semen, has a denominator well away from 0; where its lower
    limit is not above 0 the ratio has no upper limit.
    """
    count, a, y = len(used), used.mean(), gained.mean()
    ratio = float(a / y)
    if count < 2:
        return Interval(ratio, 0.0, np.inf)
    t2 = float(stats.t.isf((1 - level) / 2, count - 1)) ** 2 / count
    cov = np.cov(used, gained)
    square = a * a - t2 * cov[0, 0]
    line, constant = a * y - t2 * cov[0, 1], y * y - t2 * cov[1, 1]
    root = np.sqrt(max(line * line - square * constant, 0.0))
    if not square > 0:
        return Interval(ratio, 0.0, np.inf)
    low, high = (line - root) / square, (line + root) / square
    return Interval(ratio, float(1 / high), float(1 / low) if low > 0 else np.inf)


@dataclass(frozen=True)
class DroneSemen:
    """uL of semen from a drone handled, and what that leans on."""

    ul_a_drone: float
    said: str


def read_drone_yield(store: Store, as_of: dt.date) -> dict[str, Any]:
    """Read what the station's semen batches say of a drone; see the SQL for its columns."""
    sql = resources.read("sql", "08_doses", "drone_yield.sql")
    (row,) = store.records(sql, {"as_of": as_of})
    return row


def drone_semen(store: Store, as_of: dt.date) -> DroneSemen:
    """Take it from the station's semen batches; where they do not say, from what is usual."""
    row = read_drone_yield(store, as_of)
    if row["volume_ul"] and row["volume_drones"]:
        ul = row["volume_ul"] / row["volume_drones"]
        return DroneSemen(
            ul, f"{ul:.2f} uL a drone handled, from {row['loads']} semen batches"
        )
    share, whose = YIELDING, "as is usual by hand (Rhodes et al. 2011)"
    if row["yielding"] and row["yield_drones"]:
        share, whose = row["yielding"] / row["yield_drones"], "as the semen batches say"
    said = (
        f"1 uL a yielding drone, the usual rule of thumb, and {100 * share:.0f} % of "
        f"drones yielding, {whose}"
    )
    return DroneSemen(UL_A_YIELDING_DRONE * share, said)
