"""Limits of an operator's running series, by simulating seasons without change.

A season has the operator's own courses in order: their risks, and which of them share a
batch. Courses of a bad batch fail together; a limit made for independent courses would
take that for the operator's doing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from queen_outcomes.stats.series.cusum import REACHED, changed_risks, weights
from queen_outcomes.stats.shares.shared_effects import (
    EffectColumns,
    SharedEffects,
    conditional_logits,
    effect_columns,
)

AT_ONCE = 4096
"""Seasons simulated together: what the processor's cache holds."""
STREAM_PLAIN, STREAM_CHANGED = 0, 1
"""Streams of random numbers under one seed."""


@dataclass(frozen=True)
class Series:
    """A CUSUM over the courses of a season, and what is true of them.

    Attributes
    ----------
    risks : ndarray, shape (n,)
        Risks that the CUSUM is told.
    odds_ratio : float
        What it looks for.
    logits : ndarray, shape (n,)
        True log odds of failure where no batch deviates.
    """

    risks: np.ndarray
    odds_ratio: float
    logits: np.ndarray


@dataclass(frozen=True)
class SimulatedSeason:
    """The courses of a season, with the series that follow them.

    Attributes
    ----------
    columns : EffectColumns
        Which batches' deviations each course meets.
    series : tuple of Series
        All see the same batches and the same luck.
    """

    columns: EffectColumns
    series: Sequence[Series]

    def largest(self, replicates: int, seed: int) -> np.ndarray:
        """Largest value of each CUSUM over each season, shape (series, replicates)."""
        parts = []
        for size, values in self._blocks(replicates, (seed, STREAM_PLAIN)):
            top = np.zeros((len(self.series), size))
            for _, now in values:
                np.maximum(top, now, out=top)
            parts.append(top)
        return np.concatenate(parts, axis=1)

    def first_signals(
        self, limits: Sequence[float], replicates: int, seed: int
    ) -> np.ndarray:
        """Number of the first course with a signal, 0 for none.

        Parameters
        ----------
        limits : sequence of float
            Limit of each series.
        replicates, seed : int
            Seasons simulated, and their seed.

        Returns
        -------
        ndarray of int, shape (series, replicates)
        """
        edge = np.array(limits)[:, None] - REACHED
        parts = []
        for size, values in self._blocks(replicates, (seed, STREAM_CHANGED)):
            first = np.zeros((len(self.series), size), int)
            for course, now in values:
                first[(now >= edge) & (first == 0)] = course
            parts.append(first)
        return np.concatenate(parts, axis=1)

    def _blocks(self, replicates: int, seeds: tuple[int, int]):
        rng = np.random.default_rng(seeds)
        for start in range(0, replicates, AT_ONCE):
            size = min(AT_ONCE, replicates - start)
            yield size, self._simulate(size, rng)

    def _simulate(
        self, size: int, rng: np.random.Generator
    ) -> Iterator[tuple[int, np.ndarray]]:
        """Give the course's number and the values after it, shape (series, size)."""
        index, scale = self.columns.index, self.columns.scale
        logits = np.array([one.logits for one in self.series])
        ratios = np.array([one.odds_ratio for one in self.series])
        rise = np.log(ratios)[:, None]
        fall = np.array([weights(one.risks, one.odds_ratio)[0] for one in self.series])
        independent = self.columns.nothing_shared
        chances = expit(logits)
        effects = rng.standard_normal((len(scale), size)) * scale[:, None]
        now = np.zeros((len(ratios), size))
        for course in range(logits.shape[1]):
            if independent:
                failed = rng.random(size) < chances[:, course, None]
            else:
                # a logistic number below the log odds: a failure, without its risk
                luck = rng.logistic(size=size)
                for number in index[course]:
                    luck -= effects[number]
                failed = luck < logits[:, course, None]
            now += failed * rise + fall[:, course, None]
            np.maximum(now, 0.0, out=now)
            yield course + 1, now


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
    season = SimulatedSeason(
        columns, tuple(Series(risks, ratio, plain) for ratio in ratios)
    )
    top = season.largest(replicates, seed)
    limits = [_limit(values, false_alarm_chance) for values in top]
    changed = tuple(
        Series(risks, ratio, conditional_logits(changed_risks(risks, ratio), spread))
        for ratio in ratios
    )
    first = SimulatedSeason(columns, changed).first_signals(limits, replicates, seed)
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
