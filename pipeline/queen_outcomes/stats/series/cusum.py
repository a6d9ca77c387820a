"""Sums of scores that never fall below zero: the risk-adjusted CUSUM.

Steiner SH, Cook RJ, Farewell VT, Treasure T. Biostatistics 2000;1:441-452.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

REACHED = 1e-9
"""Distance to a limit within which it is reached: sums of decimals are not exact."""


@dataclass(frozen=True)
class CusumPath:
    """A CUSUM after each case.

    Attributes
    ----------
    value : ndarray, shape (n,)
        The value reached, at or above the limit at a signal. An undecided case
        carries the value on; after a signal that is 0.
    signal : ndarray of bool, shape (n,)
        Cases at which the limit was reached. The series starts again at 0 after each.
    """

    value: np.ndarray
    signal: np.ndarray


def weights(risks, odds_ratio: float) -> tuple[np.ndarray, np.ndarray]:
    """Log-likelihood ratios of a case for odds multiplied against odds as they are.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Risk of failure of each case.
    odds_ratio : float
        2 looks for worse, 1/2 for better.

    Returns
    -------
    tuple of ndarray
        The weight of a success, ``-log(1 - p + R p)``, and of a failure,
        ``log R - log(1 - p + R p)``; each of shape (n,).
    """
    success = -np.log1p((odds_ratio - 1.0) * np.asarray(risks, float))
    return success, np.log(odds_ratio) + success


def changed_risks(risks, odds_ratio: float) -> np.ndarray:
    """Risks after the odds are multiplied: ``Q p / (1 - p + Q p)``."""
    risks = np.asarray(risks, float)
    return odds_ratio * risks / (1.0 + (odds_ratio - 1.0) * risks)


def cusum_path(scores, limit: float = np.inf) -> CusumPath:
    """Sum scores, never below zero, starting again after a signal.

    Parameters
    ----------
    scores : array_like, shape (n,)
        Weight of each case's answer; NaN for a case without one.
    limit : float
        Value at which there is a signal.

    Returns
    -------
    CusumPath
    """
    scores = np.asarray(scores, float)
    value, signal = np.zeros(len(scores)), np.zeros(len(scores), bool)
    now = 0.0
    for case, score in enumerate(scores.tolist()):
        if not math.isnan(score):
            now = max(0.0, now + score)
            signal[case] = now >= limit - REACHED
        value[case] = now
        if signal[case]:
            now = 0.0
    return CusumPath(value, signal)
