"""Laying by whole day, from days known only to intervals: nonparametric likelihood.

Each course gives a set of days on which its laying may have begun; the distribution of
largest likelihood is found over all of them. Knows arrays only, no records, and assumes
no shape of the curve. What lies inside one support set, the data cannot order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

KKT = 1.0 + 1e-8
"""Largest directional derivative, per unit of weight, at which a fit is accepted."""
WARM_STEPS = 15
"""Steps of expectation and maximisation before the Newton steps."""
NEWTON_STEPS = 60
HALVINGS = 30
NOISE = 1e-14
"""Difference of two mean log-likelihoods that rounding alone can make."""


def maximise(holds, share, start=None) -> tuple[np.ndarray, float, int]:
    r"""Maximise :math:`\sum_r f_r \log \sum_j a_{rj} s_j` over the simplex.

    Parameters
    ----------
    holds : ndarray, shape (R, m)
        1 where observation r holds set j; every observation holds one.
    share : ndarray, shape (R,)
        Weights f, which sum to 1.
    start : ndarray, shape (m,), optional
        Masses to start from; every observation holds some of them.

    Returns
    -------
    mass : ndarray, shape (m,)
    kkt : float
        Largest directional derivative; 1 at the maximum.
    steps : int
    """
    mass = np.ones(holds.shape[1]) if start is None else start
    for _ in range(WARM_STEPS if start is None else 0):
        mass = mass * (holds.T @ (share / (holds @ mass)))
    mass = mass / mass.sum()
    root = np.sqrt(share)
    steps = 0
    while True:
        slope = holds.T @ (share / (holds @ mass))
        kkt = float(slope.max())
        if kkt <= 1.0 + 0.01 * (KKT - 1.0) or steps == NEWTON_STEPS:
            break
        # a set without mass gains some only where the likelihood rises with it
        own = np.flatnonzero((mass > 0) | (slope > 1.0))
        moved = _newton_step(holds[:, own], share, root, mass[own])
        if moved is None:
            break
        mass = np.zeros_like(mass)
        mass[own], steps = moved, steps + 1
    return mass, kkt, steps


def _newton_step(holds, share, root, mass) -> np.ndarray | None:
    """Go to the best mixture of the quadratic form, or part of the way; None at the end."""
    chance = holds @ mass
    towards = _best_mixture(holds, root, chance) - mass
    rise = share @ ((holds @ towards) / chance)
    gain, size = share @ np.log(chance), 1.0
    for _ in range(HALVINGS):
        tried = np.maximum(mass + size * towards, 0.0)
        with np.errstate(divide="ignore"):
            reached = share @ np.log(holds @ tried)
        if reached >= gain + 0.1 * size * rise - NOISE:
            return tried / tried.sum()
        size /= 2.0
    return None


def _best_mixture(holds, root, chance) -> np.ndarray:
    """Give the masses at which the quadratic form about the present ones is largest.

    The form is least squares over the simplex, which Dax's trick turns into least
    squares over the positive orthant (Dax A, SIAM J Optim 1990, as in Wang 2007).
    """
    from scipy.optimize import nnls  # late, as `stats/tails.py` says

    form = np.ones((len(root) + 1, holds.shape[1]))
    np.divide(holds, chance[:, None], out=form[:-1])
    form[:-1] -= 2.0
    form[:-1] *= root[:, None]
    target = np.zeros(len(form))
    target[-1] = 1.0
    found = nnls(form, target)[0]
    return found / found.sum()


def _maximise_many(holds, share, start) -> tuple[np.ndarray, np.ndarray]:
    """Do what `maximise` does from one start, for many weightings at once.

    Parameters
    ----------
    holds : ndarray, shape (R, m)
    share : ndarray, shape (B, R)
        A weighting a row, each with a sum of 1; an observation may have none.
    start : ndarray, shape (m,)

    Returns
    -------
    mass : ndarray, shape (B, m)
    kkt : ndarray, shape (B,)

    Notes
    -----
    Only the mixtures are found weighting by weighting; slopes and lengths of steps are
    found for all that are still on their way.
    """
    seen = share > 0
    parts = [
        (np.sqrt(f[rows]), holds[rows]) for f, rows in zip(share, seen, strict=True)
    ]
    mass, kkt = np.tile(start / start.sum(), (len(share), 1)), np.empty(len(share))
    moving = np.arange(len(share))
    for step in range(NEWTON_STEPS + 1):
        f = share[moving]
        chance = np.where(seen[moving], mass[moving] @ holds.T, 1.0)
        slope = (f / chance) @ holds
        kkt[moving] = slope.max(axis=1)
        on = kkt[moving] > 1.0 + 0.01 * (KKT - 1.0)
        if step == NEWTON_STEPS or not on.any():
            break
        moving, f, chance, slope = moving[on], f[on], chance[on], slope[on]
        best = np.zeros_like(slope)
        # a set without mass gains some only where the likelihood rises with it
        for at, own in enumerate((mass[moving] > 0) | (slope > 1.0)):
            root, rows = parts[moving[at]]
            here = chance[at, seen[moving[at]]]
            best[at, own] = _best_mixture(rows[:, own], root, here)
        size = _lengths(holds, f, chance, mass[moving], best)
        moved = np.maximum(mass[moving] + size[:, None] * (best - mass[moving]), 0.0)
        mass[moving] = moved / moved.sum(axis=1, keepdims=True)
        moving = moving[size > 0]
    return mass, kkt


def _lengths(holds, share, chance, mass, best) -> np.ndarray:
    """Give how far each weighting goes towards its mixture; 0 where no length rises."""
    towards = best - mass
    rise = (share * ((towards @ holds.T) / chance)).sum(axis=1)
    gain = (share * np.log(chance)).sum(axis=1)
    size, found = 1.0, np.zeros(len(share))
    left = np.arange(len(share))
    for _ in range(HALVINGS):
        tried = np.maximum(mass[left] + size * towards[left], 0.0)
        reached = np.where(share[left] > 0, tried @ holds.T, 1.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            reached = (share[left] * np.log(reached)).sum(axis=1)
        risen = reached >= gain[left] + 0.1 * size * rise[left] - NOISE
        found[left[risen]] = size
        left, size = left[~risen], size / 2.0
        if not len(left):
            break
    return found


@dataclass(frozen=True)
class TurnbullFit:
    """The nonparametric distribution of the day on which laying begins.

    Attributes
    ----------
    support : ndarray, shape (m, 2)
        Sets ``(left, right]`` that may carry mass, in order; the last row is
        ``(inf, inf)``, those that never lay, where an observation allows it.
    mass : ndarray, shape (m,)
        Share of the courses in each; sums to 1.
    log_likelihood : float
        Weighted, at `mass`.
    kkt : float
        Largest directional derivative per unit of weight; 1 at the maximum.
    iterations : int
        Newton steps taken.
    last_day : float
        Last finite day that any observation names. Beyond it the curve is only a
        lower bound, since late layers and those that never lay look alike.
    converged : bool
    message : str
        Empty, or in words what kept the fit from being one.
    """

    support: np.ndarray
    mass: np.ndarray
    log_likelihood: float
    kkt: float
    iterations: int
    last_day: float
    converged: bool
    message: str


@dataclass(frozen=True)
class TurnbullMany:
    """Fits of one set of observations under many weightings.

    Attributes
    ----------
    support : ndarray, shape (m, 2)
        As in `TurnbullFit`, of all observations together.
    mass : ndarray, shape (B, m)
        One fit a row; nan where a weighting is all zero.
    kkt : ndarray, shape (B,)
    """

    support: np.ndarray
    mass: np.ndarray
    kkt: np.ndarray


@dataclass(frozen=True)
class _Sets:
    """Distinct observations and the support sets they can hold.

    ``holds[r, j]`` is 1 where observation r contains set j, shape (R, m);
    ``row`` gives each given observation's r.
    """

    support: np.ndarray
    holds: np.ndarray
    row: np.ndarray
    last_day: float


def fit_turnbull(after, by, or_never, weights=None) -> TurnbullFit:
    r"""Fit the distribution of onset by nonparametric maximum likelihood.

    Maximises :math:`\sum_i w_i \log \sum_j a_{ij} s_j` over masses :math:`s`, where
    :math:`a_{ij}` is 1 when support set j lies inside observation i.

    Parameters
    ----------
    after, by : array_like, shape (n,)
        Laying began in ``(after, by]``; ``by`` is inf where nothing bounds it, and
        then the observation includes never laying.
    or_never : array_like of bool, shape (n,)
        The observation is ``(after, by]`` or never.
    weights : array_like, shape (n,), optional
        How often each observation counts; those of weight 0 are as if absent.

    Returns
    -------
    TurnbullFit
        Without support, and with a message, where the input forbids a fit.

    Notes
    -----
    Turnbull BW, JRSS B 1976;38:290-295, with half-open intervals; the maximum is found
    by the constrained Newton method of Wang Y, JRSS B 2007;69:185-198. Where a finite
    set and never laying cannot be told apart, the mass counts as never.
    """
    after, by, never = _arrays(after, by, or_never)
    weights = np.ones(len(after)) if weights is None else np.asarray(weights, float)
    fault = _find_fault(after, by, never, weights)
    if fault:
        return TurnbullFit(
            np.empty((0, 2)), np.empty(0), np.nan, np.nan, 0, np.nan, False, fault
        )
    used = weights > 0
    sets = _candidate_sets(after[used], by[used], never[used])
    counts = np.bincount(sets.row, weights[used], minlength=len(sets.holds))
    mass, kkt, steps = maximise(sets.holds, counts / counts.sum(), None)
    log_likelihood = float(counts @ np.log(sets.holds @ mass))
    met = kkt <= KKT
    words = "" if met else f"stopped with a derivative of {kkt:.3g} instead of 1"
    return TurnbullFit(
        sets.support, mass, log_likelihood, kkt, steps, sets.last_day, met, words
    )


def fit_weighted_many(
    after, by, or_never, weight_matrix, clusters=None
) -> TurnbullMany:
    """Fit the same observations under many weightings, for bootstrap or jackknife.

    Parameters
    ----------
    after, by, or_never
        As in `fit_turnbull`.
    weight_matrix : array_like, shape (B, n) or (B, G)
        A weighting a row, of each observation or of each cluster.
    clusters : array_like of int, shape (n,), optional
        Cluster of each observation, 0 .. G - 1, when the weights are of clusters.

    Returns
    -------
    TurnbullMany
        On the support of all observations; without any where the input forbids it.
    """
    after, by, never = _arrays(after, by, or_never)
    weight_matrix = np.atleast_2d(np.asarray(weight_matrix, float))
    if clusters is None:
        clusters = np.arange(weight_matrix.shape[1])
    fault = "clusters" if len(clusters) != len(after) else ""
    if fault or _find_fault(after, by, never, weight_matrix.sum(axis=0)[clusters]):
        none = np.full(len(weight_matrix), np.nan)
        return TurnbullMany(np.empty((0, 2)), np.empty((len(none), 0)), none)
    sets = _candidate_sets(after, by, never)
    counts = _collapse(weight_matrix, sets, clusters)
    everyone = counts.sum(axis=0)
    start = maximise(sets.holds, everyone / everyone.sum(), None)[0]
    mass = np.full((len(counts), len(start)), np.nan)
    kkt = np.full(len(counts), np.nan)
    some = counts.any(axis=1)
    if some.any():
        share = counts[some] / counts[some].sum(axis=1, keepdims=True)
        mass[some], kkt[some] = _maximise_many(sets.holds, share, start)
    return TurnbullMany(sets.support, mass, kkt)


def share_by(fit: TurnbullFit | TurnbullMany, days) -> np.ndarray:
    """Share of courses laying by each whole day.

    A support set counts from its right end on, so that a set that a day cuts counts as
    not yet laying: within the set nothing is known, and the curve is its lower edge.

    Parameters
    ----------
    fit : TurnbullFit or TurnbullMany
    days : array_like, shape (k,)

    Returns
    -------
    ndarray, shape (k,) or (B, k)
        nan where there is no fit.
    """
    days = np.atleast_1d(np.asarray(days, float))
    if not len(fit.support):
        return np.full((*fit.mass.shape[:-1], len(days)), np.nan)
    right = fit.support[:, 1]
    reached = (right[:, None] <= days) & np.isfinite(right)[:, None]
    return np.clip(fit.mass @ reached.astype(float), 0.0, 1.0)


def _arrays(after, by, or_never) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the observations as arrays; an open end includes never laying."""
    after, by = np.asarray(after, float), np.asarray(by, float)
    never = np.asarray(or_never, bool)
    return after, by, never | np.isposinf(by) if len(never) == len(by) else never


def _find_fault(after, by, never, weights) -> str:
    """Say in words what forbids a fit; empty when nothing does."""
    if not len(after):
        return "there are no courses"
    if {len(by), len(never), weights.shape[-1]} != {len(after)}:
        return "the days and weights are not of one length"
    if not (np.isfinite(after).all() and (after < by).all()):
        wrong = int((~(np.isfinite(after) & (after < by))).sum())
        return f"{wrong} intervals are empty or without a first day"
    if not np.isfinite(weights).all() or (weights < 0).any() or not weights.sum() > 0:
        return "the weights are negative, no numbers, or all zero"
    return ""


def _candidate_sets(after, by, never) -> _Sets:
    """Find the innermost sets and which distinct observation holds which."""
    lefts, at_left = np.unique(after, return_inverse=True)
    rights, at_right = np.unique(by, return_inverse=True)
    code = (at_left * len(rights) + at_right) * 2 + never
    code, row = np.unique(code, return_inverse=True)
    left, right = lefts[code // (2 * len(rights))], rights[code // 2 % len(rights)]
    allows = code % 2 == 1
    finite = np.isfinite(right)
    # a set opens at an `after` whose next end to the right is a `by`; at one day the
    # `by` comes first, since (a, b] ends on b and (b, c] begins behind it
    days = np.concatenate([right[finite], left])
    opens = np.repeat([0, 1], [finite.sum(), len(left)])
    order = np.lexsort([opens, days])
    days, opens = days[order], opens[order]
    inner = np.flatnonzero((opens[:-1] == 1) & (opens[1:] == 0))
    support = np.column_stack([days[inner], days[inner + 1]])
    holds = (support[:, 0] >= left[:, None]) & (support[:, 1] <= right[:, None])
    if allows.any():
        same = (holds == allows[:, None]).all(axis=0)
        support = np.vstack([support[~same], [np.inf, np.inf]])
        holds = np.column_stack([holds[:, ~same], allows])
    return _Sets(support, holds.astype(float), row, float(days[-1]))


def _collapse(weight_matrix, sets: _Sets, clusters) -> np.ndarray:
    """Add up the weights of like observations, shape (B, R)."""
    shape = (len(sets.holds), weight_matrix.shape[1])
    ones = np.ones(len(sets.row))
    counts = csr_array((ones, (sets.row, clusters)), shape=shape)
    return (counts @ weight_matrix.T).T
