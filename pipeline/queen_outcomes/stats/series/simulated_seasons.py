"""Simulated seasons of an operator: many at once, course by course."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from queen_outcomes.stats.series.cusum import REACHED, weights
from queen_outcomes.stats.shares.shared_effects import EffectColumns

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
class Season:
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
