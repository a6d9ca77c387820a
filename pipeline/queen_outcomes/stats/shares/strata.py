"""Two arms compared inside blocks, and the blocks' answers pooled.

Mantel and Haenszel's estimates of odds ratio, risk ratio and difference of shares.
Limits treat courses as independent inside a block; see `batches` where they are not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm


@dataclass(frozen=True, eq=False)
class Strata:
    """Counts of two arms in each block, as floats: products of counts grow large.

    Attributes
    ----------
    a, n1 : ndarray, shape (k,)
        Yes and courses of the first arm.
    c, n2 : ndarray, shape (k,)
        Yes and courses of the second arm, which the first is compared with.
    """

    a: np.ndarray
    n1: np.ndarray
    c: np.ndarray
    n2: np.ndarray

    @property
    def b(self) -> np.ndarray:
        """No of the first arm."""
        return self.n1 - self.a

    @property
    def d(self) -> np.ndarray:
        """No of the second arm."""
        return self.n2 - self.c

    @property
    def n(self) -> np.ndarray:
        """Courses."""
        return self.n1 + self.n2

    @property
    def weight(self) -> np.ndarray:
        """Mantel and Haenszel's weight of a difference, ``n1 n2 / n``."""
        return self.n1 * self.n2 / self.n


@dataclass(frozen=True)
class Pooled:
    """An estimate pooled over blocks.

    Attributes
    ----------
    estimate, low, high : float
        NaN where there is none.
    se : float
        Of the logarithm for a ratio.
    strata : int
        Blocks that the estimate stands on.
    message : str
        Why there is nothing; empty when there is.
    """

    estimate: float
    low: float
    high: float
    se: float
    strata: int
    message: str = ""


def strata_of(yes1, n1, yes2, n2) -> Strata:
    """Take counts a block, leaving out blocks without both arms: these compare nothing."""
    parts = np.broadcast_arrays(*(np.atleast_1d(v) for v in (yes1, n1, yes2, n2)))
    table = np.array(parts, dtype=np.float64)
    return Strata(*table[:, (table[1] > 0) & (table[3] > 0)])


def odds_ratio(strata: Strata, level: float = 0.95) -> Pooled:
    """Pool the odds ratio, ``sum(a d / n) / sum(b c / n)``.

    A block whose courses all answered alike carries nothing about odds and drops out by
    itself. Limits on the logarithm: Robins J, Breslow N, Greenland S. Biometrics
    1986;42:311-323. With one block that is the usual ``1/a + 1/b + 1/c + 1/d``.
    """
    s, n = strata, strata.n
    P, Q = (s.a + s.d) / n, (s.b + s.c) / n
    R, S = s.a * s.d / n, s.b * s.c / n
    top, bottom = R.sum(), S.sum()
    used = int(np.sum((s.a + s.c > 0) & (s.b + s.d > 0)))
    if not (top > 0 and bottom > 0):
        return _no_ratio(top, bottom, used, "an arm's answers are all alike")
    variance = np.sum(P * R) / (2 * top**2)
    variance += np.sum(P * S + Q * R) / (2 * top * bottom)
    variance += np.sum(Q * S) / (2 * bottom**2)
    return _ratio(top / bottom, variance, level, used)


def risk_ratio(strata: Strata, level: float = 0.95) -> Pooled:
    """Pool the ratio of shares, ``sum(a n2 / n) / sum(c n1 / n)``.

    Limits on the logarithm: Greenland S, Robins JM. Biometrics 1985;41:55-68.
    """
    s, n = strata, strata.n
    top, bottom = np.sum(s.a * s.n2 / n), np.sum(s.c * s.n1 / n)
    used = int(np.sum(s.a + s.c > 0))
    if not (top > 0 and bottom > 0):
        return _no_ratio(top, bottom, used, "an arm has no yes")
    over = np.sum(((s.a + s.c) * s.n1 * s.n2 - s.a * s.c * n) / n**2)
    return _ratio(top / bottom, over / (top * bottom), level, used)


def risk_difference(
    strata: Strata, level: float = 0.95, *, variance: str = "sato"
) -> Pooled:
    """Pool the difference of shares, first arm minus second.

    Parameters
    ----------
    strata : Strata
        Blocks without a single yes, or without a single no, count: they say that the
        difference there was 0.
    level : float
    variance : {"sato", "greenland_robins"}
        Sato's holds for many small blocks as for few large ones.

    Returns
    -------
    Pooled

    Notes
    -----
    ``sum(a n2 / n - c n1 / n) / sum w``, ``w = n1 n2 / n``. Sato T. Biometrics
    1989;45:1323-1324; Greenland S, Robins JM. Biometrics 1985;41:55-68.
    """
    s, n, w = strata, strata.n, strata.weight
    if not len(n):
        return Pooled(*[np.nan] * 4, 0, "no block holds both arms")
    difference = np.sum((s.a * s.n2 - s.c * s.n1) / n) / w.sum()
    if variance == "sato":
        P = (s.n1**2 * s.c - s.n2**2 * s.a + s.n1 * s.n2 * (s.n2 - s.n1) / 2) / n**2
        Q = (s.a * s.d + s.c * s.b) / (2 * n)
        spread = difference * P.sum() + Q.sum()
    else:
        within = s.a * s.b * s.n2**3 + s.c * s.d * s.n1**3
        spread = np.sum(within / (s.n1 * s.n2 * n**2))
    se = float(np.sqrt(max(spread, 0.0)) / w.sum())
    reach = float(norm.isf((1 - level) / 2)) * se
    low, high = max(difference - reach, -1.0), min(difference + reach, 1.0)
    return Pooled(float(difference), float(low), float(high), se, len(n))


def _ratio(estimate: float, variance: float, level: float, used: int) -> Pooled:
    se = float(np.sqrt(max(variance, 0.0)))
    reach = float(norm.isf((1 - level) / 2)) * se
    low, high = estimate * np.exp(-reach), estimate * np.exp(reach)
    return Pooled(float(estimate), float(low), float(high), se, used)


def _no_ratio(top: float, bottom: float, used: int, why: str) -> Pooled:
    """Give 0 or infinity where one sum vanishes, without limits."""
    estimate = np.nan if not top > 0 and not bottom > 0 else 0.0
    estimate = np.inf if top > 0 and not bottom > 0 else estimate
    return Pooled(estimate, np.nan, np.nan, np.nan, used, f"no limits: {why}")
