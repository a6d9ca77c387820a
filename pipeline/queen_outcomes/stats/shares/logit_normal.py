"""Rates of several operators whose log odds vary normally: maximum likelihood.

Sums of counts only, without risk adjustment: r_i of n_i, r_i binomial given the odds,
log odds normal around mu with deviation sigma.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, gammaln, logit, roots_hermitenorm
from scipy.stats import chi2

NODES = 40
"""Nodes of the Gauss-Hermite rule, laid around each operator's mode."""
MOST_STEPS = 100
"""Newton steps to a mode."""
STEP = 1e-4
"""Step of the differences that give the curvature at the maximum."""
NOTHING = 1e-7
"""Log-likelihood over the binomial's below which nobody differs."""
WIDE = 5.0
"""Deviation beyond which the figures are too rough to be used."""


@dataclass(frozen=True)
class LogitNormal:
    """The fit, and what it says of each operator.

    Attributes
    ----------
    mu, mu_se : float
        Mean log odds and its standard error.
    sigma : float
        Standard deviation of the log odds between operators; 0 is common, and a result.
    log_likelihood, binomial_log_likelihood : float
        Integrated over the operators, and with one chance for all.
    p : float
        Of the likelihood-ratio test of sigma = 0: half of chi-squared on one degree.
    modes, mode_se : ndarray, shape (I,)
        Most likely deviation of each operator and its conditional standard deviation.
    shrunken : ndarray, shape (I,)
        Posterior mean of each operator's rate, parameters taken as known.
    message : str
        Why there is no fit; empty when there is one. Figures are NaN then.
    """

    mu: float
    mu_se: float
    sigma: float
    log_likelihood: float
    binomial_log_likelihood: float
    p: float
    modes: np.ndarray
    mode_se: np.ndarray
    shrunken: np.ndarray
    message: str


def fit_logit_normal(failures, n) -> LogitNormal:
    """Fit mu and sigma.

    Parameters
    ----------
    failures, n : array_like, shape (I,)
        Failures and courses of each operator.

    Returns
    -------
    LogitNormal
        By adaptive Gauss-Hermite quadrature with the exact slope in mu and sigma^2.
    """
    r, n = np.asarray(failures, float), np.asarray(n, float)
    words = _fault(r, n)
    if words:
        return _nothing(r, words)
    centre = float(logit(r.sum() / n.sum()))
    alone = _evaluate(centre, 0.0, r, n)[0]
    mu, variance = _search(centre, r, n)
    if variance > WIDE**2:
        return _nothing(r, "failures are nearly all or nothing within operators")
    if _evaluate(mu, variance, r, n)[0] < alone + NOTHING:
        mu, variance = centre, 0.0
    value, _, _, modes, errors, rates = _evaluate(mu, variance, r, n)
    constant = float((gammaln(n + 1) - gammaln(r + 1) - gammaln(n - r + 1)).sum())
    return LogitNormal(
        mu=mu,
        mu_se=_error(mu, variance, r, n),
        sigma=float(np.sqrt(variance)),
        log_likelihood=value + constant,
        binomial_log_likelihood=alone + constant,
        p=float(chi2.sf(2.0 * (value - alone), 1) / 2) if variance > 0 else 1.0,
        modes=modes,
        mode_se=errors,
        shrunken=rates,
        message="",
    )


def _nothing(r: np.ndarray, words: str) -> LogitNormal:
    empty = np.full(len(r), np.nan)
    return LogitNormal(*(np.nan,) * 6, empty, empty.copy(), empty.copy(), words)


def _search(centre: float, r: np.ndarray, n: np.ndarray) -> tuple[float, float]:
    """Find the maximum over mu and sigma^2, which may be zero."""

    def turned(at: np.ndarray):
        value, by_mu, by_variance, *_ = _evaluate(at[0], at[1], r, n)
        return -value, np.array([-by_mu, -by_variance])

    found = minimize(
        turned,
        [centre, 0.1],
        jac=True,
        method="L-BFGS-B",
        bounds=[(None, None), (0.0, None)],
        options={"ftol": 1e-15, "gtol": 1e-8, "maxiter": 500},
    )
    return float(found.x[0]), float(found.x[1])


def _fault(r: np.ndarray, n: np.ndarray) -> str:
    if len(r) < 2:
        return "there are fewer than two operators"
    if not ((n > 0) & (r >= 0) & (r <= n)).all():
        return "an operator has no courses, or more failures than courses"
    if r.sum() in (0.0, n.sum()):
        return "nobody failed, or everybody did"
    return ""


def _evaluate(mu: float, variance: float, r: np.ndarray, n: np.ndarray):
    """Log-likelihood without constants, slopes in mu and sigma^2, and the operators.

    Slopes are posterior means of r - n p and of ((r - n p)^2 - n p q) / 2: the heat
    equation turns a derivative by the variance into half of one by mu twice.
    """
    sigma = np.sqrt(variance)
    mode, width = _modes(mu, sigma, r, n)
    places, weights = roots_hermitenorm(NODES)
    u = mode[:, None] + width[:, None] * places
    eta = mu + sigma * u
    log = r[:, None] * eta - n[:, None] * np.logaddexp(0.0, eta) - 0.5 * u * u
    log += np.log(weights / weights.sum()) + 0.5 * places**2
    peak = log.max(axis=1, keepdims=True)
    mass = np.exp(log - peak)
    total = mass.sum(axis=1, keepdims=True)
    mass = mass / total
    chance = expit(eta)
    left = r[:, None] - n[:, None] * chance
    by_mu = (mass * left).sum()
    bend = left**2 - n[:, None] * chance * (1.0 - chance)
    value = float((np.log(total[:, 0] * width) + peak[:, 0]).sum())
    slopes = float(by_mu), float(0.5 * (mass * bend).sum())
    return value, *slopes, sigma * mode, sigma * width, (mass * chance).sum(axis=1)


def _modes(mu: float, sigma: float, r: np.ndarray, n: np.ndarray):
    """Modes of the standardised deviations and their conditional deviations."""
    u = np.zeros(len(r))
    for _ in range(MOST_STEPS):
        chance = expit(mu + sigma * u)
        curvature = 1.0 + sigma**2 * n * chance * (1.0 - chance)
        step = (sigma * (r - n * chance) - u) / curvature
        # a step over more than one unit of log odds overshoots the flat ends
        u = u + np.clip(step, -1.0 / max(sigma, 1e-9), 1.0 / max(sigma, 1e-9))
        if not np.abs(step).max() > 1e-12:
            break
    return u, 1.0 / np.sqrt(curvature)


def _error(mu: float, variance: float, r: np.ndarray, n: np.ndarray) -> float:
    """Standard error of mu from the curvature over mu and, off zero, sigma^2."""

    def slope(a: float, b: float) -> np.ndarray:
        return np.array(_evaluate(a, b, r, n)[1:3])

    by_mu = (slope(mu + STEP, variance) - slope(mu - STEP, variance)) / (2 * STEP)
    information = -by_mu[0]
    if variance > 0:
        d = STEP * variance
        by_v = (slope(mu, variance + d) - slope(mu, variance - d)) / (2 * d)
        if by_v[1] < 0:
            information += by_mu[1] * by_v[0] / by_v[1]
    return float(1.0 / np.sqrt(information)) if information > 0 else np.nan
