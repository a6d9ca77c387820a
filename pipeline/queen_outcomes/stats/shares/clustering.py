"""How alike the queens of one batch turn out, and what a share loses by it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.refusals import refuse_counts


@dataclass(frozen=True)
class ClusteredShare:
    """A share over batches.

    Attributes
    ----------
    share, se : float
        The standard error is that of a ratio of batch totals; NaN with one batch.
    design_effect : float
        Its square over that of independent courses; NaN where the share is 0 or 1.
    yes, n : float
    batches : int
    """

    share: float
    se: float
    design_effect: float
    yes: float
    n: float
    batches: int


def batch_counts(success, clusters) -> tuple[np.ndarray, np.ndarray]:
    """Give successes and courses of each batch."""
    code = np.unique(clusters, return_inverse=True)[1]
    return np.bincount(code, success), np.bincount(code).astype(float)


def clustered_share(yes, n) -> ClusteredShare:
    """Give a share from counts a batch, with the standard error of a ratio.

    ``se^2 = G / (G - 1) sum((y - p n)^2) / N^2``. Rao JNK, Scott AJ. Biometrics
    1992;48:577-585.
    """
    y, n = np.asarray(yes, np.float64), np.asarray(n, np.float64)
    refuse_counts(y, n)
    y, n = y[n > 0], n[n > 0]
    batches, total = len(n), n.sum()
    if not total > 0:
        return ClusteredShare(np.nan, np.nan, np.nan, 0.0, 0.0, 0)
    share = y.sum() / total
    if batches < 2:
        nothing = (float(y.sum()), float(total), batches)
        return ClusteredShare(float(share), np.nan, np.nan, *nothing)
    variance = batches / (batches - 1) * np.sum((y - share * n) ** 2) / total**2
    alone = share * (1 - share) / total
    effect = variance / alone if alone > 0 else np.nan
    return ClusteredShare(
        *(float(share), float(np.sqrt(variance)), float(effect)),
        *(float(y.sum()), float(total), batches),
    )


def effective_counts(found: ClusteredShare) -> tuple[float, float]:
    """Divide yes and courses by the design effect, for tests that take counts.

    Batches more alike than chance do not make more courses than there were.

    Parameters
    ----------
    found : ClusteredShare

    Returns
    -------
    yes, n : float
        The counts themselves where there is no design effect.

    Notes
    -----
    Rao and Scott 1992: a test on such counts is the usual test, adjusted.
    """
    effect = found.design_effect
    if not effect > 0:
        return found.yes, found.n
    effect = max(effect, 1.0)
    return found.yes / effect, found.n / effect


@dataclass(frozen=True)
class Alikeness:
    """Correlation of two courses of one batch, from 0/1 answers.

    Attributes
    ----------
    icc : float
        As estimated, which may be below 0; NaN where there is none.
    n0 : float
        Typical courses a batch, as the analysis of variance weighs them.
    mean_size, cv : float
        Of the batches: mean, and standard deviation (divisor G) over it.
    batches, courses : int
    message : str
        Empty, or why there is nothing or what to keep in mind.
    """

    icc: float
    n0: float
    mean_size: float
    cv: float
    batches: int
    courses: int
    message: str = ""

    @property
    def for_planning(self) -> float:
        """The correlation, not below 0: a plan does not count on luck."""
        return max(self.icc, 0.0) if np.isfinite(self.icc) else self.icc


@dataclass(frozen=True)
class ArmsWithinBatches:
    """How alike two courses of one batch are, in the same arm and across arms.

    ``across`` is what comparing arms within batches removes; ``arm_by_batch``, the rest,
    is what it does not. NaN where no batch has two such courses.
    """

    same_arm: float
    across: float
    arm_by_batch: float
    batches: int


def anova_icc(y, batch) -> Alikeness:
    """Estimate the intraclass correlation by analysis of variance.

    Parameters
    ----------
    y : array_like, shape (n,)
        0/1; NaN is passed over.
    batch : array_like, shape (n,)

    Returns
    -------
    Alikeness

    Notes
    -----
    ``(MSB - MSW) / (MSB + (n0 - 1) MSW)``, ``n0 = (N - sum n^2 / N) / (G - 1)``.
    Donner A, Klar N. Design and Analysis of Cluster Randomization Trials, 2000.
    """
    y, batch = _seen(y, batch)
    _, code = np.unique(batch, return_inverse=True)
    n, yes = np.bincount(code), np.bincount(code, y)
    return icc_of_counts(yes, n)


def icc_of_counts(yes, n) -> Alikeness:
    """Estimate the same from yes and courses a batch, both of shape (G,)."""
    y, n = np.asarray(yes, np.float64), np.asarray(n, np.float64)
    y, n = y[n > 0], n[n > 0]
    batches, total = len(n), n.sum()
    mean = total / batches if batches else np.nan
    cv = float(n.std() / mean) if batches else np.nan
    sizes = (float(mean), cv, batches, int(total))
    if batches < 2 or total <= batches:
        why = "needs two batches, one of them with two decided courses"
        return Alikeness(np.nan, np.nan, *sizes, why)
    p = y / n
    between = np.sum(n * (p - y.sum() / total) ** 2) / (batches - 1)
    within = np.sum(n * p * (1 - p)) / (total - batches)
    n0 = (total - np.sum(n**2) / total) / (batches - 1)
    spread = between + (n0 - 1) * within
    if not spread > 0:
        return Alikeness(np.nan, float(n0), *sizes, "all courses answered alike")
    few = f"from {batches} batches: rough" if batches < 20 else ""
    return Alikeness(float((between - within) / spread), float(n0), *sizes, few)


def arms_within_batches(y, arm, batch) -> ArmsWithinBatches:
    """Estimate how alike courses of one batch are, by arm.

    Parameters
    ----------
    y : array_like, shape (n,)
        0/1; NaN is passed over.
    arm, batch : array_like, shape (n,)

    Returns
    -------
    ArmsWithinBatches

    Notes
    -----
    Mean product of the deviations from the arm's share over all pairs of courses of one
    batch, pairs of one arm and of two apart, over the mean variance: moments, no model.
    """
    y = np.asarray(y, float)
    arm, batch = np.asarray(arm)[np.isfinite(y)], np.asarray(batch)[np.isfinite(y)]
    y = y[np.isfinite(y)]
    (arms, a), (batches, b) = (np.unique(v, return_inverse=True) for v in (arm, batch))
    n = np.zeros((len(batches), len(arms)))
    yes = n.copy()
    np.add.at(n, (b, a), 1.0)
    np.add.at(yes, (b, a), y)
    share = yes.sum(axis=0) / np.maximum(n.sum(axis=0), 1)
    off = yes - n * share
    squares = yes * (1 - share) ** 2 + (n - yes) * share**2
    variance = squares.sum() / n.sum() if n.sum() else 0.0
    same = _ratio(np.sum(off**2 - squares), np.sum(n * (n - 1)), variance)
    pairs = np.sum(n.sum(axis=1) ** 2 - np.sum(n**2, axis=1))
    cross = np.sum(off.sum(axis=1) ** 2 - np.sum(off**2, axis=1))
    across = _ratio(cross, pairs, variance)
    return ArmsWithinBatches(same, across, same - across, len(n))


def _ratio(products: float, pairs: float, variance: float) -> float:
    return float(products / pairs / variance) if pairs > 0 and variance > 0 else np.nan


def _seen(y, batch) -> tuple[np.ndarray, np.ndarray]:
    y, batch = np.asarray(y, float), np.asarray(batch)
    return y[np.isfinite(y)], batch[np.isfinite(y)]
