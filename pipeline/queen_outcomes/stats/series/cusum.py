"""Running series of an operator: risk-adjusted CUSUM and observed minus expected.

Steiner SH, Cook RJ, Farewell VT, Treasure T. Biostatistics 2000;1:441-452 (CUSUM);
Lovegrove J et al. Lancet 1997;350:1128-1130 (expected minus observed, or VLAD).
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


@dataclass(frozen=True)
class RunningSeries:
    """An operator's cases in order.

    Attributes
    ----------
    expected : ndarray, shape (n,)
        Failures expected up to and with each case, decided cases only.
    over_expected : ndarray, shape (n,)
        Failures observed minus expected up to each case.
    spread : ndarray, shape (n,)
        Standard deviation of that difference if nothing is unusual.
    worse, better : CusumPath
        For the odds of failure multiplied and divided by the odds ratio.
    """

    expected: np.ndarray
    over_expected: np.ndarray
    spread: np.ndarray
    worse: CusumPath
    better: CusumPath


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


def running_series(
    failed,
    risks,
    *,
    limit_worse: float = np.inf,
    limit_better: float = np.inf,
    odds_ratio: float = 2.0,
) -> RunningSeries:
    """Follow an operator's cases against their risks.

    Parameters
    ----------
    failed : array_like, shape (n,)
        1 failed, 0 not, NaN undecided; in the order of the series.
    risks : array_like, shape (n,)
        Risk of failure of each case before it was known; NaN makes a case undecided.
    limit_worse, limit_better : float
        Limits of the two CUSUMs.
    odds_ratio : float
        Above 1: how much worse, and its inverse how much better, is looked for.

    Returns
    -------
    RunningSeries
    """
    failed, risks = np.asarray(failed, float), np.asarray(risks, float)
    decided = ~(np.isnan(failed) | np.isnan(risks))
    expected = np.cumsum(np.where(decided, risks, 0.0))
    over = np.cumsum(np.where(decided, failed - risks, 0.0))
    variance = np.cumsum(np.where(decided, risks * (1.0 - risks), 0.0))
    paths = []
    for ratio, limit in ((odds_ratio, limit_worse), (1 / odds_ratio, limit_better)):
        success, failure = weights(risks, ratio)
        scores = np.where(failed > 0, failure, success)
        paths.append(cusum_path(np.where(decided, scores, np.nan), limit))
    return RunningSeries(expected, over, np.sqrt(variance), *paths)
