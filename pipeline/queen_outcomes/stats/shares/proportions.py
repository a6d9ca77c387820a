"""Limits for a share and for the difference of two, from counts: score limits only.

The textbook limits (estimate plus or minus 1.96 standard errors) fail for small counts and
are not offered. The limits from the score test are the differences that it does not
reject, so that limits and P never contradict each other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from queen_outcomes.stats.refusals import refuse_counts, refuse_margin
from queen_outcomes.stats.tails import norm_isf, norm_sf, t_isf


@dataclass(frozen=True)
class Interval:
    """An estimate with its limits; the estimate is NaN where there is none."""

    estimate: float
    low: float
    high: float


def wilson(yes: float, n: float, level: float = 0.95) -> Interval:
    """Give a share with Wilson's limits.

    ``(x + z^2/2 -+ z sqrt(z^2/4 + n p q)) / (n + z^2)``. Newcombe RG. Stat Med
    1998;17:857-872, method 3. Counts may be fractions (an effective number);
    with none the limits are 0 and 1. Raises ValueError for counts that cannot be.
    """
    refuse_counts(yes, n)
    if not n > 0:
        return Interval(np.nan, 0.0, 1.0)
    z = norm_isf((1 - level) / 2)
    p = yes / n
    middle, arm = yes + z * z / 2, z * np.sqrt(z * z / 4 + n * p * (1 - p))
    low = 0.0 if yes <= 0 else (middle - arm) / (n + z * z)
    high = 1.0 if yes >= n else (middle + arm) / (n + z * z)
    return Interval(float(p), float(low), float(high))


def newcombe_difference(
    yes1: float, n1: float, yes2: float, n2: float, level: float = 0.95
) -> Interval:
    """Give the difference of two independent shares, first minus second.

    ``d - sqrt((p1-l1)^2 + (u2-p2)^2)`` to ``d + sqrt((u1-p1)^2 + (p2-l2)^2)`` with l
    and u Wilson's limits. Newcombe RG. Stat Med 1998;17:873-890, method 10.
    Without courses in an arm the limits are -1 and 1.
    """
    found = more_than(wilson(yes1, n1, level), wilson(yes2, n2, level))
    if not np.isfinite(found.estimate):
        return Interval(np.nan, -1.0, 1.0)
    return Interval(found.estimate, max(found.low, -1.0), min(found.high, 1.0))


def more_than(one: Interval, other: Interval) -> Interval:
    """Give one minus other, with limits recovered from the limits of both.

    Donner A, Zou GY. Stat Methods Med Res 2012;21:347-359 (from memory); Newcombe's
    limits are the case of two shares. The two are taken for independent, which is too
    wide where one model gave both.
    """
    step = one.estimate - other.estimate
    down = np.hypot(one.estimate - one.low, other.high - other.estimate)
    up = np.hypot(one.high - one.estimate, other.estimate - other.low)
    return Interval(step, float(step - down), float(step + up))


def difference_bounds(
    arm1: tuple[int, int, int], arm2: tuple[int, int, int]
) -> Interval:
    """Give a difference of shares and what the unseen could make of it.

    Parameters
    ----------
    arm1, arm2 : tuple of int
        Yes among the seen, seen, unseen.

    Returns
    -------
    Interval
        ``estimate`` among the seen; ``low`` with every unseen of the first arm a no
        and every unseen of the second a yes, ``high`` the other way round. These are
        bounds, not confidence limits.
    """
    (yes1, seen1, lost1), (yes2, seen2, lost2) = arm1, arm2
    all1, all2 = seen1 + lost1, seen2 + lost2
    if not (all1 and all2):
        return Interval(np.nan, -1.0, 1.0)
    seen = yes1 / seen1 - yes2 / seen2 if seen1 and seen2 else np.nan
    low = yes1 / all1 - (yes2 + lost2) / all2
    high = (yes1 + lost1) / all1 - yes2 / all2
    return Interval(seen, low, high)


Kind = Literal["mee", "miettinen_nurminen"]
POLISHED = 3
"""Newton steps after the closed form, which loses digits where roots lie close."""


@dataclass(frozen=True)
class ScoreTest:
    """A test of one difference of shares.

    Attributes
    ----------
    d0 : float
        The difference tested.
    shares : tuple of float
        The most likely two shares that differ by ``d0``.
    z : float
        Above 0 when the difference seen is larger; NaN without courses in an arm.
    p_above : float
        One-sided: of a true difference of at most ``d0``.
    p : float
        Two-sided.
    """

    d0: float
    shares: tuple[float, float]
    z: float
    p_above: float
    p: float


def restricted_shares(yes1, n1, yes2, n2, d0) -> tuple[np.ndarray, np.ndarray]:
    """Give the most likely shares among those that differ by ``d0``.

    Parameters
    ----------
    yes1, n1, yes2, n2 : array_like
        Counts, which may be fractions; n above 0.
    d0 : array_like
        First share minus second, -1 to 1.

    Returns
    -------
    p1, p2 : ndarray
        ``p1 - p2 = d0``, both from 0 to 1.

    Raises
    ------
    ValueError
        Counts or a difference that cannot be.

    Notes
    -----
    The root between ``max(0, -d0)`` and ``min(1, 1 - d0)`` of the cubic likelihood
    equation, by its trigonometric solution. Miettinen O, Nurminen M. Stat Med
    1985;4:213-226; Farrington CP, Manning G. Stat Med 1990;9:1447-1454.
    """
    x1, n1, x2, n2, d0 = (np.asarray(v, float) for v in (yes1, n1, yes2, n2, d0))
    refuse_counts(x1, n1)
    refuse_counts(x2, n2)
    refuse_margin(d0)
    n = n1 + n2
    c2 = ((n1 + 2 * n2) * d0 - n - x1 - x2) / n
    c1 = ((n2 * d0 - n - 2 * x2) * d0 + x1 + x2) / n
    c0 = x2 * d0 * (1 - d0) / n
    q = (c2 / 3) ** 3 - c1 * c2 / 6 + c0 / 2
    size = np.sqrt(np.maximum((c2 / 3) ** 2 - c1 / 3, 0.0))
    size = np.where(q < 0, -size, size)
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = np.where(size == 0, 0.0, q / size**3)
    angle = (np.pi + np.arccos(np.clip(turn, -1.0, 1.0))) / 3
    low, high = np.maximum(0.0, -d0), np.minimum(1.0, 1.0 - d0)
    p2 = np.clip(2 * size * np.cos(angle) - c2 / 3, low, high)
    for _ in range(POLISHED):
        p2 = np.clip(p2 - _newton_step(p2, c2, c1, c0), low, high)
    return np.clip(p2 + d0, 0.0, 1.0), p2


def _newton_step(p, c2, c1, c0) -> np.ndarray:
    """Step towards the nearest root; none where the cubic is level (a double root)."""
    value, slope = ((p + c2) * p + c1) * p + c0, (3 * p + 2 * c2) * p + c1
    level = np.abs(slope) < 1e-6
    step = value / np.where(level, 1.0, slope)
    return np.where(level | (np.abs(step) > 1e-6), 0.0, step)


def score_z(yes1, n1, yes2, n2, d0, kind: Kind = "mee") -> np.ndarray:
    """Give the score statistic of a difference ``d0``.

    ``(p1 - p2 - d0) / sqrt(P1 Q1 / n1 + P2 Q2 / n2)`` with the restricted shares P;
    Miettinen and Nurminen multiply it by ``sqrt((N - 1) / N)``. Broadcasts. Infinite
    where the restricted shares leave no variance but the data differ from ``d0``.
    """
    x1, n1, x2, n2, d0 = (np.asarray(v, float) for v in (yes1, n1, yes2, n2, d0))
    P1, P2 = restricted_shares(x1, n1, x2, n2, d0)
    away = x1 / n1 - x2 / n2 - d0
    variance = P1 * (1 - P1) / n1 + P2 * (1 - P2) / n2
    if kind == "miettinen_nurminen":
        variance = variance * (n1 + n2) / (n1 + n2 - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = away / np.sqrt(variance)
    return np.where(np.abs(away) < 1e-12, 0.0, z)


def score_test(
    yes1: float, n1: float, yes2: float, n2: float, d0: float, kind: Kind = "mee"
) -> ScoreTest:
    """Test whether the first share exceeds the second by more than ``d0``.

    With ``d0`` a margin below 0 this is Farrington and Manning's test of not being
    worse. Counts may be effective ones. Farrington CP, Manning G. Stat Med
    1990;9:1447-1454.
    """
    if not (n1 > 0 and n2 > 0):
        return ScoreTest(d0, (np.nan, np.nan), np.nan, np.nan, np.nan)
    P1, P2 = restricted_shares(yes1, n1, yes2, n2, d0)
    z = float(score_z(yes1, n1, yes2, n2, d0, kind))
    above, two = float(norm_sf(z)), float(2 * norm_sf(abs(z)))
    return ScoreTest(d0, (float(P1), float(P2)), z, above, two)


def score_limits(
    yes1: float,
    n1: float,
    yes2: float,
    n2: float,
    level: float = 0.95,
    kind: Kind = "mee",
) -> Interval:
    """Give the difference of two shares with limits from the score test.

    Parameters
    ----------
    yes1, n1, yes2, n2 : float
        Counts, which may be effective ones. Without courses in an arm the limits are
        -1 and 1.
    level : float
    kind : {"mee", "miettinen_nurminen"}
        "mee" belongs to Farrington and Manning's test.

    Returns
    -------
    Interval
        Every difference between the limits has a two-sided P above ``1 - level``.

    Notes
    -----
    Newcombe RG. Stat Med 1998;17:873-890, methods 5 (Mee) and 6 (Miettinen and
    Nurminen).
    """
    if not (n1 > 0 and n2 > 0):
        return Interval(np.nan, -1.0, 1.0)
    seen = yes1 / n1 - yes2 / n2

    def statistic(d0: float) -> float:
        return float(score_z(yes1, n1, yes2, n2, d0, kind))

    return _limits(statistic, seen, float(norm_isf((1 - level) / 2)))


def blocked_score_z(yes1, n1, yes2, n2, d0: float) -> float:
    """Give the score statistic of one difference shared by several blocks.

    Parameters
    ----------
    yes1, n1, yes2, n2 : array_like, shape (k,)
        Counts a block, both arms in each.
    d0 : float

    Notes
    -----
    ``sum w (p1 - p2 - d0) / sqrt(sum w^2 V(d0))`` with Mantel and Haenszel's weight
    ``w = n1 n2 / n`` and V from the restricted shares of each block; Miettinen and
    Nurminen 1985 for blocks, without their factor.
    """
    x1, n1, x2, n2 = (np.asarray(v, float) for v in (yes1, n1, yes2, n2))
    P1, P2 = restricted_shares(x1, n1, x2, n2, d0)
    weight = n1 * n2 / (n1 + n2)
    away = np.sum(weight * (x1 / n1 - x2 / n2 - d0))
    spread = np.sum(weight**2 * (P1 * (1 - P1) / n1 + P2 * (1 - P2) / n2))
    if abs(away) < 1e-12 * weight.sum():
        return 0.0
    return float(away / np.sqrt(spread)) if spread > 0 else float(np.inf * away)


def blocked_score_limits(
    yes1, n1, yes2, n2, level: float = 0.95, *, df: float = np.inf
) -> Interval:
    """Give the difference shared by several blocks, with the limits of that test.

    ``df`` are degrees of freedom of Student's t in place of the normal.
    """
    x1, n1, x2, n2 = (np.asarray(v, float) for v in (yes1, n1, yes2, n2))
    if not len(n1):
        return Interval(np.nan, -1.0, 1.0)
    weight = n1 * n2 / (n1 + n2)
    seen = float(np.sum(weight * (x1 / n1 - x2 / n2)) / weight.sum())
    reach = float(t_isf((1 - level) / 2, df))
    return _limits(lambda d0: blocked_score_z(x1, n1, x2, n2, d0), seen, reach)


def _limits(statistic: Callable[[float], float], seen: float, reach: float) -> Interval:
    """Find where the statistic, which falls with the difference tested, meets +-reach."""

    def excess(d0: float, wanted: float) -> float:
        return float(np.clip(statistic(d0), -1e6, 1e6)) - wanted

    def limit(end: float, wanted: float) -> float:
        near = end * (1 - 1e-12)
        if abs(statistic(near)) <= reach:  # not even the largest there is, is rejected
            return end
        from scipy.optimize import brentq  # late, as `stats/tails.py` says

        return float(brentq(excess, seen, near, args=(wanted,), xtol=1e-13))

    return Interval(float(seen), limit(-1.0, reach), limit(1.0, -reach))
