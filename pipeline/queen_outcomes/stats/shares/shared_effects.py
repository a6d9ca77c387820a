"""What courses of one batch share: normal deviations of the log odds, several crossed.

A course's risk is an average over the deviations of its batches. What it is within
given batches follows from it: see `conditional_logits`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from queen_outcomes.stats.logistic.mixed_average import integrate_random

FLATTER = (16.0 * np.sqrt(3.0) / (15.0 * np.pi)) ** 2
"""How averaging flattens a logistic curve (Zeger, Liang and Albert 1988): a start."""
MOST_STEPS = 50
"""Newton steps before a log odds is taken as it is; three or four are usual."""
SETTLED = 1e-4
"""Change in the log odds that ends the search: the digits double with every step, and
the next one would be below 1e-8."""


@dataclass(frozen=True)
class SharedEffects:
    """Which batches each course is of, and how far batches deviate.

    Attributes
    ----------
    levels : ndarray of int, shape (n, K)
        Batch of each course in each of K groupings (graft batches, semen batches);
        -1 where it is not known: the course then shares nothing in that grouping.
    deviations : ndarray, shape (K,)
        Standard deviation of each grouping's batches, in log odds.
    """

    levels: np.ndarray
    deviations: np.ndarray


@dataclass(frozen=True)
class EffectColumns:
    """The deviations that some courses meet, numbered through all groupings.

    Attributes
    ----------
    index : ndarray of int, shape (n, K)
        Number of each course's deviation in each grouping.
    scale : ndarray, shape (m + 1,)
        Standard deviation of each; the last is zero and stands for "shares nothing".
    """

    index: np.ndarray
    scale: np.ndarray

    @property
    def total_deviation(self) -> np.ndarray:
        """Standard deviation of each course's log odds over its batches, shape (n,)."""
        return np.sqrt((self.scale[self.index] ** 2).sum(axis=1))

    def pull(self, steep: np.ndarray) -> np.ndarray:
        """How far one standard deviation of each moves the expected count, shape (m + 1,).

        ``steep`` is p (1 - p) of each course.
        """
        moved = np.zeros(len(self.scale))
        for index in self.index.T:
            moved += np.bincount(index, steep, len(moved))
        return moved * self.scale

    @property
    def nothing_shared(self) -> bool:
        """Whether courses are independent."""
        return not self.scale.any()


def effect_columns(shared: SharedEffects | None, n: int) -> EffectColumns:
    """Number the deviations of n courses; None stands for independent courses.

    Groupings with a deviation of zero take no number, so that they cannot change what
    is drawn for the others.
    """
    index, scale = [], []
    if shared is not None and n:
        levels = np.asarray(shared.levels).reshape(n, -1)
        for column, deviation in zip(levels.T, shared.deviations, strict=True):
            if not deviation > 0:
                continue
            names, place = np.unique(column, return_inverse=True)
            numbers = np.cumsum(names >= 0) - 1 + len(scale)
            index.append(np.where(names >= 0, numbers, -1)[place])
            scale += [float(deviation)] * int((names >= 0).sum())
    numbered = np.column_stack(index) if index else np.empty((n, 0), int)
    numbered = np.where(numbered < 0, len(scale), numbered)
    return EffectColumns(numbered, np.array([*scale, 0.0]))


def conditional_logits(risks, total_deviation) -> np.ndarray:
    """Log odds around which a normal deviation leaves the average risk as given.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Average risks; 0 and 1 stay what they are.
    total_deviation : array_like, shape (n,)
        Standard deviation of each log odds.

    Returns
    -------
    ndarray, shape (n,)
        eta with E expit(eta + deviation z) = risk, z standard normal; by Newton's
        method on the log odds of both sides.
    """
    wanted = logit(np.asarray(risks, float))
    spread = np.broadcast_to(np.asarray(total_deviation, float), wanted.shape)
    todo = np.isfinite(wanted) & (spread > 0)
    eta, target, sd = wanted[todo], wanted[todo], spread[todo]
    eta = eta * np.sqrt(1.0 + FLATTER * sd**2)
    for _ in range(MOST_STEPS):
        mean, slope, _ = integrate_random(eta, sd)
        step = (target - logit(mean)) * mean * (1.0 - mean) / slope
        eta = eta + step
        if not np.abs(step).max(initial=0.0) > SETTLED:
            break
    found = wanted.copy()
    found[todo] = eta
    return found
