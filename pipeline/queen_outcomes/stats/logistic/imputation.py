"""Fills gaps in the factors several times over, and joins the fits (Rubin's rules).

By chained equations: numbers by predictive mean matching (a value seen in a like course),
words by a draw from logistic chances. The outcome and the batch take part, otherwise
their relation to the factor would be watered down. The outcome itself is never filled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.special import expit

DONORS = 5
"""Among how many near courses a filled value is drawn (van Buuren 2018, ch. 3.4)."""
LEVEL = 0.95
"""Coverage of limits."""
RIDGE = 1e-4
"""Keeps the regressions solvable with more predictors than courses."""


@dataclass(frozen=True, eq=False)
class Completed:
    """One set of factors without gaps; as given, with the gaps filled."""

    numbers: dict[str, np.ndarray]
    words: dict[str, np.ndarray]


@dataclass(frozen=True, eq=False)
class Imputed:
    """What came of it.

    Attributes
    ----------
    completed : tuple of Completed
    filled : dict of str to int
        How many values of each factor were filled.
    left_out : tuple of str
        Factors with no value at all: nothing to fill from.
    message : str
        Empty, or why nothing was filled.
    """

    completed: tuple[Completed, ...]
    filled: dict[str, int]
    left_out: tuple[str, ...]
    message: str


def impute(
    numbers: dict[str, np.ndarray],
    words: dict[str, np.ndarray],
    outcome,
    batch,
    *,
    times: int = 20,
    cycles: int = 10,
    seed: int = 1,
) -> Imputed:
    """Fill the gaps in factors ``times`` times.

    Parameters
    ----------
    numbers : dict of str to ndarray, shape (n,)
        Measured factors; NaN is a gap.
    words : dict of str to ndarray of int, shape (n,)
        Level codes 0..k-1; a code below zero is a gap.
    outcome : array_like, shape (n,) or (n, k)
        Without gaps; several columns where one number does not tell it.
    batch : array_like, shape (n,)
        Group of each course.
    times, cycles, seed : int

    Returns
    -------
    Imputed
        The same for the same rows in the same order, whatever else is run.

    Notes
    -----
    van Buuren S. Flexible Imputation of Missing Data, 2nd ed. 2018, ch. 3-4. The batch
    enters as columns: the mean of each outcome over its other courses, and the mean of
    the factor at hand over those that have it.
    """
    outcome = np.asarray(outcome, float)
    gaps = {k: ~np.isfinite(np.asarray(v, float)) for k, v in numbers.items()}
    gaps |= {k: np.asarray(v) < 0 for k, v in words.items()}
    if not np.isfinite(outcome).all() or any(
        len(g) != len(outcome) for g in gaps.values()
    ):
        return Imputed((), {}, (), "the outcome has gaps or differs in length")
    outcome = np.atleast_2d(outcome.T).T
    left_out = tuple(k for k, gap in gaps.items() if gap.all())
    gaps = {k: gap for k, gap in gaps.items() if k not in left_out}
    numbers = {k: np.asarray(v, float) for k, v in numbers.items() if k in gaps}
    words = {k: np.asarray(v, int) for k, v in words.items() if k in gaps}
    code = np.unique(np.asarray(batch), return_inverse=True)[1]
    chain = _Chain(Completed(numbers, words), gaps, outcome, code)
    runs = tuple(
        chain.run(np.random.default_rng([seed, i]), cycles) for i in range(times)
    )
    filled = {k: int(gap.sum()) for k, gap in gaps.items()}
    return Imputed(runs, filled, left_out, "")


@dataclass(frozen=True, eq=False)
class _Chain:
    given: Completed
    gaps: dict[str, np.ndarray]
    outcome: np.ndarray
    batch: np.ndarray

    def run(self, rng: np.random.Generator, cycles: int) -> Completed:
        """Start from random values of each factor, then go round."""
        now = Completed(
            {
                k: self._start(v, self.gaps[k], rng)
                for k, v in self.given.numbers.items()
            },
            {k: self._start(v, self.gaps[k], rng) for k, v in self.given.words.items()},
        )
        # the factor with the fewest gaps first, so that it serves the others
        order = sorted((g.sum(), k) for k, g in self.gaps.items() if g.any())
        for _ in range(cycles if order else 0):
            for _, name in order:
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
            now.numbers[name][gap] = match_means(X, self.given.numbers[name], gap, rng)
        else:
            now.words[name][gap] = draw_levels(X, self.given.words[name], gap, rng)

    def _predictors(self, now: Completed, name: str) -> np.ndarray:
        """Give all other factors, outcome and batch, standardised, ones first."""
        every = np.ones(len(self.outcome))
        columns = [*self.outcome.T]
        columns += [self._batch_mean(part, every) for part in self.outcome.T]
        for other, values in now.numbers.items():
            columns += [values] if other != name else []
        for other, values in now.words.items():
            columns += [] if other == name else _dummies(values)
        seen = (~self.gaps[name]).astype(float)
        own = self.given.numbers.get(name)
        targets = [own] if own is not None else _dummies(self.given.words[name])
        columns += [self._batch_mean(np.nan_to_num(t), seen) for t in targets]
        X = np.column_stack(columns)
        spread = X.std(axis=0)
        X = (X - X.mean(axis=0)) / np.where(spread > 0, spread, 1.0)
        return np.column_stack([np.ones(len(X)), X])

    def _batch_mean(self, values: np.ndarray, seen: np.ndarray) -> np.ndarray:
        """Give the mean of the batch's other courses, pulled to the mean of all by one."""
        total = np.bincount(self.batch, seen * values)[self.batch] - seen * values
        count = np.bincount(self.batch, seen)[self.batch] - seen
        overall = np.sum(seen * values) / np.sum(seen)
        return (total + overall) / (count + 1.0)


def _dummies(codes: np.ndarray) -> list[np.ndarray]:
    return [
        (codes == level).astype(float) for level in np.unique(codes[codes >= 0])[1:]
    ]


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
    inverse = np.linalg.inv(A.T @ A + RIDGE * len(A) * np.eye(X.shape[1]))
    estimate = inverse @ A.T @ target
    free = max(len(target) - X.shape[1], 1)
    sigma = np.sqrt(np.sum((target - A @ estimate) ** 2) / rng.chisquare(free))
    drawn = estimate + sigma * _normal(inverse, rng)
    order = np.argsort(A @ estimate, kind="stable")
    places, wanted = (A @ estimate)[order], X[gap] @ drawn
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
        Each a level that was seen. One logistic fit a level against the rest, with
        coefficients drawn from their distribution; chances scaled to add up to 1.
    """
    levels = np.unique(codes[~gap])
    chances = np.empty((int(gap.sum()), len(levels)))
    for i, level in enumerate(levels):
        beta, inverse = _ridge_logistic(X[~gap], (codes[~gap] == level).astype(float))
        chances[:, i] = expit(X[gap] @ (beta + _normal(inverse, rng)))
    chances = np.maximum(chances, 1e-12)
    upto = np.cumsum(chances, axis=1)
    drawn = rng.random(len(chances))[:, None] * upto[:, -1:]
    return levels[np.sum(drawn > upto[:, :-1], axis=1)]


def _ridge_logistic(X: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fit with a normal prior of variance 4 on standardised slopes: finite always."""
    prior = np.full(X.shape[1], 0.25)
    prior[0] = 0.01
    beta = np.zeros(X.shape[1])
    for _ in range(25):
        p = expit(X @ beta)
        information = (X * (p * (1 - p))[:, None]).T @ X + np.diag(prior)
        step = np.linalg.solve(information, X.T @ (y - p) - prior * beta)
        beta = beta + step * min(1.0, 3.0 / max(np.max(np.abs(step)), 1e-300))
        if np.max(np.abs(step)) < 1e-8:
            break
    return beta, np.linalg.inv(information)


def _normal(cov: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return np.linalg.cholesky((cov + cov.T) / 2) @ rng.standard_normal(len(cov))


@dataclass(frozen=True, eq=False)
class Pooled:
    """Estimates over several imputations.

    Attributes
    ----------
    beta : ndarray, shape (p,)
    cov : ndarray, shape (p, p)
        Within plus ``1 + 1/m`` times between.
    between : ndarray, shape (p, p)
        Of the fits' estimates among each other.
    df, low, high : ndarray, shape (p,)
        By Student's t.
    used : int
        Fits that took part; those without an estimate are passed over.
    message : str
    """

    beta: np.ndarray
    cov: np.ndarray
    between: np.ndarray
    df: np.ndarray
    low: np.ndarray
    high: np.ndarray
    used: int
    message: str


def pool(betas: Sequence[np.ndarray], covs: Sequence[np.ndarray]) -> Pooled:
    """Pool estimates by Rubin's rules.

    Parameters
    ----------
    betas : sequence of ndarray, shape (p,)
    covs : sequence of ndarray, shape (p, p)

    Returns
    -------
    Pooled

    Notes
    -----
    ``T = W + (1 + 1/m) B`` with ``(m - 1) (T / ((1 + 1/m) B))^2`` degrees of freedom.
    Rubin DB. Multiple Imputation for Nonresponse in Surveys 1987.
    """
    sound = [
        (np.asarray(b, float), np.asarray(V, float))
        for b, V in zip(betas, covs, strict=True)
        if np.isfinite(b).all() and np.isfinite(V).all()
    ]
    if not sound:
        blank = np.full(len(betas[0]) if len(betas) else 0, np.nan)
        square = np.full((len(blank), len(blank)), np.nan)
        why = "no imputation could be fitted"
        return Pooled(blank, square, square, *[blank] * 3, 0, why)
    m = len(sound)
    each = np.array([b for b, _ in sound])
    within = np.mean([V for _, V in sound], axis=0)
    away = each - each.mean(axis=0)
    between = away.T @ away / max(m - 1, 1)
    cov = within + (1 + 1 / m) * between
    df = freedom_of(np.diag(between), np.diag(cov), m)
    beta = each.mean(axis=0)
    arm = stats.t.isf((1 - LEVEL) / 2, df) * np.sqrt(np.diag(cov))
    lost = len(betas) - m
    message = f"{lost} of {len(betas)} imputations could not be fitted" if lost else ""
    return Pooled(beta, cov, between, df, beta - arm, beta + arm, m, message)


def freedom_of(between, total, m: int) -> np.ndarray:
    """Give degrees of freedom from variances between ``m`` fits and in all.

    Infinite where the fits agree: nothing of the variance then stems from the gaps.
    """
    total = np.asarray(total, float)
    shape = np.shape(total)
    share = np.divide(
        (1 + 1 / m) * between, total, out=np.zeros(shape), where=total > 0
    )
    return np.divide(
        max(m - 1, 1), share**2, out=np.full(shape, np.inf), where=share > 0
    )


def freedom_by_gaps(pooled: Pooled, contrasts) -> np.ndarray:
    """Give the degrees of freedom that the gaps leave to contrasts.

    Parameters
    ----------
    pooled : Pooled
    contrasts : array_like, shape (k, r) or (r,)
        In the first r of the p estimates.

    Returns
    -------
    ndarray, shape (k,)
        Infinite where the fits agree.
    """
    rows = np.atleast_2d(np.asarray(contrasts, float))
    size = rows.shape[1]
    between, total = (
        ((rows @ part[:size, :size]) * rows).sum(axis=1)
        for part in (pooled.between, pooled.cov)
    )
    return freedom_of(between, total, pooled.used)
