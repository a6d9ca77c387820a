"""Fills gaps in the factors several times over.

By chained equations: numbers by predictive mean matching (a value seen in a like course),
words by a draw from linear chances. The outcome and the batch take part, otherwise
their relation to the factor would be watered down. The outcome itself is never filled.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

CYCLES = 5
"""Rounds before the first filling; values near each other serve the next."""
DONORS = 5
"""Among how many near courses a filled value is drawn (van Buuren 2018, ch. 3.4)."""
RIDGE = 1e-4
"""Keeps the regressions solvable with more predictors than courses."""


@dataclass(frozen=True, eq=False)
class Completed:
    """One set of factors without gaps; as given, with the gaps filled."""

    numbers: dict[str, np.ndarray]
    words: dict[str, np.ndarray]


def impute(
    numbers: dict[str, np.ndarray],
    words: dict[str, np.ndarray],
    outcomes: Sequence[np.ndarray],
    batch,
    *,
    cycles: int = CYCLES,
    seed: int = 1,
) -> Iterator[Completed]:
    """Fill the gaps in factors once for each of several fillings of the outcome.

    Parameters
    ----------
    numbers : dict of str to ndarray, shape (n,)
        Measured factors; NaN is a gap.
    words : dict of str to ndarray of int, shape (n,)
        Level codes 0..k-1; a code below zero is a gap.
    outcomes : sequence of ndarray, shape (n,) or (n, k)
        Each without gaps; several columns where one number does not tell it.
    batch : array_like, shape (n,)
        Group of each course.
    cycles : int
        Before the first; one more before each of the others, which the chain goes on to.
    seed : int

    Yields
    ------
    Completed
        Without the factors that have no value at all: there is nothing to fill from. The
        same for the same rows in the same order, whatever else is run.

    Notes
    -----
    van Buuren S. Flexible Imputation of Missing Data, 2nd ed. 2018, ch. 3-4. The batch
    enters as columns: the mean of each outcome over its other courses, and the mean of
    the factor at hand over those that have it.
    """
    rng, now = np.random.default_rng(seed), None
    first = _chain_of(numbers, words, np.asarray(batch))
    for outcome in outcomes:
        chain = first.before(np.atleast_2d(np.asarray(outcome, float).T).T)
        now = chain.run(rng, cycles) if now is None else chain.go_on(now, rng)
        yield Completed(dict(now.numbers), dict(now.words))


def _chain_of(numbers, words, batch: np.ndarray) -> _Chain:
    """Give the chain of factors that have any value, with no outcome yet."""
    gaps = {k: ~np.isfinite(np.asarray(v, float)) for k, v in numbers.items()}
    gaps |= {k: np.asarray(v) < 0 for k, v in words.items()}
    gaps = {k: gap for k, gap in gaps.items() if not gap.all()}
    numbers = {k: np.asarray(v, float) for k, v in numbers.items() if k in gaps}
    words = {k: np.asarray(v, int) for k, v in words.items() if k in gaps}
    code = np.unique(batch, return_inverse=True)[1]
    return _Chain(Completed(numbers, words), gaps, np.empty((len(code), 0)), code)


@dataclass(eq=False)
class _Chain:
    given: Completed
    gaps: dict[str, np.ndarray]
    outcome: np.ndarray
    batch: np.ndarray
    blocks: dict[str, tuple[object, np.ndarray]] = field(default_factory=dict)
    means: dict[str, np.ndarray] = field(default_factory=dict)

    def before(self, outcome: np.ndarray) -> _Chain:
        """Give the same chain with an outcome, (n, k), in place of its own.

        What it knows of the factors it hands on.
        """
        same = np.array_equal(outcome, self.outcome)
        return self if same else replace(self, outcome=outcome)

    def run(self, rng: np.random.Generator, cycles: int) -> Completed:
        """Start from random values of each factor, then go round."""
        now = Completed(
            {
                k: self._start(v, self.gaps[k], rng)
                for k, v in self.given.numbers.items()
            },
            {k: self._start(v, self.gaps[k], rng) for k, v in self.given.words.items()},
        )
        for _ in range(cycles):
            now = self.go_on(now, rng)
        return now

    def go_on(self, now: Completed, rng: np.random.Generator) -> Completed:
        """Go round once, the factor with the fewest gaps first: so it serves the others."""
        now = Completed(dict(now.numbers), dict(now.words))
        for _, name in sorted((g.sum(), k) for k, g in self.gaps.items() if g.any()):
            self._fill(now, name, rng)
        return now

    @staticmethod
    def _start(values, gap, rng) -> np.ndarray:
        started = values.copy()
        started[gap] = rng.choice(values[~gap], size=int(gap.sum()))
        return started

    def _fill(self, now: Completed, name: str, rng: np.random.Generator) -> None:
        gap, X = self.gaps[name], self._predictors(now, name)
        if name in now.numbers:
            made = match_means(X, self.given.numbers[name], gap, rng)
            now.numbers[name] = _put(now.numbers[name], gap, made)
        else:
            made = draw_levels(X, self.given.words[name], gap, rng)
            now.words[name] = _put(now.words[name], gap, made)

    def _predictors(self, now: Completed, name: str) -> np.ndarray:
        """Give all other factors, outcome and batch, standardised, ones first."""
        parts = [np.ones((len(self.batch), 1)), self._block("", self._told)]
        parts += [
            self._block(other, values)
            for other, values in (now.numbers | now.words).items()
            if other != name
        ]
        return np.concatenate([*parts, self._own_means(name)], axis=1)

    def _block(self, name: str, values) -> np.ndarray:
        """Give a factor's standardised columns, made again only where it was filled."""
        if name not in self.blocks or self.blocks[name][0] is not values:
            listed = _dummies(values) if name in self.given.words else [values]
            made = _standardised(listed if name else values, len(self.batch))
            self.blocks[name] = (values, made)
        return self.blocks[name][1]

    def _own_means(self, name: str) -> np.ndarray:
        """Give the batch's mean of the factor at hand, over those that have it."""
        if name not in self.means:
            seen = (~self.gaps[name]).astype(float)
            own = self.given.numbers.get(name)
            targets = [own] if own is not None else _dummies(self.given.words[name])
            means = [self._batch_mean(np.nan_to_num(t), seen) for t in targets]
            self.means[name] = _standardised(means, len(seen))
        return self.means[name]

    @cached_property
    def _told(self) -> list[np.ndarray]:
        """Give the outcome, and its mean over the batch's other courses."""
        every = np.ones(len(self.outcome))
        means = [self._batch_mean(part, every) for part in self.outcome.T]
        return [*self.outcome.T, *means]

    def _batch_mean(self, values: np.ndarray, seen: np.ndarray) -> np.ndarray:
        """Give the mean of the batch's other courses, pulled to the mean of all by one."""
        total = np.bincount(self.batch, seen * values)[self.batch] - seen * values
        count = np.bincount(self.batch, seen)[self.batch] - seen
        overall = np.sum(seen * values) / np.sum(seen)
        return (total + overall) / (count + 1.0)


def _put(values: np.ndarray, gap: np.ndarray, made: np.ndarray) -> np.ndarray:
    values = values.copy()
    values[gap] = made
    return values


def _dummies(codes: np.ndarray) -> list[np.ndarray]:
    levels = np.flatnonzero(np.bincount(codes[codes >= 0]))
    return [(codes == level).astype(float) for level in levels[1:]]


def _standardised(columns: Sequence[np.ndarray], n: int) -> np.ndarray:
    """Give columns of mean 0 and spread 1, or of zeros, whatever stands beside them.

    A lone column is summed as one of several is: numpy adds it up in another order.
    """
    if not len(columns):
        return np.empty((n, 0))
    X = np.column_stack([*columns, columns[0]])
    spread = X.std(axis=0)
    return ((X - X.mean(axis=0)) / np.where(spread > 0.0, spread, 1.0))[:, :-1]


def match_means(X, values, gap, rng: np.random.Generator) -> np.ndarray:
    """Fill a number by predictive mean matching.

    Parameters
    ----------
    X : ndarray, shape (n, q)
    values : ndarray, shape (n,)
        NaN where ``gap``.
    gap : ndarray of bool, shape (n,)
    rng : Generator

    Returns
    -------
    ndarray, shape (gap.sum(),)
        Each a value that was seen. Courses seen are placed by the estimate, gaps by a
        draw of the coefficients (Little RJA. J Bus Econ Stat 1988;6:287-296).
    """
    seen = ~gap
    A, target = X[seen], values[seen]
    inverse = _inverse(A)
    estimate = inverse @ (A.T @ target)
    expected = A @ estimate
    free = max(len(target) - X.shape[1], 1)
    sigma = np.sqrt(np.sum((target - expected) ** 2) / rng.chisquare(free))
    drawn = estimate + sigma * _normal(inverse, rng)
    order = np.argsort(expected, kind="stable")
    places, wanted = expected[order], X[gap] @ drawn
    reach = min(DONORS, len(places))
    middle = np.searchsorted(places, wanted)[:, None] + np.arange(-reach, reach)
    near = np.clip(middle, 0, len(places) - 1)
    away = np.abs(places[near] - wanted[:, None])
    away[(middle < 0) | (middle >= len(places))] = np.inf
    best = np.argsort(away, axis=1, kind="stable")[:, :reach]
    pick = best[np.arange(len(wanted)), rng.integers(reach, size=len(wanted))]
    return target[order[near[np.arange(len(wanted)), pick]]]


def draw_levels(X, codes, gap, rng: np.random.Generator) -> np.ndarray:
    """Fill a word by a draw from the chances of its levels.

    Parameters
    ----------
    X : ndarray, shape (n, q)
    codes : ndarray of int, shape (n,)
        Below zero where ``gap``.
    gap : ndarray of bool, shape (n,)
    rng : Generator

    Returns
    -------
    ndarray of int, shape (gap.sum(),)
        Each a level that was seen. Chances are linear in the columns, of all levels in one
        solve, with coefficients drawn from their distribution; cut at 0 and scaled to add
        up to 1.
    """
    seen = ~gap
    A, levels = X[seen], np.unique(codes[seen])
    Y = (codes[seen][:, None] == levels).astype(float)
    inverse = _inverse(A)
    estimate = inverse @ (A.T @ Y)
    free = max(len(A) - X.shape[1], 1)
    sigma = np.sqrt(np.sum((Y - A @ estimate) ** 2, axis=0) / rng.chisquare(free))
    root = np.linalg.cholesky((inverse + inverse.T) / 2)
    drawn = estimate + root @ rng.standard_normal(estimate.shape) * sigma
    chances = np.maximum(X[gap] @ drawn, 1e-12)
    upto = np.cumsum(chances, axis=1)
    place = rng.random(len(chances))[:, None] * upto[:, -1:]
    return levels[np.sum(place > upto[:, :-1], axis=1)]


def _inverse(A: np.ndarray) -> np.ndarray:
    return np.linalg.inv(A.T @ A + RIDGE * len(A) * np.eye(A.shape[1]))


def _normal(cov: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return np.linalg.cholesky((cov + cov.T) / 2) @ rng.standard_normal(len(cov))
