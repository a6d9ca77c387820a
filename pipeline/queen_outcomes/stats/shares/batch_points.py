"""Weighted draws of the deviations of batches, good in the tails of a count."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.special import ndtri
from scipy.stats.qmc import Sobol

from queen_outcomes.stats.shares.shared_effects import EffectColumns

POINTS = 512
"""Draws, a power of two: the tails at 0.025 are then within a few per cent."""
WIDER = 1.5
"""How much wider than normal the leading direction is drawn, for the tails' sake."""
LARGEST = 20_000
"""Deviations up to which draws are spread evenly; more are drawn at random."""
MANY = 1_000
"""Courses from which on limits and draws are made more cheaply."""
FINE, COARSE = 30, 20
"""Binary digits of a draw's place between 0 and 1, of few courses and of many: making
them random is most of the work, and 512 draws need 9."""
NEAREST = 1e-12
"""Smallest and, from 1, largest probability turned into a normal deviate."""


@dataclass(frozen=True)
class BatchPoints:
    """Draws of all deviations that some courses meet.

    Attributes
    ----------
    columns : EffectColumns
        Which deviations each course meets.
    effects : ndarray, shape (M, m + 1)
        Deviations, in log odds, at each draw; the last column is zero.
    weights : ndarray, shape (M,)
        Weight of each draw; they add up to 1.
    """

    columns: EffectColumns
    effects: np.ndarray
    weights: np.ndarray

    def turned(self) -> BatchPoints:
        """Give the same draws for the log odds of success."""
        return replace(self, effects=-self.effects)

    def sums(self, rows: slice | np.ndarray) -> np.ndarray:
        """What some draws add to each course's log odds, shape (len(rows), n)."""
        drawn = self.effects[rows]
        index = self.columns.index
        total = drawn[:, index[:, 0]]
        for column in range(1, index.shape[1]):
            total += drawn[:, index[:, column]]
        return total


def batch_points(
    risks: np.ndarray, columns: EffectColumns, seed: int, points: int = POINTS
) -> BatchPoints:
    """Draw deviations, spread evenly along the direction that moves the count most.

    Parameters
    ----------
    risks : ndarray, shape (n,)
        Average chance of failure of each course; sets the direction only.
    columns : EffectColumns
        Which deviations the courses meet.
    seed : int
        Seed of the draws.
    points : int
        How many draws.

    Returns
    -------
    BatchPoints
        To first order the expected count moves with one linear combination of the
        standardised deviations. That one is drawn from a wider normal distribution
        and weighted back; it and the directions across it come from one scrambled
        Sobol sequence, so that the draws cover the deviations evenly.
    """
    pull = columns.pull(risks * (1.0 - risks))
    length = np.sqrt((pull**2).sum())
    lead = pull / length if length > 0 else np.eye(1, len(pull))[0]
    digits = FINE if len(risks) < MANY else COARSE
    drawn = _even_normals(points, len(pull), seed, digits)
    drawn = np.roll(drawn, -1, axis=1)
    # the most even of the draws stand where nothing is shared: a place free for this
    place = WIDER * drawn[:, -1]
    weights = np.exp(-0.5 * place**2 * (1.0 - WIDER**-2))
    drawn += np.outer(place - (drawn * lead).sum(axis=1), lead)
    return BatchPoints(columns, drawn * columns.scale, weights / weights.sum())


def _even_normals(points: int, columns: int, seed: int, digits: int) -> np.ndarray:
    """Standard normal draws that fill their space evenly, shape (points, columns)."""
    if columns > LARGEST:
        return np.random.default_rng(seed).standard_normal((points, columns))
    return _sequence(columns, seed, max(points, POINTS), digits)[:points]


@lru_cache(maxsize=1)
def _sequence(columns: int, seed: int, points: int, digits: int) -> np.ndarray:
    """Give the beginning of a scrambled sequence, as normal deviates.

    Kept for the next call: limits and tails of one operator stand on one sequence, and
    scrambling it is what takes time.
    """
    even = Sobol(columns, scramble=True, rng=seed, bits=digits).random(points)
    if digits == COARSE:
        even += 0.5 * 2.0**-COARSE  # the middle of what the digits leave open
    return ndtri(np.clip(even, NEAREST, 1.0 - NEAREST))
