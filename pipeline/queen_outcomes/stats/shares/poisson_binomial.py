"""How many of some courses fail, each with its own risk: the distribution and its tails.

`independent_counts` takes courses as independent; `batch_tails` lets courses of one
batch share their fate.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.lib.stride_tricks import as_strided
from scipy.special import expit, ndtr, ndtri

from queen_outcomes.stats.refusals import refuse_chances, refuse_counts
from queen_outcomes.stats.shares.shared_effects import (
    EffectColumns,
    SharedEffects,
    conditional_logits,
    effect_columns,
)

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

    @cached_property
    def turned(self) -> BatchPoints:
        """The same draws for the log odds of success."""
        return replace(self, effects=-self.effects)

    def sums(self, rows: slice | np.ndarray) -> np.ndarray:
        """What some draws add to each course's log odds, shape (n, len(rows))."""
        drawn = np.ascontiguousarray(self.effects[rows].T)
        index = self.columns.index
        total = drawn[index[:, 0]]
        for column in range(1, index.shape[1]):
            total += drawn[index[:, column]]
        return total

    def chances(self, logits: np.ndarray, rows: slice | np.ndarray) -> np.ndarray:
        """Chance of failure of each course at some draws, shape (n, len(rows)).

        Odds are multiplied, as exponentials of sums would be taken anew for every change
        of the log odds that a limit is looked for by.
        """
        with np.errstate(over="ignore"):  # odds of nothing
            if self.effects.shape[0] * len(logits) <= KEPT:
                against = self._against[:, rows]
            else:
                against = np.exp(-self.sums(rows))
            found = against * np.exp(-logits)[:, None]
        found += 1.0
        return np.divide(1.0, found, out=found)

    @cached_property
    def _against(self) -> np.ndarray:
        """What every draw multiplies the odds against a failure by, shape (n, M)."""
        return np.exp(-self.sums(slice(None)))


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
    lead = pull / length if length > 0.0 else np.eye(1, len(pull)).ravel()
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
    from scipy.stats.qmc import Sobol  # late, as `stats/tails.py` says

    even = Sobol(columns, scramble=True, rng=seed, bits=digits).random(points)
    if digits == COARSE:
        even += 0.5 * 2.0**-COARSE  # the middle of what the digits leave open
    return ndtri(np.clip(even, NEAREST, 1.0 - NEAREST))


FEW_FOR_DRAWS = 100
"""Courses up to which every draw's distribution is exact."""
NARROW = 25.0
"""Variance of the count below which a draw's distribution is exact, not expanded."""
FAR, BEYOND = 9.0, 18.0
"""Standard deviations from the mean, and failures more, beyond which a count has no chance
worth keeping."""
PLAIN = 1e-5
"""Tail from which on it is what the other leaves of 1, to eleven digits."""
CELLS = 100_000
"""Draws times courses worked on at once: what the processor's cache holds."""
KEPT = 1_000_000
"""Draws times courses up to which what draws do to odds is kept for the next look."""
BLOCK = 6
"""Courses of a block: distributions of blocks are built side by side, and then joined."""
ROOT_2PI = np.sqrt(2.0 * np.pi)


def mixture_tails(
    logits: np.ndarray, points: BatchPoints, failures: int
) -> tuple[float, float]:
    """Both mid-P tails at a number of failures, averaged over the draws.

    Parameters
    ----------
    logits : ndarray, shape (n,)
        Log odds of each course where no batch deviates.
    points : BatchPoints
        Draws and their weights.
    failures : int
        0 to n.

    Returns
    -------
    tuple of float
        Chance of fewer and of more failures, each with half the chance of as many.
    """
    exact, moments = _given_draws(logits, points)
    tails = np.zeros(2)
    if exact.any():
        tails += _exact(logits, points, exact, failures)
    if not exact.all():
        weights = points.weights[~exact]
        tails += _expanded(len(logits), failures, moments[~exact], weights)
    below, above = np.minimum(tails, 1.0).tolist()
    return below, above


def _given_draws(
    logits: np.ndarray, points: BatchPoints
) -> tuple[np.ndarray, np.ndarray]:
    """Tell which draws are to be built exactly, and give all draws' cumulants if not all."""
    n, draws = len(logits), len(points.weights)
    if n <= FEW_FOR_DRAWS:
        return np.ones(draws, bool), np.empty((draws, 0))
    rows = max(1, CELLS // n)
    blocks = [slice(start, start + rows) for start in range(0, draws, rows)]
    moments = np.concatenate(
        [_cumulants(points.chances(logits, block)) for block in blocks]
    )
    return moments[:, 1] < NARROW, moments


def _cumulants(chance: np.ndarray) -> np.ndarray:
    """First four cumulants of the count at each draw, shape (draws, 4)."""
    spread = chance * (1.0 - chance)
    second = spread.sum(axis=0)
    third = second - 2.0 * np.einsum("ij,ij->j", spread, chance)
    fourth = second - 6.0 * np.einsum("ij,ij->j", spread, spread)
    return np.column_stack([chance.sum(axis=0), second, third, fourth])


def _exact(
    logits: np.ndarray, points: BatchPoints, exact: np.ndarray, failures: int
) -> tuple[float, float]:
    """Build the distribution at each draw, as far as the tails need it.

    Up to the number of failures where what is left of 1 above it keeps its digits, else
    up to a count that no draw reaches.
    """
    chance = points.chances(logits, slice(None) if exact.all() else exact)
    weights, n = points.weights[exact], len(logits)
    mean = chance.sum(axis=0)
    reach = mean + FAR * np.sqrt(mean) + BEYOND
    top = int(min(n, np.ceil(reach.max())))
    if failures < top:
        pmf = _built(chance, weights, failures)
        same = pmf[failures] / 2
        below = pmf[:failures].sum() + same
        above = weights.sum() - below
        if above > PLAIN:
            return float(below), float(above)
    pmf = np.concatenate([_built(chance, weights, top), np.zeros(n - top)])
    same = pmf[failures] / 2
    return float(pmf[:failures].sum() + same), float(pmf[failures + 1 :].sum() + same)


def _built(chance: np.ndarray, weights: np.ndarray, top: int) -> np.ndarray:
    """Chance of 0, 1, ..., top failures, summed over the draws; chances (n, draws)."""
    blocks = _blocks(chance)
    most, draws = len(blocks) - 1, chance.shape[1]
    # counts below none have no chance, and stand in front for what looks back at them
    table = np.zeros((most + top + 1, draws))
    reached = min(most, top) + 1
    table[most : most + reached] = blocks[:reached, 0] * weights
    back, along = table.strides
    shape, steps = (top + 1, most + 1, draws), (back, -back, along)
    fewer = as_strided(table[most:], shape, steps, writeable=False)
    for block in range(1, blocks.shape[1]):
        reached = min(reached + most, top + 1)
        joined = np.einsum("kid,id->kd", fewer[:reached], blocks[:, block])
        table[most : most + reached] = joined
    return table[most:].sum(axis=1)


def _blocks(chance: np.ndarray) -> np.ndarray:
    """Chance of 0, 1, ... failures in blocks of few courses, (failures, blocks, draws)."""
    n, draws = chance.shape
    blocks = -(-n // BLOCK)
    rounds = -(-n // blocks)
    found = np.zeros((rounds + 1, blocks, draws))
    found[0] = 1.0
    for already in range(rounds):
        risk = chance[already * blocks : (already + 1) * blocks]
        met = found[: already + 2, : len(risk)]
        moved = met[:-1] * risk
        met[:-1] *= 1.0 - risk
        met[1:] += moved
    return found


def _expanded(
    n: int, failures: int, moments: np.ndarray, weights: np.ndarray
) -> tuple[float, float]:
    """Expand around the normal distribution, to the second order, from either side.

    Edgeworth's series at k + 1/2 with the variance lowered by 1/12, as sums of whole
    numbers ask for (Kolassa JE, McCullagh P. Annals of Statistics 1990;18:981-985).
    """
    mean, variance, third, fourth = moments.T
    sd = np.sqrt(variance - 1.0 / 12.0)
    skew, tail = third / sd**3, fourth / sd**4

    def at_most(count: int, mean: np.ndarray, skew: np.ndarray) -> float:
        if not 0 <= count < n:
            return float(weights.sum()) if count == n else 0.0
        chance = _edgeworth((count + 0.5 - mean) / sd, skew, tail)
        return float(np.clip(chance, 0.0, 1.0) @ weights)

    below = at_most(failures, mean, skew) + at_most(failures - 1, mean, skew)
    passed = n - failures
    above = at_most(passed, n - mean, -skew) + at_most(passed - 1, n - mean, -skew)
    return below / 2, above / 2


def _edgeworth(x: np.ndarray, skew: np.ndarray, tail: np.ndarray) -> np.ndarray:
    """Distribution function at x for given third and fourth standardised cumulants."""
    square = x * x
    bend = (10.0 - square) * square - 15.0
    bend *= -(skew**2) / 72.0
    bend += tail / 24.0 * (square - 3.0)
    bend *= x
    bend += skew / 6.0 * (square - 1.0)
    return ndtr(x) - np.exp(-0.5 * square) / ROOT_2PI * bend


@dataclass(frozen=True)
class Tails:
    """Both mid-P tails at a number of failures.

    Attributes
    ----------
    below, above : float
        Chance of fewer and of more failures, each with half the chance of as many.
    """

    below: float
    above: float

    @property
    def two_sided(self) -> float:
        """Twice the smaller tail, at most 1."""
        return min(1.0, 2.0 * min(self.below, self.above))


@dataclass(frozen=True)
class CountDistribution:
    """Distribution of a number of failures.

    Attributes
    ----------
    pmf : ndarray, shape (n + 1,)
        Chance of 0, 1, ..., n failures.
    """

    pmf: np.ndarray

    @property
    def mean(self) -> float:
        """Expected number of failures."""
        return float(self.pmf @ np.arange(len(self.pmf)))

    @property
    def variance(self) -> float:
        """Variance of the number of failures."""
        return float(self.pmf @ (np.arange(len(self.pmf)) - self.mean) ** 2)

    def lower(self, k: int) -> float:
        """Chance of at most k failures."""
        return float(min(self.pmf[: max(k + 1, 0)].sum(), 1.0))

    def upper(self, k: int) -> float:
        """Chance of at least k failures."""
        return float(min(self.pmf[max(k, 0) :].sum(), 1.0))

    def mid_lower(self, k: int) -> float:
        """Chance of fewer than k failures, and half the chance of k (mid-P)."""
        return (self.lower(k - 1) + self.lower(k)) / 2

    def mid_upper(self, k: int) -> float:
        """Chance of more than k failures, and half the chance of k (mid-P)."""
        return (self.upper(k + 1) + self.upper(k)) / 2

    def two_sided(self, k: int) -> float:
        """Twice the smaller mid-P tail at k failures, at most 1."""
        return self.tails(k).two_sided

    def tails(self, k: int) -> Tails:
        """Both mid-P tails at k failures."""
        return Tails(self.mid_lower(k), self.mid_upper(k))


def independent_counts(risks) -> CountDistribution:
    """Distribution of the number of failures of independent courses.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Chance of failure of each course.

    Returns
    -------
    CountDistribution
        Exact: blocks of the courses are convolved with each other, sums of positive
        numbers only, so that small tails keep their digits. (Poisson-binomial; see
        Hong Y. Computational Statistics and Data Analysis 2013;59:41-51.)
    """
    refuse_chances("a risk", risks)
    chance = np.asarray(risks, float).ravel()
    if not len(chance):
        return CountDistribution(np.ones(1))
    # a block may hold a course fewer than others: more failures than courses have no chance
    pmf = _convolved(_blocks(chance[:, None])[:, :, 0].T)
    return CountDistribution(pmf[: len(chance) + 1])


def batch_tails(
    risks,
    failures: int,
    shared: SharedEffects | None = None,
    *,
    seed: int = 0,
    logits: np.ndarray | None = None,
) -> Tails:
    """Tails of the number of failures when courses of a batch share their fate.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Chance of failure of each course, averaged over batches: these are kept.
    failures : int
        0 to n.
    shared : SharedEffects, optional
        Batches and their deviations; without them courses are independent.
    seed : int
        Seed of the drawn batches.
    logits : ndarray, shape (n,), optional
        The `conditional_logits` of the risks where they are known already.

    Returns
    -------
    Tails
        Given the batches' deviations courses are independent; the tails of their
        distribution are averaged over weighted draws of the deviations
        (Rao-Blackwell).
    """
    risks = np.asarray(risks, float).ravel()
    refuse_chances("a risk", risks)
    refuse_counts(failures, len(risks))
    columns = effect_columns(shared, len(risks))
    if columns.nothing_shared:
        return independent_counts(risks).tails(failures)
    if logits is None:
        logits = conditional_logits(risks, columns.total_deviation)
    return tails_given(logits, batch_points(risks, columns, seed), failures)


def tails_given(logits: np.ndarray, points: BatchPoints, failures: int) -> Tails:
    """Tails at given draws.

    The same draws for several risks make tails that rise or fall with the risks.

    Parameters
    ----------
    logits : ndarray, shape (n,)
        Log odds of each course where no batch deviates, as of `conditional_logits`.
    points : BatchPoints
    failures : int
        0 to n.
    """
    if not expit(logits).mean() > 0.5:
        return Tails(*mixture_tails(logits, points, failures))
    turned = mixture_tails(-logits, points.turned, len(logits) - failures)
    return Tails(*turned[::-1])


def _convolved(parts: np.ndarray) -> np.ndarray:
    """Distribution of the sum of some numbers of failures, one a row."""
    if len(parts) == 1:
        return parts[0]
    half = len(parts) // 2
    return np.convolve(_convolved(parts[:half]), _convolved(parts[half:]))
