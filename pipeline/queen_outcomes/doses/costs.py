"""What a success costs an arm: semen, drones, queens, minutes at the bench and visits.

Cost by success alone would always favour the small dose, since queens cost nothing
there; so drones are set against queens, and no arm is ranked by one of them. Success is
the arm's adjusted share, the one that is told above the costs.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.stats.shares.proportions import Interval
from queen_outcomes.stats.tails import t_isf

UL_A_YIELDING_DRONE = 1.0
"""uL, the usual rule of thumb (Standard methods for instrumental insemination, 2013, doi
10.3896/IBRA.1.52.4.09, section 3.1)."""
YIELDING = 1.0 - 0.405
"""Share of drones everted by hand that give semen (Rhodes et al. 2011, Apidologie
42:29-38)."""


def mean_used(used, batch, level: float = 0.95) -> Interval:
    """Give the mean that a course takes of something, with limits over batches.

    Parameters
    ----------
    used : array_like, shape (n,)
        NaN where it is not recorded: left out.
    batch : array_like, shape (n,)
        Courses of one batch share what they took; one batch alone is taken apart.
    level : float

    Returns
    -------
    Interval
        Student's t on batches - 1, of the batches' sums about the mean (ratio
        estimator: Cochran, Sampling Techniques, section 6.3, from memory). NaN without
        a value; no limits from one course.
    """
    x = np.asarray(used, float)
    kept = np.isfinite(x)
    if not kept.any():
        return Interval(np.nan, np.nan, np.nan)
    code = np.unique(np.asarray(batch)[kept], return_inverse=True)[1].ravel()
    # sums in an order of their own, so that the order of the rows changes no digit
    order = np.lexsort([x[kept], code])
    x, code = x[kept][order], code[order]
    if code[-1] == 0:
        code = np.arange(len(x))
    groups, mean = int(code[-1]) + 1, float(x.mean())
    if groups < 2:
        return Interval(mean, 0.0, np.inf)
    off = np.bincount(code, x - mean)
    se = np.sqrt(groups / (groups - 1) * np.sum(off * off)) / len(x)
    reach = float(t_isf((1 - level) / 2, groups - 1) * se)
    return Interval(mean, max(mean - reach, 0.0), mean + reach)


def for_success(used: Interval, success: Interval) -> Interval:
    """Divide what a course takes by the share of success; infinite without success.

    Limits recover the variances of both from their own limits (Donner and Zou 2012, Stat
    Methods Med Res 21:347-359, from memory); 0 as a lower limit of success leaves none
    above.
    """
    a, b = used.estimate, success.estimate
    if not b > 0:
        least = used.low / success.high if success.high > 0 else np.inf
        return Interval(np.inf if b == 0 else np.nan, least, np.inf)
    less, more = ((a - used.low) / a, (used.high - a) / a) if a > 0 else (0.0, 0.0)
    down, up = (b - success.low) / b, (success.high - b) / b
    short, far = 1.0 - less**2, 1.0 - more**2
    low = short / (1.0 + np.sqrt(max(1.0 - short * (1.0 - up**2), 0.0)))
    high = np.inf
    if down < 1 and np.isfinite(more):
        wide = 1.0 - down**2
        high = (1.0 + np.sqrt(max(1.0 - far * wide, 0.0))) / wide
    return Interval(a / b, float(a / b * low), float(a / b * high))


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
