"""How many of some courses fail, each with its own risk: the distribution and its tails.

`independent_counts` takes courses as independent; `batch_tails` lets courses of one
batch share their fate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from queen_outcomes.stats.shares.batch_points import BatchPoints, batch_points
from queen_outcomes.stats.shares.count_mixture import mixture_tails
from queen_outcomes.stats.shares.shared_effects import (
    SharedEffects,
    conditional_logits,
    effect_columns,
)

FEW = 32
"""Courses up to which the distribution is built one course at a time."""


@dataclass(frozen=True)
class Tails:
    """Both mid-P tails at a number of failures.

    Attributes
    ----------
    below, above : float
        Chance of fewer and of more failures, each with half the chance of as many.
    """

    below: float
    above: float

    @property
    def two_sided(self) -> float:
        """Twice the smaller tail, at most 1."""
        return min(1.0, 2.0 * min(self.below, self.above))


@dataclass(frozen=True)
class CountDistribution:
    """Distribution of a number of failures.

    Attributes
    ----------
    pmf : ndarray, shape (n + 1,)
        Chance of 0, 1, ..., n failures.
    """

    pmf: np.ndarray

    @property
    def courses(self) -> int:
        """How many courses can fail."""
        return len(self.pmf) - 1

    @property
    def mean(self) -> float:
        """Expected number of failures."""
        return float(self.pmf @ np.arange(len(self.pmf)))

    @property
    def variance(self) -> float:
        """Variance of the number of failures."""
        return float(self.pmf @ (np.arange(len(self.pmf)) - self.mean) ** 2)

    def lower(self, k: int) -> float:
        """Chance of at most k failures."""
        return float(min(self.pmf[: max(k + 1, 0)].sum(), 1.0))

    def upper(self, k: int) -> float:
        """Chance of at least k failures."""
        return float(min(self.pmf[max(k, 0) :].sum(), 1.0))

    def mid_lower(self, k: int) -> float:
        """Chance of fewer than k failures, and half the chance of k (mid-P)."""
        return (self.lower(k - 1) + self.lower(k)) / 2

    def mid_upper(self, k: int) -> float:
        """Chance of more than k failures, and half the chance of k (mid-P)."""
        return (self.upper(k + 1) + self.upper(k)) / 2

    def two_sided(self, k: int) -> float:
        """Twice the smaller mid-P tail at k failures, at most 1."""
        return self.tails(k).two_sided

    def tails(self, k: int) -> Tails:
        """Both mid-P tails at k failures."""
        return Tails(self.mid_lower(k), self.mid_upper(k))


def independent_counts(risks) -> CountDistribution:
    """Distribution of the number of failures of independent courses.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Chance of failure of each course.

    Returns
    -------
    CountDistribution
        Exact: halves of the courses are convolved with each other, sums of positive
        numbers only, so that small tails keep their digits. (Poisson-binomial; see
        Hong Y. Computational Statistics and Data Analysis 2013;59:41-51.)
    """
    return CountDistribution(_convolved(np.asarray(risks, float).ravel()))


def batch_tails(
    risks,
    failures: int,
    shared: SharedEffects | None = None,
    *,
    seed: int = 0,
    logits: np.ndarray | None = None,
) -> Tails:
    """Tails of the number of failures when courses of a batch share their fate.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Chance of failure of each course, averaged over batches: these are kept.
    failures : int
        0 to n.
    shared : SharedEffects, optional
        Batches and their deviations; without them courses are independent.
    seed : int
        Seed of the drawn batches.
    logits : ndarray, shape (n,), optional
        The `conditional_logits` of the risks where they are known already.

    Returns
    -------
    Tails
        Given the batches' deviations courses are independent; the tails of their
        distribution are averaged over weighted draws of the deviations
        (Rao-Blackwell).
    """
    risks = np.asarray(risks, float).ravel()
    columns = effect_columns(shared, len(risks))
    if columns.nothing_shared:
        return independent_counts(risks).tails(failures)
    if logits is None:
        logits = conditional_logits(risks, columns.total_deviation)
    return tails_given(logits, batch_points(risks, columns, seed), failures)


def tails_given(logits: np.ndarray, points: BatchPoints, failures: int) -> Tails:
    """Tails at given draws.

    The same draws for several risks make tails that rise or fall with the risks.

    Parameters
    ----------
    logits : ndarray, shape (n,)
        Log odds of each course where no batch deviates, as of `conditional_logits`.
    points : BatchPoints
    failures : int
        0 to n.
    """
    if not expit(logits).mean() > 0.5:
        return Tails(*mixture_tails(logits, points, failures))
    turned = mixture_tails(-logits, points.turned(), len(logits) - failures)
    return Tails(*turned[::-1])


def _convolved(risks: np.ndarray) -> np.ndarray:
    if len(risks) > FEW:
        half = len(risks) // 2
        return np.convolve(_convolved(risks[:half]), _convolved(risks[half:]))
    pmf = np.zeros(len(risks) + 1)
    pmf[0] = 1.0
    for risk in risks:
        pmf[1:] = pmf[1:] * (1.0 - risk) + pmf[:-1] * risk
        pmf[0] *= 1.0 - risk
    return pmf
