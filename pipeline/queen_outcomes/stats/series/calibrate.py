"""Limits of an operator's running series, by simulating seasons without change.

A season has the operator's own courses in order: their risks, and which of them share a
batch. Courses of a bad batch fail together; a limit made for independent courses would
take that for the operator's doing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.series.cusum import changed_risks
from queen_outcomes.stats.series.simulated_seasons import Season, Series
from queen_outcomes.stats.shares.shared_effects import (
    SharedEffects,
    conditional_logits,
    effect_columns,
)

REPLICATES = 20_000
"""Seasons simulated: a false share of 0.01 is then known to 0.0007."""
TIED = 1e-6
"""Maxima nearer to each other than this are the same sum of weights."""
CLEAR = 1.1
"""How far above the largest of all values a limit lies that no season may reach."""


@dataclass(frozen=True)
class SeriesLimit:
    """Limit of one CUSUM and what it does.

    Attributes
    ----------
    limit : float
        A value at or above it is a signal.
    false_share : float
        Share of the simulated seasons without change that had a signal: at most the
        chance asked for.
    detection : float
        Share of seasons with a signal when the odds are changed as looked for, from
        the first course on.
    median_courses : float
        Courses to the first signal then, the median; NaN when under half of the
        seasons have one.
    """

    limit: float
    false_share: float
    detection: float
    median_courses: float


@dataclass(frozen=True)
class Calibration:
    """Limits of an operator's two CUSUMs for a season.

    Attributes
    ----------
    courses, replicates : int
        Courses of a season, and seasons simulated.
    worse, better : SeriesLimit
        For the odds of failure multiplied and divided by the odds ratio.
    message : str
        Why there are no limits; empty when there are. Figures are NaN then.
    """

    courses: int
    replicates: int
    worse: SeriesLimit
    better: SeriesLimit
    message: str


def calibrate(
    risks,
    shared: SharedEffects | None = None,
    *,
    false_alarm_chance: float = 0.01,
    odds_ratio: float = 2.0,
    replicates: int = REPLICATES,
    seed: int = 0,
) -> Calibration:
    """Set the limits so that a season without change rarely signals.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Risk of failure of each course of the season in order, averaged over batches.
    shared : SharedEffects, optional
        Batches of these courses; without them courses are independent.
    false_alarm_chance : float
        Largest share of seasons without change with a signal, in each direction.
    odds_ratio : float
        Above 1: how much worse, and its inverse how much better, is looked for.
    replicates : int
        Seasons simulated without change, and again with a change.
    seed : int
        Seed of the simulation.

    Returns
    -------
    Calibration

    Notes
    -----
    A season signals when the largest value of its CUSUM reaches the limit. With k the
    whole number of seasons that may signal, the limit lies half-way between the largest
    value of the season after those k and the next larger value that occurred, or clear
    of all values when none is larger. Seasons that tie with the former fall under it, all of them: where sums of weights are few,
    as with few courses of like risk, the false share is then below what was asked for,
    never above.
    """
    risks = np.asarray(risks, float).ravel()
    words = _fault(risks, false_alarm_chance, odds_ratio)
    if words:
        none = SeriesLimit(*(np.nan,) * 4)
        return Calibration(len(risks), 0, none, none, words)
    columns = effect_columns(shared, len(risks))
    spread = columns.total_deviation
    ratios = (odds_ratio, 1.0 / odds_ratio)
    plain = conditional_logits(risks, spread)
    season = Season(columns, tuple(Series(risks, ratio, plain) for ratio in ratios))
    top = season.largest(replicates, seed)
    limits = [_limit(values, false_alarm_chance) for values in top]
    changed = tuple(
        Series(risks, ratio, conditional_logits(changed_risks(risks, ratio), spread))
        for ratio in ratios
    )
    first = Season(columns, changed).first_signals(limits, replicates, seed)
    found = map(_described, limits, top, first)
    return Calibration(len(risks), replicates, *found, "")


def _fault(risks: np.ndarray, chance: float, odds_ratio: float) -> str:
    if not len(risks):
        return "a season without courses"
    if not ((risks > 0) & (risks < 1)).all():
        return "a risk is missing or does not lie between 0 and 1"
    if not 0 < chance < 1:
        return f"a chance of a false alarm of {chance} does not lie between 0 and 1"
    if not odds_ratio > 1:
        return f"an odds ratio of {odds_ratio} is not above 1"
    return ""


def _limit(top: np.ndarray, chance: float) -> float:
    """Smallest limit that at most that share of the seasons reaches."""
    ordered = np.sort(top)
    allowed = int(np.floor(chance * len(ordered) + 1e-9))
    under = ordered[-1 - allowed]
    larger = ordered[np.searchsorted(ordered, under + TIED) :]
    return float((under + larger[0]) / 2 if len(larger) else CLEAR * under + TIED)


def _described(limit: float, top: np.ndarray, first: np.ndarray) -> SeriesLimit:
    seen = first[first > 0]
    half = (len(first) + 1) // 2
    median = float(np.sort(seen)[half - 1]) if len(seen) >= half else np.nan
    false_share = float(np.mean(top >= limit))
    return SeriesLimit(limit, false_share, len(seen) / len(first), median)
