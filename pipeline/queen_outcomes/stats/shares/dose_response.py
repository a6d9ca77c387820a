"""A trend of success over doses, and the dose for a stated share of success."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from queen_outcomes.stats.tails import chi2_sf, norm_sf


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


def trend_test(yes, n, scores, scored_by: str, strata=None) -> TrendTest:
    """Test a trend of shares over scores, within strata where there are any.

    Parameters
    ----------
    yes, n : array_like, shape (k,)
        Counts a group, or effective counts where groups span batches
        (`design_effect.effective_counts`). Groups without courses are passed over.
    scores : array_like, shape (k,)
    scored_by : str
        The scores in words.
    strata : array_like, shape (k,), optional
        The stratum of each group: groups are compared with others of theirs alone.

    Returns
    -------
    TrendTest

    Notes
    -----
    ``T = sum s (x - n P)``, ``V = P Q (sum n s^2 - (sum n s)^2 / N)``, ``z = T/sqrt V``;
    T and V are added up over strata, each with its own P and N.
    Armitage P. Biometrics 1955;11:375-386; Cochran WG. Biometrics 1954;10:417-451;
    Mantel N. J Am Stat Assoc 1963;58:690-700 (from memory), whose V has N - 1 for N.
    """
    x, n, s = (np.asarray(v, np.float64) for v in (yes, n, scores))
    of = np.zeros(len(n), int) if strata is None else np.asarray(strata)
    of = np.unique(of, return_inverse=True)[1]
    kept = (n > 0) & (_spread_of(s, n, of) > 0)
    x, n, s, of = x[kept], n[kept], s[kept], of[kept]
    if len(n) < 2:
        return _no_trend(scored_by, "fewer than two doses have courses")
    total = np.bincount(of, n)[of]
    share = np.bincount(of, x)[of] / total
    varied = share * (1 - share)
    if not varied.max() > 0:
        return _no_trend(scored_by, "all courses answered alike")
    off = s - np.bincount(of, n * s)[of] / total
    lean, spread = np.sum(off * (x - n * share)), np.sum(n * off**2)
    z = float(lean / np.sqrt(np.sum(varied * n * off**2)))
    told = varied > 0
    squares = (x - n * share)[told] ** 2 / (n * varied)[told]
    pearson = float(squares.sum())
    lack = max(pearson - z * z, 0.0)
    df = int(told.sum()) - len(np.unique(of[told])) - 1
    lack_p = float(chi2_sf(lack, df)) if df > 0 else np.nan
    p = float(2 * norm_sf(abs(z)))
    return TrendTest(scored_by, float(lean / spread), z, p, pearson, lack_p)


def _spread_of(s, n, of) -> np.ndarray:
    """Give how far the scores of each one's stratum, of those with courses, lie apart."""
    high, low = np.full((2, of.max(initial=0) + 1), -np.inf)
    np.maximum.at(high, of[n > 0], s[n > 0])
    np.maximum.at(low, of[n > 0], -s[n > 0])
    return (high + low)[of]


def _no_trend(scored_by: str, why: str) -> TrendTest:
    return TrendTest(scored_by, *[np.nan] * 5, why)


NEARLY = 1e-12
"""Shares are held this far from 0 and 1 where a curve is read on the logit scale."""


@dataclass(frozen=True)
class DoseFor:
    """A dose for a stated success.

    Attributes
    ----------
    success : float
        The share asked for.
    dose, low, high : float
        In the unit of the doses given; NaN where there is none, with the reason.
    message : str
    """

    success: float
    dose: float
    low: float
    high: float
    message: str


def dose_on_curve(success: float, dose, probability, low, high) -> DoseFor:
    """Read off a fitted curve the dose at which it first reaches a success.

    Parameters
    ----------
    success : float
    dose : array_like, shape (k,)
        Ascending, over the doses given.
    probability, low, high : array_like, shape (k,)
        The curve with its pointwise limits.

    Returns
    -------
    DoseFor
        Read on the part that rises to the curve's highest point. The limits are the
        doses around it at which the success asked for lies between the curve's
        limits: those that a test of each dose would not reject. Where that goes on to
        an end of the doses given there is no limit on that side.
    """
    dose = np.asarray(dose, float)
    curve, below, above = (
        logit(np.clip(np.asarray(v, float), NEARLY, 1 - NEARLY))
        for v in (probability, low, high)
    )
    if not 0 < success < 1:
        return _no_dose(success, "a success to be reached lies between 0 and 1")
    if len(dose) == 0 or not np.isfinite(curve).all():
        return _no_dose(success, "there is no curve")
    wanted, peak = float(logit(success)), int(np.argmax(curve))
    if curve[peak] < wanted:
        return _no_dose(success, "is not reached by any dose given")
    falls = np.flatnonzero(np.diff(curve[: peak + 1]) < 0)
    start = int(falls[-1]) + 1 if len(falls) else 0
    if curve[start] >= wanted:
        where = "at the smallest dose given" if start == 0 else "before the curve rises"
        return _no_dose(success, f"is reached already {where}")
    after = start + int(np.argmax(curve[start : peak + 1] >= wanted))
    middle = _crossing(dose, curve, after, wanted)
    left = _last_below(dose, above, after, wanted)
    right = _first_reached(dose, below, after, wanted)
    return DoseFor(success, middle, left, right, _without(left, right))


def _crossing(dose, curve, after: int, wanted: float) -> float:
    """Give the dose at which the curve passes a value just before a point."""
    one, two = curve[after - 1], curve[after]
    part = (wanted - one) / (two - one)
    return float(dose[after - 1] + part * (dose[after] - dose[after - 1]))


def _last_below(dose, above, after: int, wanted: float) -> float:
    under = np.flatnonzero(above[:after] < wanted)
    return _crossing(dose, above, int(under[-1]) + 1, wanted) if len(under) else np.nan


def _first_reached(dose, below, after: int, wanted: float) -> float:
    # the curve's own step may hold the crossing, so the point before it counts too
    reached = np.flatnonzero(below[after:] >= wanted)
    return (
        _crossing(dose, below, after + int(reached[0]), wanted)
        if len(reached)
        else np.nan
    )


def _without(left: float, right: float) -> str:
    sides = [name for name, end in (("lower", left), ("upper", right)) if np.isnan(end)]
    return f"no {' and no '.join(sides)} limit within the doses given" if sides else ""


def _no_dose(success: float, why: str) -> DoseFor:
    said = f"{100 * success:g} %: {why}"
    return DoseFor(success, np.nan, np.nan, np.nan, said)
