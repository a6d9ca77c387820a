"""Firth's penalised logistic regression, for few events or separated answers.

Estimates are finite whatever the data; limits and tests come from the profile of
the penalised likelihood, never from standard errors. No random effects here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from queen_outcomes.stats.logistic.odds_shift import odds_shift
from queen_outcomes.stats.logistic.plain import (
    Basis,
    Rows,
    basis_of,
    collapse_rows,
    log_likelihood,
    rows_of,
    same_answer,
)
from queen_outcomes.stats.tails import chi2_isf

MOST_CLIMBED = 200
FIRST_BY_SCORING = 4
"""So many steps by the information alone; near the top its pace is only linear."""
STEP = 1e-9
"""A step below this, in standard deviations of eta, is the last of a climb."""
LONGEST = 5.0


@dataclass(frozen=True, eq=False)
class PenalisedPoint:
    """The penalised likelihood at one point.

    Attributes
    ----------
    gamma : ndarray, shape (p,)
    value : float
        ``l + log|Z'WZ| / 2``; minus infinity where the information is singular.
    score : ndarray, shape (p,)
        ``Z'(w (y - p) + h (1/2 - p))`` with h the hat values.
    information : ndarray, shape (p, p)
    reached : bool
        Whether this is where a climb ended.
    """

    gamma: np.ndarray
    value: float
    score: np.ndarray
    information: np.ndarray
    reached: bool = False


def place(rows: Rows, Z: np.ndarray, gamma: np.ndarray) -> PenalisedPoint:
    """Evaluate the penalised likelihood and its score."""
    eta = Z @ gamma
    p = expit(eta)
    spread = rows.weights * p * (1.0 - p)
    information = (Z * spread[:, None]).T @ Z
    try:
        root = np.linalg.cholesky(information)
    except np.linalg.LinAlgError:
        return PenalisedPoint(gamma, -np.inf, np.zeros(len(gamma)), information)
    value = log_likelihood(eta, rows.y, rows.weights) + np.log(np.diag(root)).sum()
    hat = spread * np.sum((Z @ np.linalg.inv(root).T) ** 2, axis=1)
    score = Z.T @ (rows.weights * (rows.y - p) + hat * (0.5 - p))
    return PenalisedPoint(gamma, float(value), score, information)


def climb(
    rows: Rows, Z: np.ndarray, gamma: np.ndarray, held: int = 0
) -> PenalisedPoint:
    """Maximise with the last ``held`` entries of gamma left as they are.

    Parameters
    ----------
    rows : Rows
    Z : ndarray, shape (n, p)
    gamma : ndarray, shape (p,)
        Where to start.
    held : int

    Returns
    -------
    PenalisedPoint
        ``reached`` is False when the climb did not end.
    """
    now, k = place(rows, Z, gamma), len(gamma) - held
    for count in range(MOST_CLIMBED):
        if not np.isfinite(now.value):
            return now
        step = np.zeros(len(gamma))
        step[:k] = _step(rows, Z, now, k, count >= FIRST_BY_SCORING)
        size = np.max(np.abs(step))
        if size < STEP:
            return PenalisedPoint(
                now.gamma, now.value, now.score, now.information, True
            )
        now = _upwards(rows, Z, now, step * min(1.0, LONGEST / size))
    return now


def _upwards(
    rows: Rows, Z: np.ndarray, now: PenalisedPoint, step: np.ndarray
) -> PenalisedPoint:
    """Take the step, halved until it does not lead down."""
    # rounding of its two parts remains even where likelihood and penalty cancel
    noise = 1e-12 * (1.0 + abs(now.value))
    for _ in range(50):
        new = place(rows, Z, now.gamma + step)
        if new.value >= now.value - noise:
            break
        step = step / 2
    return new


def _step(
    rows: Rows, Z: np.ndarray, now: PenalisedPoint, k: int, newton: bool
) -> np.ndarray:
    """Give Newton's step; by the information where the curvature is not downwards."""
    score = now.score[:k]
    if newton and k:
        curvature = -_hessian(rows, Z, now)[:k, :k]
        try:
            np.linalg.cholesky(curvature)
            return np.linalg.solve(curvature, score)
        except np.linalg.LinAlgError:
            pass
    return np.linalg.solve(now.information[:k, :k], score)


def _hessian(rows: Rows, Z: np.ndarray, now: PenalisedPoint) -> np.ndarray:
    """Give the second derivative of the penalised likelihood, shape (p, p).

    With v = w p (1 - p), C the inverse information and
    ``T_r = sum v (1 - 2p) z_r z z'``::

        -Z'VZ + Z' diag(h (1 - 2p)^2 / 2 - h p (1 - p)) Z - tr(C T_r C T_s) / 2
    """
    p = expit(Z @ now.gamma)
    pq, lean = p * (1.0 - p), 1.0 - 2.0 * p
    root = np.linalg.inv(np.linalg.cholesky(now.information))
    white = Z @ root.T
    hat = rows.weights * pq * np.sum(white**2, axis=1)
    third = np.stack(
        [
            (white * (rows.weights * pq * lean * column)[:, None]).T @ white
            for column in Z.T
        ]
    ).reshape(Z.shape[1], -1)
    bend = (Z * (hat * (lean**2 / 2 - pq))[:, None]).T @ Z
    return bend - now.information - third @ third.T / 2


LEVEL = 0.95
"""Coverage of the limits."""
MOST_STEPS = 100
MOST_DOUBLINGS = 30
"""A limit not met after this many strides, each longer than the last, is infinite."""


@dataclass(frozen=True, eq=False)
class FirthFit:
    """A logistic model fitted with Firth's penalty.

    Attributes
    ----------
    beta : ndarray, shape (p,)
    cov : ndarray, shape (p, p)
        Inverse Fisher information at ``beta``; not the source of the limits.
    low, high : ndarray, shape (p,)
        Limits by the profile; NaN when not asked for or not found (the message says
        so), infinite when there is none.
    penalised_log_likelihood : float
    converged : bool
    message : str
        Empty, or what is wrong or remarkable in words.
    flic_beta : ndarray, shape (p,)
        ``beta`` with the first coefficient moved so that the mean fitted probability
        is the observed share: the one for every probability that is shown.
    """

    beta: np.ndarray
    cov: np.ndarray
    low: np.ndarray
    high: np.ndarray
    penalised_log_likelihood: float
    converged: bool
    message: str
    flic_beta: np.ndarray


def fit_firth(X, y, *, profile=True) -> FirthFit:
    """Fit a logistic model by Firth's penalised likelihood.

    Parameters
    ----------
    X : array_like, shape (n, p)
        With its column of ones first.
    y : array_like, shape (n,)
        0/1.
    profile : bool
        False leaves out the limits, the slow part.

    Returns
    -------
    FirthFit

    Notes
    -----
    Maximises ``l(b) + log|X'WX| / 2`` by scoring on ``X'(y - p + h (1/2 - p))``, h the
    hat values. Firth D. Biometrika 1993;80:27-38; Heinze G, Schemper M. Stat Med
    2002;21:2409-2419; FLIC: Puhr R et al. Stat Med 2017;36:2302-2317.
    """
    rows, basis, message = _prepared(X, y)
    if basis is None:
        return _no_fit(X, message)
    top = climb(rows, basis.Z, np.zeros(basis.Z.shape[1]))
    if not top.reached:
        return _no_fit(X, "the penalised likelihood found no maximum")
    beta, cov = basis.to_beta(top.gamma), basis.to_cov(top.information)
    each = range(len(beta)) if profile else ()
    found = [_profiled(rows, j, beta, cov, top.value) for j in each]
    blank = np.full((len(beta), 2), np.nan)
    low, high = (np.array(found) if found else blank).T
    value = top.value + basis.log_det()
    flic, moved = beta.copy(), odds_shift(np.asarray(X, float) @ beta, float(np.sum(y)))
    if np.isfinite(moved):  # where every answer is the same no shift makes it so
        flic[0] += moved
    message = _remarks(rows, low, high) if profile else same_answer(rows)
    return FirthFit(beta, cov, low, high, value, True, message, flic)


def _prepared(X, y) -> tuple[Rows | None, Basis | None, str]:
    rows, message = rows_of(X, y)
    if rows is None:
        return None, None, message
    joined = collapse_rows(rows.X, rows.y, rows.weights)
    rows = Rows(*joined)
    if len(rows.y) < rows.X.shape[1]:
        return None, None, "more terms than distinct rows"
    return rows, *basis_of(rows.X)


def _rotated(rows: Rows, last: list[int]) -> Basis:
    """Give a basis with the named columns last: fixing them fixes its last entries."""
    first = [j for j in range(rows.X.shape[1]) if j not in last]
    return basis_of(rows.X[:, first + last])[0]


@dataclass(frozen=True, eq=False)
class _Profile:
    """The penalised likelihood as a function of one coefficient.

    Two orthonormal bases of the same columns give the same penalised likelihood, so
    the maximum ``top`` found in another one holds here too.
    """

    rows: Rows
    basis: Basis
    top: float
    best: np.ndarray

    def fall(self, value: float, start: np.ndarray):
        """Give twice the fall from the top, its slope, and where the rest went.

        Infinite where the climb has no end: too far out, from where it started.
        """
        unit = self.basis.R[-1, -1]
        moved = start.copy()
        moved[-1] = unit * value
        held = climb(self.rows, self.basis.Z, moved, 1)
        if not held.reached:
            return np.inf, 0.0, start
        drop = 2.0 * (self.top - held.value)
        return drop, -2.0 * unit * held.score[-1], held.gamma


def _profiled(rows, j: int, beta, cov, top: float):
    """Give low and high of one coefficient."""
    basis = _rotated(rows, [j])
    order = [k for k in range(len(beta)) if k != j] + [j]
    profile = _Profile(rows, basis, top, basis.to_gamma(beta[order]))
    crit, se = float(chi2_isf(1 - LEVEL, 1)), float(np.sqrt(cov[j, j]))
    return tuple(_limit(profile, beta[j], side * se, crit) for side in (-1, 1))


def _limit(profile: _Profile, centre: float, se: float, crit: float) -> float:
    """Walk from the estimate to where the likelihood has fallen by ``crit``.

    Newton's steps on the fall; where one would leave the bracket, or before there is
    one, the bracket is halved or the stride doubled.
    """
    inner, outer, start = centre, None, profile.best
    value = centre + np.sqrt(crit) * se
    for step in range(MOST_STEPS):
        drop, slope, start = profile.fall(value, start)
        if abs(drop - crit) < 1e-8:
            return float(value)
        if drop < -1e-6:  # a second, higher top: this profile belongs to neither
            return np.nan
        inner, outer = (value, outer) if drop < crit else (inner, value)
        new = value - (drop - crit) / slope if slope else np.nan
        if outer is None:
            if step > MOST_DOUBLINGS:
                return float(np.copysign(np.inf, se))
            furthest = value + 2.0 * (value - centre)
            new = new if min(value, furthest) < new < max(value, furthest) else furthest
        elif not min(inner, outer) < new < max(inner, outer):
            new = (inner + outer) / 2
        value = new
    return np.nan


def _remarks(rows: Rows, low: np.ndarray, high: np.ndarray) -> str:
    lost = np.flatnonzero(~np.isfinite(low) | ~np.isfinite(high))
    listed = ", ".join(map(str, lost))
    said = [same_answer(rows), f"no limit was found for columns: {listed}"]
    return "; ".join(part for part in said[: 2 if len(lost) else 1] if part)


def _no_fit(X, message: str) -> FirthFit:
    p = np.shape(X)[1] if np.ndim(X) == 2 else 0
    blank, square = np.full(p, np.nan), np.full((p, p), np.nan)
    return FirthFit(blank, square, blank, blank, np.nan, False, message, blank)
