"""How many courses a trial needs: from decided ones as if independent to queens and semen.

Numbers are fractions, as the formulas give them: rounding up is the last step of a plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.shares.proportions import restricted_shares
from queen_outcomes.stats.tails import norm_isf, t_isf


@dataclass(frozen=True)
class Size:
    """Decided courses of the first and the second arm, as if independent.

    Infinite where no number would do, with the reason.
    """

    first: float
    second: float
    message: str = ""


def round_up(number: float) -> int:
    """Round up, but not for the last digit of a computed whole number."""
    return int(np.ceil(number - 1e-9))


def superiority_size(
    p1: float,
    p2: float,
    *,
    alpha: float = 0.05,
    power: float = 0.8,
    ratio: float = 1.0,
) -> Size:
    """Give the size for a difference of two shares, tested two-sided.

    Parameters
    ----------
    p1, p2 : float
        Shares expected.
    alpha, power : float
    ratio : float
        Courses of the second arm for one of the first.

    Returns
    -------
    Size

    Notes
    -----
    ``[z_a sqrt((r+1)PQ) + z_b sqrt(r p1 q1 + p2 q2)]^2 / (r d^2)``, ``P`` the shares'
    mean, without correction for continuity. Fleiss JL, Tytun A, Ury HK. Biometrics
    1980;36:343-346.
    """
    if not (_shares(p1, p2) and p1 != p2):
        return Size(np.inf, np.inf, "no difference to find")
    r, gap = ratio, abs(p1 - p2)
    pooled, apart = _spreads(p1, p2, r)
    m = (norm_isf(alpha / 2) * pooled - norm_isf(power) * apart) ** 2 / (r * gap**2)
    return Size(float(m), float(r * m))


def margin_size(
    p1: float,
    p2: float,
    d0: float,
    *,
    alpha: float = 0.025,
    power: float = 0.8,
    ratio: float = 1.0,
) -> Size:
    """Give the size to show that the first share exceeds the second by more than d0.

    Parameters
    ----------
    p1, p2 : float
        Shares expected.
    d0 : float
        Minus the margin for "not worse"; the test is Farrington and Manning's.
    alpha, power : float
        One-sided alpha.
    ratio : float
        Courses of the second arm for one of the first.

    Returns
    -------
    Size

    Notes
    -----
    ``[z_a sqrt(P1 Q1 + P2 Q2 / r) + z_b sqrt(p1 q1 + p2 q2 / r)]^2 / (p1 - p2 - d0)^2``
    with P the limits of the restricted shares. Farrington CP, Manning G. Stat Med
    1990;9:1447-1454.
    """
    if not (_shares(p1, p2) and p1 - p2 > d0):
        return Size(np.inf, np.inf, "the shares expected do not lie above the margin")
    null, true = _margin_spreads(p1, p2, d0, ratio)
    sum_of_both = norm_isf(alpha) * null - norm_isf(power) * true
    n1 = (sum_of_both / (p1 - p2 - d0)) ** 2
    return Size(float(n1), float(ratio * n1))


def _shares(*shares: float) -> bool:
    return all(0 <= p <= 1 for p in shares)


def _spreads(p1: float, p2: float, r: float) -> tuple[float, float]:
    """Deviations without and with a difference, in the formula's units."""
    mean = (p1 + r * p2) / (1 + r)
    pooled = np.sqrt((r + 1) * mean * (1 - mean))
    return pooled, np.sqrt(r * p1 * (1 - p1) + p2 * (1 - p2))


def _margin_spreads(p1: float, p2: float, d0: float, r: float) -> tuple[float, float]:
    P1, P2 = (float(p) for p in restricted_shares(p1, 1.0, r * p2, r, d0))
    null = np.sqrt(P1 * (1 - P1) + P2 * (1 - P2) / r)
    return null, np.sqrt(p1 * (1 - p1) + p2 * (1 - p2) / r)


MOST_BATCHES = 100_000
POWER = 0.8
"""Chance of a verdict that a size is given for where nobody states another."""


def design_effect(per_batch: float, icc: float, cv: float = 0.0) -> float:
    """Give the factor on the size when whole batches go to one arm.

    ``1 + ((cv^2 + 1) m - 1) ICC`` with cv that of the batch sizes; Donner and Klar 2000;
    Eldridge SM et al. Int J Epidemiol 2006;35:1292-1300. With less than one course a
    batch, 1.
    """
    return max(1.0 + ((cv**2 + 1) * per_batch - 1) * icc, 1.0)


def within_batch_effect(
    per_batch_and_arm: float, icc: float, arm_by_batch: float = 0.0
) -> float:
    """Give the factor on the size when every batch holds both arms.

    Parameters
    ----------
    per_batch_and_arm : float
        Courses of a batch that go to one arm.
    icc : float
        Correlation of two courses of one batch and arm: a station's own, from records
        of one protocol.
    arm_by_batch : float
        The part of ``icc`` that two courses of one batch in different arms do not
        share. Unknown, it is not 0 for sure: a plan may take a part of ``icc``.

    Returns
    -------
    float
        ``1 - (icc - a) + (m - 1) a`` with ``a = arm_by_batch``.

    Notes
    -----
    The variance of a batch's own difference, over that of independent courses:
    ``(1 - icc + m a)``. What the arms share cancels.
    """
    return 1.0 - icc + per_batch_and_arm * arm_by_batch


@dataclass(frozen=True)
class ArmPlan:
    """What one arm of a trial needs.

    Attributes
    ----------
    decided : float
        Decided courses, batches allowed for.
    effect : float
        The factor that batches put on the size.
    queens : int
        To be inseminated, so that enough are decided.
    batches : int
        Whole batches of this arm, or batches that hold both arms.
    message : str
    """

    decided: float
    effect: float
    queens: int
    batches: int
    message: str = ""


@dataclass(frozen=True)
class Dose:
    """An arm's queens, and the semen that each of them gets, uL over all doses."""

    arm: str
    queens: int
    dose_ul: float


@dataclass(frozen=True)
class Ready:
    """What is to be had ready for a trial: queens, uL of semen, drones to handle."""

    queens: int
    semen_ul: float
    drones: int


def arm_plan(
    size: float, per_batch: float, effect: float, decided_share: float = 1.0
) -> ArmPlan:
    """Turn a size as if independent into queens and batches of one arm.

    Parameters
    ----------
    size : float
        Decided courses of the arm as if independent.
    per_batch : float
        Queens of a batch that go to this arm and are inseminated.
    effect : float
        `design_effect` or `within_batch_effect`, for the decided courses of a batch.
    decided_share : float
        Share of the queens inseminated whose outcome is expected to be decided.
    """
    if not (np.isfinite(size) and per_batch > 0 and 0 < decided_share <= 1):
        return ArmPlan(np.inf, effect, 0, 0, "no number of queens would do")
    decided = size * effect
    queens = decided / decided_share
    return ArmPlan(decided, effect, round_up(queens), round_up(queens / per_batch))


def few_batches_factor(
    batches: int, *, arms_share_batches: bool, alpha: float = 0.025, power: float = 0.8
) -> float:
    """Give the factor by which few batches raise a size.

    Limits over batches take Student's t instead of the normal:
    ``((t_a + t_b) / (z_a + z_b))^2`` with G - 1 degrees of freedom where batches hold
    both arms, G - 2 where each holds one. ``batches`` are those of the whole trial,
    alpha is one-sided. Infinite without degrees of freedom.
    """
    df = batches - (1 if arms_share_batches else 2)
    if df < 1:
        return np.inf
    normal = norm_isf(alpha) - norm_isf(power)
    return float(((t_isf(alpha, df) - t_isf(power, df)) / normal) ** 2)


def enough_batches(
    size: Size,
    per_batch: float,
    effect: float,
    *,
    arms_share_batches: bool,
    alpha: float = 0.025,
    power: float = 0.8,
) -> int:
    """Give the fewest batches an arm with which the size holds, few batches allowed for.

    Parameters
    ----------
    size : Size
        The larger arm counts.
    per_batch : float
        Decided courses of a batch in an arm.
    effect : float
    arms_share_batches : bool
        Whether each batch holds both arms.
    alpha, power : float
        One-sided alpha.

    Returns
    -------
    int
        0 where no number would do.
    """
    needed = max(size.first, size.second) * effect / per_batch
    if not needed < MOST_BATCHES:
        return 0
    batches = max(round_up(needed), 2)
    while True:
        trial = batches if arms_share_batches else 2 * batches
        more = few_batches_factor(
            trial, arms_share_batches=arms_share_batches, alpha=alpha, power=power
        )
        if batches >= needed * more - 1e-9:
            return batches
        batches += 1


def to_have_ready(arms: Sequence[Dose], ul_a_drone: float, spare: float = 0.0) -> Ready:
    """Add up queens, semen and drones over the arms.

    Parameters
    ----------
    arms : sequence of Dose
    ul_a_drone : float
        uL of semen from a drone handled, yielding or not.
    spare : float
        Share of the semen to have over, for what is lost on the way.
    """
    semen = sum(arm.queens * arm.dose_ul for arm in arms) * (1 + spare)
    drones = round_up(semen / ul_a_drone) if ul_a_drone > 0 else 0
    return Ready(sum(arm.queens for arm in arms), float(semen), drones)
