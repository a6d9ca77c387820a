"""Funnel plots: control limits by size, overdispersion, and flags.

Spiegelhalter DJ. Stat Med 2005;24:1185-1202 (limits, z scores); Spiegelhalter DJ. Qual
Saf Health Care 2005;14:347-351 (winsorising, overdispersion); DerSimonian R, Laird N.
Control Clin Trials 1986;7:177-188 (the additive variance).

Interpolated limits are for drawing. They pass between whole numbers and put units of one
or two courses outside although nothing unusual happened: `flags`, on tails of the
distribution, is the one rule for pointing at an operator.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

from queen_outcomes.stats.refusals import refuse_chances
from queen_outcomes.stats.shares.multiplicity import benjamini_hochberg

FEWER, NEITHER, MORE = -1, 0, 1
"""Directions of a flag."""


@dataclass(frozen=True)
class Overdispersion:
    """How much more operators differ than chance.

    Attributes
    ----------
    phi : float
        Mean of the squared, possibly winsorised, z scores; 1 by chance alone.
    tau2 : float
        Variance between operators on the scale of the indicator; 0 where the z scores
        are not more spread than by chance.
    """

    phi: float
    tau2: float


@dataclass(frozen=True)
class ObservedOverExpected:
    """Observed against expected failures.

    Attributes
    ----------
    ratio, s, z : ndarray, shape (I,)
        Observed over expected, its standard error when nothing is unusual, and
        ``(O - E) / sqrt(V)``.
    """

    ratio: np.ndarray
    s: np.ndarray
    z: np.ndarray


@dataclass(frozen=True)
class Flags:
    """Which operators stand out.

    Attributes
    ----------
    p : ndarray, shape (I,)
        Twice the smaller mid-P tail, at most 1.
    adjusted : ndarray, shape (I,)
        Benjamini-Hochberg over the operators.
    direction : ndarray of int, shape (I,)
        1 flagged with more failures than expected, -1 with fewer, 0 not flagged. An
        operator without a tail (NaN) is not flagged and not counted.
    """

    p: np.ndarray
    adjusted: np.ndarray
    direction: np.ndarray


def binomial_limit(tail, n, target) -> np.ndarray:
    """Exact control limit of a share, interpolated between whole numbers.

    Parameters
    ----------
    tail : array_like
        Chance below the limit: 0.025 and 0.975, 0.001 and 0.999.
    n : array_like of int
        Courses; at least one.
    target : array_like
        The station's share; broadcasts with the others.

    Returns
    -------
    ndarray
        ``(r - (F(r) - p) / (F(r) - F(r - 1))) / n`` with r the smallest number with
        F(r) > p. Not cut off at 0 and 1: a limit under 0 cannot be crossed.
    """
    tail, n, target = np.broadcast_arrays(tail, n, target)
    refuse_chances("a share", tail, target)
    r = binom.ppf(tail, n, target)
    r = np.where(binom.cdf(r, n, target) <= tail, r + 1, r)
    above = (binom.cdf(r, n, target) - tail) / binom.pmf(r, n, target)
    return (r - above) / n


def adjusted_z(observed, expected, variance) -> ObservedOverExpected:
    """Compare observed with risk-adjusted expected failures.

    Parameters
    ----------
    observed, expected, variance : array_like, shape (I,)
        Failures, sum of the risks p, sum of p (1 - p).

    Returns
    -------
    ObservedOverExpected
        The ratio's target is 1.
    """
    observed, expected = np.asarray(observed, float), np.asarray(expected, float)
    root = np.sqrt(np.asarray(variance, float))
    return ObservedOverExpected(
        observed / expected, root / expected, (observed - expected) / root
    )


def winsorise(z, share: float = 0.1) -> np.ndarray:
    """Pull the outer z scores in to their quantiles at `share` and 1 - `share`."""
    z = np.asarray(z, float)
    return np.clip(z, *np.quantile(z, [share, 1.0 - share])) if len(z) else z


def overdispersion(z, s, *, winsor: float = 0.1) -> Overdispersion:
    """Estimate how much more operators differ than chance.

    Parameters
    ----------
    z, s : array_like, shape (I,)
        Scores and standard errors.
    winsor : float
        Share winsorised at each end, so that the unusual ones do not set the scale;
        0 for none.

    Returns
    -------
    Overdispersion
        NaN for nobody; tau2 0 for a single operator.
    """
    z, w = np.asarray(z, float), np.asarray(s, float) ** -2
    number = len(z)
    if not number:
        return Overdispersion(np.nan, np.nan)
    phi = float(np.mean(winsorise(z, winsor) ** 2))
    excess = number * phi - (number - 1)
    if number < 2 or not excess > 0:
        return Overdispersion(phi, 0.0)
    return Overdispersion(phi, float(excess / (w.sum() - (w**2).sum() / w.sum())))


def flags(mid_lower, mid_upper, *, share: float = 0.05) -> Flags:
    """Flag operators, holding the expected share of false flags.

    Parameters
    ----------
    mid_lower, mid_upper : array_like, shape (I,)
        Mid-P tails of each operator's failures in the predictive distribution.
    share : float
        False flags among flags that are put up with.

    Returns
    -------
    Flags
    """
    lower, upper = np.asarray(mid_lower, float), np.asarray(mid_upper, float)
    p = np.minimum(1.0, 2.0 * np.minimum(lower, upper))
    adjusted = benjamini_hochberg(p)
    side = np.where(upper < lower, MORE, FEWER)
    return Flags(p, adjusted, np.where(adjusted <= share, side, NEITHER))


TAILS = {"low_998": 0.001, "low_95": 0.025, "high_95": 0.975, "high_998": 0.999}
MOST_SIZES = 60
"""Sizes at which a line is drawn at most."""


def funnel_lines(
    largest: int, share: float, tau2: float = 0.0
) -> list[dict[str, float]]:
    """Give exact limits of failures over expected for courses of one and the same risk.

    Parameters
    ----------
    largest : int
        Size up to which the lines go.
    share : float
        The risk: failures expected of all courses over the courses.
    tau2 : float
        Variance between operators of failures over expected; above 0 the limits are
        those of a normal distribution with that variance added.

    Returns
    -------
    list of dict
        ``size`` and the keys of `TAILS`; limits below 0 are given as 0.
    """
    if largest < 1 or not 0 < share < 1:
        return []
    sizes = np.unique(np.geomspace(1, largest, MOST_SIZES).round().astype(int))
    lines = {
        name: binomial_limit(tail, sizes, share) / share for name, tail in TAILS.items()
    }
    if tau2 > 0:
        spread = np.sqrt((1.0 - share) / (share * sizes) + tau2)
        reach = {"998": 3.090232306167814, "95": 1.959963984540054}
        lines = {
            name: 1.0
            + (1 if name[0] == "h" else -1) * reach[name.split("_")[1]] * spread
            for name in TAILS
        }
    return [
        {
            "size": int(size),
            **{
                name: round(max(float(line[at]), 0.0), 4)
                for name, line in lines.items()
            },
        }
        for at, size in enumerate(sizes)
    ]
