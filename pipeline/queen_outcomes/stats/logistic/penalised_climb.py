"""Climbs to the maximum of Firth's penalised likelihood, in an orthonormal basis.

Only the climb: what the maximum means, its limits and its tests are elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from queen_outcomes.stats.logistic.logistic_parts import Rows, log_likelihood

MOST_STEPS = 200
FIRST_BY_SCORING = 4
"""So many steps by the information alone; near the top its pace is only linear."""
STEP = 1e-9
"""A step below this, in standard deviations of eta, is the last of a climb."""
LONGEST = 5.0


@dataclass(frozen=True, eq=False)
class Place:
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


def place(rows: Rows, Z: np.ndarray, gamma: np.ndarray) -> Place:
    """Evaluate the penalised likelihood and its score."""
    eta = Z @ gamma
    p = expit(eta)
    spread = rows.weights * p * (1.0 - p)
    information = (Z * spread[:, None]).T @ Z
    try:
        root = np.linalg.cholesky(information)
    except np.linalg.LinAlgError:
        return Place(gamma, -np.inf, np.zeros(len(gamma)), information)
    value = log_likelihood(eta, rows.y, rows.weights) + np.log(np.diag(root)).sum()
    hat = spread * np.sum((Z @ np.linalg.inv(root).T) ** 2, axis=1)
    score = Z.T @ (rows.weights * (rows.y - p) + hat * (0.5 - p))
    return Place(gamma, float(value), score, information)


def climb(rows: Rows, Z: np.ndarray, gamma: np.ndarray, held: int = 0) -> Place:
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
    Place
        ``reached`` is False when the climb did not end.
    """
    now, k = place(rows, Z, gamma), len(gamma) - held
    for count in range(MOST_STEPS):
        if not np.isfinite(now.value):
            return now
        step = np.zeros(len(gamma))
        step[:k] = _step(rows, Z, now, k, count >= FIRST_BY_SCORING)
        size = np.max(np.abs(step))
        if size < STEP:
            return Place(now.gamma, now.value, now.score, now.information, True)
        now = _upwards(rows, Z, now, step * min(1.0, LONGEST / size))
    return now


def _upwards(rows: Rows, Z: np.ndarray, now: Place, step: np.ndarray) -> Place:
    """Take the step, halved until it does not lead down."""
    # rounding of its two parts remains even where likelihood and penalty cancel
    noise = 1e-12 * (1.0 + abs(now.value))
    for _ in range(50):
        new = place(rows, Z, now.gamma + step)
        if new.value >= now.value - noise:
            break
        step = step / 2
    return new


def _step(rows: Rows, Z: np.ndarray, now: Place, k: int, newton: bool) -> np.ndarray:
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


def _hessian(rows: Rows, Z: np.ndarray, now: Place) -> np.ndarray:
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
