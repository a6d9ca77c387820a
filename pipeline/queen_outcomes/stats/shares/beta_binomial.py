"""Rates of several operators whose chances vary as a beta distribution; shrinkage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import betaln, expit, gammaln, logit, psi
from scipy.stats import beta

MOST, LEAST = 1e6, 1e-3
"""Largest size of the prior, a + b: operators are alike; and smallest: no fit."""


@dataclass(frozen=True)
class BetaBinomial:
    """The fit, and what it says of each operator.

    Attributes
    ----------
    mean : float
        a / (a + b).
    size : float
        a + b, in courses: how many courses the station's rate weighs; `MOST` when
        operators differ no more than by chance.
    phi : float
        1 / (a + b + 1), the correlation within operators.
    log_likelihood : float
        With the binomial's constants.
    shrunken, low, high : ndarray, shape (I,)
        Posterior mean of each operator's rate with limits, parameters taken as known:
        somewhat too narrow with few operators.
    message : str
        Why there is no fit; empty when there is one. Figures are NaN then.
    """

    mean: float
    size: float
    phi: float
    log_likelihood: float
    shrunken: np.ndarray
    low: np.ndarray
    high: np.ndarray
    message: str


def fit_beta_binomial(failures, n, *, level: float = 0.95) -> BetaBinomial:
    """Fit a and b by maximum likelihood.

    Parameters
    ----------
    failures, n : array_like, shape (I,)
        Failures and courses of each operator.
    level : float
        Coverage of the limits.

    Returns
    -------
    BetaBinomial
    """
    r, n = np.asarray(failures, float), np.asarray(n, float)
    words = _fault(r, n)
    if words:
        return _nothing(r, words)
    found = minimize(
        lambda at: _turned(at, r, n),
        [logit(r.sum() / n.sum()), np.log(50.0)],
        jac=True,
        method="L-BFGS-B",
        bounds=[(None, None), (np.log(LEAST), np.log(MOST))],
        options={"ftol": 1e-15, "gtol": 1e-9, "maxiter": 500},
    )
    mean, size = float(expit(found.x[0])), float(np.exp(found.x[1]))
    if size < 2 * LEAST:
        return _nothing(r, "failures are all or nothing within operators")
    a, b = mean * size + r, (1.0 - mean) * size + n - r
    tail = (1.0 - level) / 2
    constant = float((gammaln(n + 1) - gammaln(r + 1) - gammaln(n - r + 1)).sum())
    return BetaBinomial(
        mean=mean,
        size=size,
        phi=1.0 / (size + 1.0),
        log_likelihood=constant - float(found.fun),
        shrunken=a / (a + b),
        low=beta.ppf(tail, a, b),
        high=beta.isf(tail, a, b),
        message="",
    )


def shrink_to_mean(values, variance: float) -> np.ndarray:
    """Shrink values of equal variance to their mean.

    Parameters
    ----------
    values : array_like, shape (k,)
        At least four.
    variance : float
        Of each value by chance.

    Returns
    -------
    ndarray, shape (k,)
        ``mean + (1 - (k - 3) v / S)(value - mean)``, S the sum of squares around the
        mean; the factor is never below 0. Efron B, Morris C. JASA 1975;70:311-319.
    """
    values = np.asarray(values, float)
    away = values - values.mean()
    total = (away**2).sum()
    factor = 1.0 - (len(values) - 3) * variance / total if total > 0 else 0.0
    return values.mean() + max(0.0, factor) * away


def _fault(r: np.ndarray, n: np.ndarray) -> str:
    if len(r) < 2:
        return "there are fewer than two operators"
    if not ((n > 0) & (r >= 0) & (r <= n)).all():
        return "an operator has no courses, or more failures than courses"
    if r.sum() in (0.0, n.sum()):
        return "nobody failed, or everybody did"
    return ""


def _nothing(r: np.ndarray, words: str) -> BetaBinomial:
    empty = np.full(len(r), np.nan)
    return BetaBinomial(*(np.nan,) * 4, empty, empty.copy(), empty.copy(), words)


def _turned(at: np.ndarray, r: np.ndarray, n: np.ndarray):
    """Minus the log-likelihood at the mean's log odds and log size, with its slope."""
    mean, size = expit(at[0]), np.exp(at[1])
    a, b = mean * size, (1.0 - mean) * size
    value = (betaln(r + a, n - r + b) - betaln(a, b)).sum()
    both = psi(n + size) - psi(size)
    by_a = (psi(r + a) - psi(a) - both).sum()
    by_b = (psi(n - r + b) - psi(b) - both).sum()
    by_mean = (by_a - by_b) * size * mean * (1.0 - mean)
    by_size = by_a * a + by_b * b
    return -value, -np.array([by_mean, by_size])
