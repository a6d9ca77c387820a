"""Does the share of success rise with the dose: a trend over scores that are named."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2, norm


@dataclass(frozen=True)
class TrendTest:
    """Cochran and Armitage's test and what it leaves over.

    Attributes
    ----------
    scored_by : str
        What the scores are, for example "doses in uL"; the answer depends on them.
    slope : float
        Change of the share for one step of score, by weighted least squares.
    z, p : float
        Trend, above 0 when the share rises; two-sided.
    total : float
        Pearson's chi-square of any difference, k - 1 degrees of freedom.
    lack_p : float
        Of what the line does not explain, ``total - z^2`` on k - 2 degrees of freedom;
        NaN with two groups.
    message : str
        Why there is nothing; empty when there is. The numbers are then NaN.
    """

    scored_by: str
    slope: float
    z: float
    p: float
    total: float
    lack_p: float
    message: str = ""


def trend_test(yes, n, scores, scored_by: str) -> TrendTest:
    """Test a trend of shares over scores.

    Parameters
    ----------
    yes, n : array_like, shape (k,)
        Counts a group, or effective counts where groups span batches
        (`design_effect.effective_counts`). Groups without courses are passed over.
    scores : array_like, shape (k,)
    scored_by : str
        The scores in words.

    Returns
    -------
    TrendTest

    Notes
    -----
    ``T = sum s (x - n P)``, ``V = P Q (sum n s^2 - (sum n s)^2 / N)``, ``z = T/sqrt V``.
    Armitage P. Biometrics 1955;11:375-386; Cochran WG. Biometrics 1954;10:417-451.
    """
    x, n, s = (np.asarray(v, np.float64) for v in (yes, n, scores))
    x, n, s = x[n > 0], n[n > 0], s[n > 0]
    total = n.sum()
    share = x.sum() / total if total > 0 else np.nan
    if len(n) < 2 or np.ptp(s) == 0:
        return _none(scored_by, "fewer than two doses have courses")
    if not 0 < share < 1:
        return _none(scored_by, "all courses answered alike")
    off = s - np.sum(n * s) / total
    lean, spread = np.sum(off * (x - n * share)), np.sum(n * off**2)
    z = float(lean / np.sqrt(share * (1 - share) * spread))
    pearson = float(np.sum((x - n * share) ** 2 / n) / (share * (1 - share)))
    lack, df = max(pearson - z * z, 0.0), len(n) - 2
    lack_p = float(chi2.sf(lack, df)) if df else np.nan
    p = float(2 * norm.sf(abs(z)))
    return TrendTest(scored_by, float(lean / spread), z, p, pearson, lack_p)


def _none(scored_by: str, why: str) -> TrendTest:
    return TrendTest(scored_by, *[np.nan] * 5, why)
