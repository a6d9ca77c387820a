"""How many courses a trial needs: from decided ones as if independent to queens and semen.

Numbers are fractions, as the formulas give them: rounding up is the last step of a plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm, t

from queen_outcomes.stats.shares.proportions import restricted_shares


def round_up(number: float) -> int:
    """Round up, but not for the last digit of a computed whole number."""
    return int(np.ceil(number - 1e-9))


def superiority_size(
    p1: float, p2: float, *, alpha: float = 0.05, power: float = 0.8
) -> float:
    """Give the decided courses an arm for a difference of two shares, tested two-sided.

    Parameters
    ----------
    p1, p2 : float
        Shares expected.
    alpha, power : float

    Returns
    -------
    float
        As if courses were independent; infinite where no number would do.

    Notes
    -----
    ``[z_a sqrt(2 P Q) + z_b sqrt(p1 q1 + p2 q2)]^2 / d^2``, ``P`` the shares' mean. Fleiss
    JL, Tytun A, Ury HK. Biometrics 1980;36:343-346, without their correction.
    """
    if not (_shares(p1, p2) and p1 != p2):
        return np.inf
    mean = (p1 + p2) / 2
    pooled, apart = np.sqrt(2 * mean * (1 - mean)), _spread(p1, p2)
    both = norm.isf(alpha / 2) * pooled + norm.ppf(power) * apart
    return float(both**2 / abs(p1 - p2) ** 2)


def margin_size(
    p1: float, p2: float, d0: float, *, alpha: float = 0.025, power: float = 0.8
) -> float:
    """Give the decided courses an arm to show that p1 exceeds p2 by more than d0.

    Parameters
    ----------
    p1, p2 : float
        Shares expected.
    d0 : float
        Minus the margin for "not worse"; the test is Farrington and Manning's.
    alpha, power : float
        One-sided alpha.

    Returns
    -------
    float
        As if courses were independent; infinite where no number would do.

    Notes
    -----
    ``[z_a sqrt(P1 Q1 + P2 Q2) + z_b sqrt(p1 q1 + p2 q2)]^2 / (p1 - p2 - d0)^2`` with P the
    limits of the restricted shares. Farrington CP, Manning G. Stat Med 1990;9:1447-1454.
    """
    if not (_shares(p1, p2) and p1 - p2 > d0):
        return np.inf
    P1, P2 = (float(p) for p in restricted_shares(p1, 1.0, p2, 1.0, d0))
    both = norm.isf(alpha) * _spread(P1, P2) + norm.ppf(power) * _spread(p1, p2)
    return float((both / (p1 - p2 - d0)) ** 2)


def _shares(*shares: float) -> bool:
    return all(0 <= p <= 1 for p in shares)


def _spread(p1: float, p2: float) -> float:
    return np.sqrt(p1 * (1 - p1) + p2 * (1 - p2))


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


def queens_needed(size: float, effect: float, decided_share: float) -> int:
    """Turn a size as if independent into queens of one arm; 0 where none would do.

    Parameters
    ----------
    size : float
        Decided courses of the arm as if independent.
    effect : float
        `design_effect` or `within_batch_effect`, for the decided courses of a batch.
    decided_share : float
        Share of the queens inseminated whose outcome is expected to be decided.
    """
    return round_up(size * effect / decided_share) if np.isfinite(size) else 0


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
    normal = norm.isf(alpha) + norm.ppf(power)
    return float(((t.isf(alpha, df) + t.ppf(power, df)) / normal) ** 2)


def enough_batches(
    size: float,
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
    size : float
        Decided courses of an arm as if independent.
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
    needed = size * effect / per_batch
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
