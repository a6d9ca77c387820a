"""Two arms compared inside blocks, the blocks' answers pooled, and whether they agree.

Mantel and Haenszel's estimates of odds ratio, risk ratio and difference of shares.
Limits treat courses as independent inside a block; see `clustered_strata` where they are not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.refusals import refuse_counts
from queen_outcomes.stats.tails import chi2_sf, norm_isf


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
class PooledDifference:
    """A difference of shares pooled over blocks.

    Attributes
    ----------
    estimate, low, high : float
        NaN where there is none.
    se : float
    message : str
        Why there is nothing; empty when there is.
    """

    estimate: float
    low: float
    high: float
    se: float
    message: str = ""


@dataclass(frozen=True)
class BlockTest:
    """A chi-square test over blocks; NaN where there is none, with the reason."""

    statistic: float
    df: int
    p: float
    message: str = ""


def strata_of(yes1, n1, yes2, n2) -> Strata:
    """Take counts a block, leaving out blocks without both arms: these compare nothing."""
    parts = np.broadcast_arrays(*(np.atleast_1d(v) for v in (yes1, n1, yes2, n2)))
    table = np.array(parts, dtype=np.float64)
    refuse_counts(table[[0, 2]], table[[1, 3]])
    return Strata(*table[:, (table[1] > 0) & (table[3] > 0)])


def odds_ratio(strata: Strata) -> float:
    """Pool the odds ratio, ``sum(a d / n) / sum(b c / n)``.

    Infinite where the second sum vanishes, NaN where both do. A block whose courses all
    answered alike carries nothing about odds and drops out by itself.
    """
    s = strata
    return _over(np.sum(s.a * s.d / s.n), np.sum(s.b * s.c / s.n))


def risk_ratio(strata: Strata) -> float:
    """Pool the ratio of shares, ``sum(a n2 / n) / sum(c n1 / n)``.

    Infinite where the second sum vanishes, NaN where both do.
    """
    s = strata
    return _over(np.sum(s.a * s.n2 / s.n), np.sum(s.c * s.n1 / s.n))


def _over(top: float, bottom: float) -> float:
    if bottom > 0:
        return float(top / bottom)
    return np.inf if top > 0 else np.nan


def risk_difference(strata: Strata, level: float = 0.95) -> PooledDifference:
    """Pool the difference of shares, first arm minus second.

    Parameters
    ----------
    strata : Strata
        Blocks without a single yes, or without a single no, count: they say that the
        difference there was 0.
    level : float

    Returns
    -------
    PooledDifference

    Notes
    -----
    ``sum(a n2 / n - c n1 / n) / sum w``, ``w = n1 n2 / n``, with the variance of Sato T.
    Biometrics 1989;45:1323-1324: right for many small blocks as for few large ones.
    """
    s, n, w = strata, strata.n, strata.weight
    if not len(n):
        return PooledDifference(*[np.nan] * 4, "no block holds both arms")
    difference = np.sum((s.a * s.n2 - s.c * s.n1) / n) / w.sum()
    P = (s.n1**2 * s.c - s.n2**2 * s.a + s.n1 * s.n2 * (s.n2 - s.n1) / 2) / n**2
    Q = (s.a * s.d + s.c * s.b) / (2 * n)
    spread = difference * P.sum() + Q.sum()
    se = float(np.sqrt(max(spread, 0.0)) / w.sum())
    reach = float(norm_isf((1 - level) / 2)) * se
    low, high = max(difference - reach, -1.0), min(difference + reach, 1.0)
    return PooledDifference(float(difference), float(low), float(high), se)


def breslow_day_test(strata: Strata) -> BlockTest:
    """Test that the odds ratio is the same in every block.

    Parameters
    ----------
    strata : Strata
        Blocks whose courses all answered alike say nothing and are not counted.

    Notes
    -----
    Breslow NE, Day NE. Statistical Methods in Cancer Research I, 1980.
    """
    s = _mixed(strata)
    ratio = odds_ratio(s)
    if len(s.n) < 2:
        few = "fewer than two blocks with both arms and both answers"
        return BlockTest(np.nan, max(len(s.n) - 1, 0), np.nan, few)
    if not 0 < ratio < np.inf:
        why = "no odds ratio to hold the blocks against"
        return BlockTest(np.nan, len(s.n) - 1, np.nan, why)
    fitted = _fitted(s, ratio)
    parts = (fitted, s.n1 - fitted, s.a + s.c - fitted, s.n2 - s.a - s.c + fitted)
    spread = 1.0 / sum(1.0 / part for part in parts)
    statistic, df = float(np.sum((s.a - fitted) ** 2 / spread)), len(s.n) - 1
    return BlockTest(statistic, df, float(chi2_sf(statistic, df)))


def _mixed(s: Strata) -> Strata:
    kept = (s.a + s.c > 0) & (s.b + s.d > 0)
    return Strata(s.a[kept], s.n1[kept], s.c[kept], s.n2[kept])


def _fitted(s: Strata, ratio: float) -> np.ndarray:
    """Give the yes of the first arm that have the block's sums and this odds ratio.

    Of ``x (n2 - m + x) = ratio (n1 - x) (m - x)`` the root that leaves no cell below 0,
    in the form that stays exact as the ratio nears 1.
    """
    m = s.a + s.c
    square = 1.0 - ratio
    line = s.n2 - m + ratio * (s.n1 + m)
    constant = -ratio * s.n1 * m
    root = np.sqrt(np.maximum(line**2 - 4 * square * constant, 0.0))
    return -2 * constant / (line + root)
