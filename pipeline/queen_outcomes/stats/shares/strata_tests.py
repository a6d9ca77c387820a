"""Tests over blocks: is there a difference at all, and is it the same in every block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from queen_outcomes.stats.shares.strata import Strata, odds_ratio


@dataclass(frozen=True)
class BlockTest:
    """A chi-square test over blocks; NaN where there is none, with the reason."""

    statistic: float
    df: int
    p: float
    message: str = ""


def mantel_haenszel_test(strata: Strata, *, continuity: bool = False) -> BlockTest:
    """Test that the arms do not differ in any block (Cochran, Mantel and Haenszel).

    Parameters
    ----------
    strata : Strata
    continuity : bool
        Take 1/2 off the distance, but no more than the distance itself.

    Notes
    -----
    ``(|sum(a - E)| - 1/2)^2 / sum V`` with E and V of the hypergeometric distribution.
    """
    s = strata
    yes, no, n = s.a + s.c, s.b + s.d, s.n
    expected = s.n1 * yes / n
    spread = s.n1 * s.n2 * yes * no / (n**2 * np.maximum(n - 1, 1))
    if not spread.sum() > 0:
        return BlockTest(np.nan, 1, np.nan, "all courses answered alike")
    away = abs(np.sum(s.a - expected))
    away -= min(0.5, away) if continuity else 0.0
    return _chi_square(away**2 / spread.sum(), 1)


def breslow_day_test(strata: Strata, *, tarone: bool = False) -> BlockTest:
    """Test that the odds ratio is the same in every block.

    Parameters
    ----------
    strata : Strata
        Blocks whose courses all answered alike say nothing and are not counted.
    tarone : bool
        With Tarone's correction for the pooled ratio not being the most likely one.

    Notes
    -----
    Breslow NE, Day NE. Statistical Methods in Cancer Research I, 1980; Tarone RE.
    Biometrika 1985;72:91-95.
    """
    s = _mixed(strata)
    ratio = odds_ratio(s).estimate
    if len(s.n) < 2 or not 0 < ratio < np.inf:
        return _nothing(s, "no odds ratio to hold the blocks against")
    fitted = _fitted(s, ratio)
    parts = (fitted, s.n1 - fitted, s.a + s.c - fitted, s.n2 - s.a - s.c + fitted)
    spread = 1.0 / sum(1.0 / part for part in parts)
    statistic = np.sum((s.a - fitted) ** 2 / spread)
    if tarone:
        statistic -= np.sum(s.a - fitted) ** 2 / spread.sum()
    return _chi_square(max(statistic, 0.0), len(s.n) - 1)


def woolf_test(strata: Strata) -> BlockTest:
    """Test that the odds ratio is the same in every block, from the blocks' logarithms.

    A block with an empty cell has 1/2 added to each of its cells. Woolf B. Ann Hum
    Genet 1955;19:251-253 (source named from memory).
    """
    s = _mixed(strata)
    if len(s.n) < 2:
        return _nothing(s, "")
    cells = np.array([s.a, s.b, s.c, s.d])
    cells = cells + 0.5 * np.any(cells == 0, axis=0)
    log_ratio = np.log(cells[0] * cells[3] / (cells[1] * cells[2]))
    weight = 1.0 / np.sum(1.0 / cells, axis=0)
    middle = np.sum(weight * log_ratio) / weight.sum()
    return _chi_square(np.sum(weight * (log_ratio - middle) ** 2), len(s.n) - 1)


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


def _nothing(s: Strata, why: str) -> BlockTest:
    few = "fewer than two blocks with both arms and both answers"
    return BlockTest(np.nan, max(len(s.n) - 1, 0), np.nan, few if len(s.n) < 2 else why)


def _chi_square(statistic: float, df: int) -> BlockTest:
    return BlockTest(float(statistic), df, float(chi2.sf(statistic, df)))
