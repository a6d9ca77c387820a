"""Funnel plots: control limits by size, overdispersion, and flags.

Spiegelhalter DJ. Stat Med 2005;24:1185-1202 (limits, z scores); Spiegelhalter DJ. Qual
Saf Health Care 2005;14:347-351 (winsorising, overdispersion); DerSimonian R, Laird N.
Control Clin Trials 1986;7:177-188 (the additive variance).

Interpolated limits are for drawing. They are those of courses of one and the same risk that
share nothing; whoever is drawn has a mix of risks and shares batches. So a point stands where
its own tail puts it (`placed_ratio`), and a line where the tail begins that is flagged: what
is flagged is drawn outside, and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from queen_outcomes.stats.refusals import refuse_chances
from queen_outcomes.stats.shares.multiplicity import benjamini_hochberg

FEWER, NEITHER, MORE = -1, 0, 1
"""Directions of a flag."""
FALSE_FLAGS = 0.05
"""Share of false flags among the operators flagged that is put up with."""


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
    from scipy.stats import binom  # late, as `stats/tails.py` says

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


def flags(mid_lower, mid_upper, *, share: float = FALSE_FLAGS) -> Flags:
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


def flagging_p(flagged: int, asked: int) -> float:
    """Give the P up to which Benjamini and Hochberg flagged some of those asked."""
    return FALSE_FLAGS * max(flagged, 1) / max(asked, 1)


CERTAIN = 1e-12
"""Smallest tail that a point is placed by."""


def placed_ratio(mid_p, is_more, sizes, share: float) -> np.ndarray:
    """Place points among `funnel_lines`: outside a line just where the tail is.

    Parameters
    ----------
    mid_p : array_like, shape (I,)
        Twice the smaller mid-P tail of each in its own distribution.
    is_more : array_like of bool, shape (I,)
        Whether that tail is the upper one.
    sizes : array_like of int, shape (I,)
        Courses.
    share : float
        The lines' risk.

    Returns
    -------
    ndarray, shape (I,)
        Failures over expected with which as many courses of the lines' one risk would be
        as unusual; at least 0.
    """
    tail = np.clip(np.asarray(mid_p, float) / 2, CERTAIN, 0.5)
    tail = np.where(is_more, 1.0 - tail, tail)
    return np.maximum(_middle_limit(tail, sizes, share) / share, 0.0)


TAILS = {"low_998": 0.001, "low_95": 0.025, "high_95": 0.975, "high_998": 0.999}
MOST_SIZES = 60
"""Sizes at which a line is drawn at most."""


def _middle_limit(tail, n, target) -> np.ndarray:
    """Move the interpolated limit to where a number's mid-P tail is the number itself.

    Interpolated as it is, r stands where the whole chance of r lies below; its mid-P tail,
    by which flags go, is met half a course earlier.
    """
    return binomial_limit(tail, n, target) + 0.5 / np.asarray(n)


def _further(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Give whichever of two distances on one side of zero is the larger."""
    return np.where(np.abs(one) > np.abs(other), one, other)


def funnel_lines(
    drawn: Sequence[int],
    share: float,
    tau2: float = 0.0,
    tails: Mapping[str, float] = TAILS,
) -> list[dict[str, float]]:
    """Give limits, by mid-P, of failures over expected for courses of one and the same risk.

    Parameters
    ----------
    drawn : sequence of int
        Courses of each point that is drawn; the lines go up to the largest.
    share : float
        The risk: failures expected of all courses over the courses.
    tau2 : float
        Variance between operators of failures over expected; above 0 the limits are
        those of a normal distribution with that variance added, where they are wider.
    tails : mapping of str to float
        Chance below each line.

    Returns
    -------
    list of dict
        ``size`` and the keys of `tails`; limits below 0 are given as 0. Every size drawn
        has its own, so that no point stands beside an interpolated one.
    """
    largest = max(drawn, default=0)
    if largest < 1 or not 0 < share < 1:
        return []
    even = np.geomspace(1, largest, MOST_SIZES).round().astype(int)
    sizes = np.unique([*even.tolist(), *drawn])
    lines = {
        name: _middle_limit(tail, sizes, share) / share for name, tail in tails.items()
    }
    if tau2 > 0:
        spread = np.sqrt((1.0 - share) / (share * sizes) + tau2)
        lines = {
            name: 1.0 + _further(line - 1.0, float(ndtri(tails[name])) * spread)
            for name, line in lines.items()
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
