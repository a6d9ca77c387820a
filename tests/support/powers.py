"""The power of the tests that trials are sized for, to hold the sizes against."""

from __future__ import annotations

import numpy as np
from queen_outcomes.stats.shares.proportions import restricted_shares
from scipy.stats import norm


def superiority_power(n1, n2, p1, p2, *, alpha=0.05):
    """Power of the two-sided test of a difference, without correction.

    The other tail, a claim in the wrong direction, is not counted.
    """
    mean = (n1 * p1 + n2 * p2) / (n1 + n2)
    null = np.sqrt(mean * (1 - mean) * (1 / n1 + 1 / n2))
    true = np.sqrt(p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
    return float(norm.cdf((abs(p1 - p2) - norm.isf(alpha / 2) * null) / true))


def margin_power(n1, n2, p1, p2, d0, *, alpha=0.025):
    """Power of Farrington and Manning's test, one-sided."""
    P1, P2 = restricted_shares(n1 * p1, n1, n2 * p2, n2, d0)
    null = np.sqrt(P1 * (1 - P1) / n1 + P2 * (1 - P2) / n2)
    true = np.sqrt(p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
    return float(norm.cdf((p1 - p2 - d0 - norm.isf(alpha) * null) / true))
