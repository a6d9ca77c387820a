"""Laying by whole day, from days known only to intervals: nonparametric likelihood.

Each course gives a set of days on which its laying may have begun; the distribution of
largest likelihood is found over all of them. Knows arrays only, no records, and assumes
no shape of the curve. What lies inside one support set, the data cannot order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls
from scipy.sparse import csr_array

KKT = 1.0 + 1e-8
"""Largest directional derivative, per unit of weight, at which a fit is accepted."""
WARM_STEPS = 15
"""Steps of expectation and maximisation before the Newton steps."""
NEWTON_STEPS = 60
HALVINGS = 30
NOISE = 1e-14
"""Difference of two mean log-likelihoods that rounding alone can make."""


def maximise(holds, share, start=None) -> tuple[np.ndarray, float]:
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
    """
    mass = np.full(holds.shape[1], 1.0 / holds.shape[1]) if start is None else start
    for _ in range(WARM_STEPS if start is None else 0):
        mass = mass * (holds.T @ (share / (holds @ mass)))
    mass = mass / mass.sum()
    root = np.sqrt(share)
    for step in range(NEWTON_STEPS + 1):
        slope = holds.T @ (share / (holds @ mass))
        kkt = float(slope.max())
        if kkt <= 1.0 + 0.01 * (KKT - 1.0) or step == NEWTON_STEPS:
            break
        # a set without mass gains some only where the likelihood rises with it
        own = np.flatnonzero((mass > 0) | (slope > 1.0))
        moved = _newton_step(holds[:, own], share, root, mass[own])
        if moved is None:
            break
        mass = np.zeros_like(mass)
        mass[own] = moved
    return mass, kkt


def _newton_step(holds, share, root, mass) -> np.ndarray | None:
    """Go to the best mixture of the quadratic form, or part of the way; None at the end.

    The form is least squares over the simplex, which Dax's trick turns into least
    squares over the positive orthant (Dax A, SIAM J Optim 1990, as in Wang 2007).
    """
    chance = holds @ mass
    form = root[:, None] * (holds / chance[:, None] - 2.0)
    form = np.vstack([form, np.ones(holds.shape[1])])
    target = np.zeros(len(form))
    target[-1] = 1.0
    found = nnls(form, target)[0]
    towards = found / found.sum() - mass
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


@dataclass(frozen=True)
class TurnbullFit:
    """The nonparametric distribution of the day on which laying begins.

    Attributes
    ----------
    support : ndarray, shape (m, 2)
        Sets ``(left, right]`` that may carry mass, in order; the last row is
        ``(inf, inf)``, those that never lay, where an observation allows it.
    mass : ndarray, shape (m,) or (B, m)
        Share of the courses in each, which sums to 1; one fit a row where there are many
        weightings, NaN where one is all zero.
    message : str
        In words what kept the fit from being one; else empty.
    """

    support: np.ndarray
    mass: np.ndarray
    message: str = ""


@dataclass(frozen=True)
class _Sets:
    """Distinct observations and the support sets they can hold.

    ``holds[r, j]`` is 1 where observation r contains set j, shape (R, m);
    ``row`` gives each given observation's r.
    """

    support: np.ndarray
    holds: np.ndarray
    row: np.ndarray


def fit_turnbull(after, by, or_never) -> TurnbullFit:
    r"""Fit the distribution of onset by nonparametric maximum likelihood.

    Maximises :math:`\sum_i \log \sum_j a_{ij} s_j` over masses :math:`s`, where
    :math:`a_{ij}` is 1 when support set j lies inside observation i.

    Parameters
    ----------
    after, by : array_like, shape (n,)
        Laying began in ``(after, by]``; ``by`` is inf where nothing bounds it, and
        then the observation includes never laying.
    or_never : array_like of bool, shape (n,)
        The observation is ``(after, by]`` or never.

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
    fault = _find_fault(after, by)
    if fault:
        return TurnbullFit(np.empty((0, 2)), np.empty(0), fault)
    sets = _candidate_sets(after, by, never)
    counts = np.bincount(sets.row, minlength=len(sets.holds))
    mass, kkt = maximise(sets.holds, counts / counts.sum())
    words = "" if kkt <= KKT else f"stopped with a derivative of {kkt:.3g} instead of 1"
    return TurnbullFit(sets.support, mass, words)


def fit_weighted_many(after, by, or_never, weight_matrix, clusters=None) -> TurnbullFit:
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
    TurnbullFit
        On the support of all observations.
    """
    after, by, never = _arrays(after, by, or_never)
    weight_matrix = np.atleast_2d(np.asarray(weight_matrix, float))
    if clusters is None:
        clusters = np.arange(weight_matrix.shape[1])
    sets = _candidate_sets(after, by, never)
    counts = _collapse(weight_matrix, sets, clusters)
    everyone = counts.sum(axis=0)
    mass = np.full((len(counts), sets.holds.shape[1]), np.nan)
    if everyone.any():
        start = maximise(sets.holds, everyone / everyone.sum())[0]
    for number, count in enumerate(counts):
        seen = count > 0
        if seen.any():
            mass[number] = maximise(sets.holds[seen], count[seen] / count.sum(), start)[
                0
            ]
    return TurnbullFit(sets.support, mass)


def share_by(fit: TurnbullFit, days) -> np.ndarray:
    """Share of courses laying by each whole day.

    A support set counts from its right end on, so that a set that a day cuts counts as
    not yet laying: within the set nothing is known, and the curve is its lower edge.

    Parameters
    ----------
    fit : TurnbullFit
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
    return after, by, never | np.isposinf(by)


def _find_fault(after, by) -> str:
    """Say in words what forbids a fit; empty when nothing does."""
    if not len(after):
        return "there are no courses"
    wrong = int((~(np.isfinite(after) & (after < by))).sum())
    return f"{wrong} intervals are empty or without a first day" if wrong else ""


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
    return _Sets(support, holds.astype(float), row)


def _collapse(weight_matrix, sets: _Sets, clusters) -> np.ndarray:
    """Add up the weights of like observations, shape (B, R)."""
    shape = (len(sets.holds), weight_matrix.shape[1])
    ones = np.ones(len(sets.row))
    counts = csr_array((ones, (sets.row, clusters)), shape=shape)
    return (counts @ weight_matrix.T).T
