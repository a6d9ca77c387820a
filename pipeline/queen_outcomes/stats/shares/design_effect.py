"""What a share loses because the queens of one batch share their fate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


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


def effective_counts(
    found: ClusteredShare, *, never_above: bool = True
) -> tuple[float, float]:
    """Divide yes and courses by the design effect, for tests that take counts.

    Parameters
    ----------
    found : ClusteredShare
    never_above : bool
        Batches more alike than chance do not make more courses than there were.

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
    effect = max(effect, 1.0) if never_above else effect
    return found.yes / effect, found.n / effect
