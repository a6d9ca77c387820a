"""Likelihood of laying or never, with a lognormal day, on days known to intervals.

Gives each course's log-likelihood with its first two derivatives in the two linear
predictors and the log deviation. Holds no search and no data of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, log_expit, log_ndtr

LOG_ROOT_2PI = 0.5 * float(np.log(2.0 * np.pi))


@dataclass(frozen=True)
class Courses:
    """What is known of each course, and its columns.

    Attributes
    ----------
    X : ndarray, shape (n, p)
        Columns of the chance of laying.
    Z : ndarray, shape (n, q)
        Columns of the log day among layers.
    log_after, log_by : ndarray, shape (n,)
        Ends of the interval; -inf and inf where open.
    never : ndarray of bool, shape (n,)
        Never laying is possible.
    everybody : bool
        The chance of laying is fixed at 1, and X has no column.
    """

    X: np.ndarray
    Z: np.ndarray
    log_after: np.ndarray
    log_by: np.ndarray
    never: np.ndarray
    everybody: bool


@dataclass(frozen=True)
class Derivatives:
    """Log-likelihood and derivatives at one parameter.

    Attributes
    ----------
    value : float
    scores : ndarray, shape (n, p + q + 1)
        Each course's gradient.
    information : ndarray, shape (p + q + 1, p + q + 1)
        Minus the second derivatives, added up.
    """

    value: float
    scores: np.ndarray
    information: np.ndarray


def log_likelihood(courses: Courses, parameter) -> float:
    """Give the log-likelihood alone; see `derivatives`."""
    with np.errstate(all="ignore"):
        eta, upper, lower, _ = _places(courses, parameter)
        return float(_parts(courses, eta, _log_between(upper, lower))[0].sum())


def derivatives(courses: Courses, parameter) -> Derivatives:
    r"""Give the log-likelihood, every course's score and the information.

    .. math:: L_i = p_i D_i + v_i (1 - p_i), \quad
              D_i = \Phi(u_i) - \Phi(l_i), \quad u_i = (\log by_i - Z_i b) / \sigma

    with v_i = 1 where never laying is possible. With r = p D / L, the chance given the
    record that she is a layer, the derivatives are those of log D times r, and r - p.

    Parameters
    ----------
    courses : Courses
    parameter : ndarray, shape (p + q + 1,)
        Coefficients of X, of Z, and log sigma.
    """
    eta, upper, lower, sigma = _places(courses, parameter)
    log_between = _log_between(upper, lower)
    value, layer = _parts(courses, eta, log_between)
    first, second = _of_between(upper, lower, log_between, sigma)
    chance = np.ones_like(eta) if courses.everybody else expit(eta)
    spread = layer * (1.0 - layer)
    lines = np.vstack([layer - chance, layer * first[0], layer * first[1]])
    curves = {
        (0, 0): spread - chance * (1.0 - chance),
        (0, 1): spread * first[0],
        (0, 2): spread * first[1],
        (1, 1): layer * second[0] + spread * first[0] ** 2,
        (1, 2): layer * second[1] + spread * first[0] * first[1],
        (2, 2): layer * second[2] + spread * first[1] ** 2,
    }
    blocks = (courses.X, courses.Z, np.ones((len(eta), 1)))
    scores = np.hstack([b * s[:, None] for b, s in zip(blocks, lines, strict=True)])
    return Derivatives(float(value.sum()), scores, -_assemble(blocks, curves))


def _assemble(blocks, curves) -> np.ndarray:
    """Put the second derivatives of the predictors onto the columns."""
    rows = []
    for i, left in enumerate(blocks):
        row = []
        for j, right in enumerate(blocks):
            curve = curves[(min(i, j), max(i, j))]
            row.append(left.T @ (right * curve[:, None]))
        rows.append(row)
    return np.block(rows)


def _places(courses: Courses, parameter):
    """Give the log odds of laying and both ends in standard deviations."""
    p, q = courses.X.shape[1], courses.Z.shape[1]
    eta = courses.X @ parameter[:p]
    middle, sigma = courses.Z @ parameter[p : p + q], np.exp(parameter[-1])
    upper = (courses.log_by - middle) / sigma
    return eta, upper, (courses.log_after - middle) / sigma, sigma


def _parts(courses: Courses, eta, log_between) -> tuple[np.ndarray, np.ndarray]:
    """Give each course's log-likelihood and its chance to be a layer, given it."""
    if courses.everybody:
        return log_between, np.ones_like(eta)
    lays = log_expit(eta) + log_between
    value = np.where(courses.never, np.logaddexp(lays, log_expit(-eta)), lays)
    return value, np.exp(lays - value)


def _log_between(upper, lower) -> np.ndarray:
    """Log of the normal probability between two places, exact far out in either tail."""
    right = lower > 0
    high, low = np.where(right, -lower, upper), np.where(right, -upper, lower)
    top = log_ndtr(high)
    with np.errstate(divide="ignore"):
        return top + np.log(-np.expm1(log_ndtr(low) - top))


def _of_between(upper, lower, log_between, sigma):
    """Derivatives of log D in the log day's mean and in log sigma.

    Returns the two first ones, and the second ones (mean twice, mixed, deviation twice).
    """
    (high, u), (low, v) = (_density(place, log_between) for place in (upper, lower))
    in_mean, in_spread = -(high - low) / sigma, -(u * high - v * low)
    second = (
        in_spread / sigma**2 - in_mean**2,
        -(u**2 * high - v**2 * low) / sigma - in_mean - in_mean * in_spread,
        -in_spread - (u**3 * high - v**3 * low) - in_spread**2,
    )
    return (in_mean, in_spread), second


def _density(place, log_between) -> tuple[np.ndarray, np.ndarray]:
    """Normal density at a place over D, and the place with open ends made 0."""
    there = np.isfinite(place)
    finite = np.where(there, place, 0.0)
    height = np.where(there, -0.5 * finite**2 - LOG_ROOT_2PI - log_between, -np.inf)
    return np.exp(height), finite
