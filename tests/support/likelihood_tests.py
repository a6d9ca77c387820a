"""Likelihood-ratio tests of the plain and the penalised fit: a second opinion on Wald's.

The product tests by Wald alone, over all fillings together.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from queen_outcomes.stats.logistic import penalised
from queen_outcomes.stats.logistic.plain import Test
from queen_outcomes.stats.tails import chi2_sf


class Fit(Protocol):
    """A fit by maximum likelihood: coefficients, and the likelihood at them."""

    beta: np.ndarray
    log_likelihood: float


def likelihood_ratio(fuller: Fit, smaller: Fit) -> Test:
    """Test the terms by which two nested fits of the same rows differ.

    ``2 (l1 - l0)`` against chi-square; both fits unweighted or with counts as weights.
    """
    df = len(fuller.beta) - len(smaller.beta)
    statistic = max(2.0 * (fuller.log_likelihood - smaller.log_likelihood), 0.0)
    return Test(statistic, df, float(chi2_sf(statistic, df)))


def penalised_lr_test(X, y, columns: Sequence[int]) -> Test:
    """Test that the coefficients in ``columns`` are all zero.

    Twice the fall of the penalised likelihood when they are held at zero while the
    penalty stays that of all columns (Heinze and Schemper 2002); chi-square. A
    statistic of NaN says that there is no test.
    """
    columns, none = list(columns), Test(np.nan, len(columns), np.nan)
    rows, basis, _ = penalised._prepared(X, y)
    if basis is None or not columns:
        return none
    basis = penalised._rotated(rows, columns)
    start = np.zeros(basis.Z.shape[1])
    free, held = (penalised.climb(rows, basis.Z, start, k) for k in (0, len(columns)))
    if not (free.reached and held.reached):
        return none
    statistic = max(2.0 * (free.value - held.value), 0.0)
    p = float(chi2_sf(statistic, len(columns)))
    return Test(statistic, len(columns), p)
