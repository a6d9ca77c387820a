"""Logistic model with crossed random intercepts, by Laplace maximum likelihood.

Arrays in, one frozen result out. Data that forbid a fit give a result that says so in
words; nothing here raises for bad data.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.logistic import mixed_data
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.logistic.mixed_laplace import Laplace
from queen_outcomes.stats.logistic.mixed_search import GOOD, Found, Search

__all__ = ["MixedFit", "fit_mixed", "integrate_random"]

WIDE = 10.0
"""Deviation, in log odds, that no data of queens have: answers alike within levels."""
EXTREME = 30.0
"""Log odds beyond which a fitted chance is 0 or 1."""


@dataclass(frozen=True)
class MixedFit:
    """A fitted model, or why there is none.

    Attributes
    ----------
    names : tuple of str
        The groupings, in the caller's order: that of the deviations in `cov_joint`.
    beta : ndarray, shape (p,)
        Coefficients, within levels of the groupings.
    cov_beta : ndarray, shape (p, p)
        Their covariance, from the curvature over coefficients and deviations together.
    theta_sd : dict of str to float
        Standard deviation of each grouping's intercepts, in log odds.
    cov_joint : ndarray, shape (p + K, p + K)
        Covariance of coefficients and deviations; rows and columns of deviations at
        zero are zero.
    sd_at_zero : tuple of str
        Groupings whose deviation is exactly zero: a result, not a fault.
    modes : dict of str to ndarray, shape (levels,)
        Most likely intercept of each level.
    mode_se : dict of str to ndarray, shape (levels,)
        Standard deviation of each intercept given coefficients and deviations.
    log_likelihood : float
        With the binomial's constants; NaN when there is no fit.
    converged : bool
        Whether this is a maximum with positive curvature and usable numbers.
    message : str
        Why not, or what to know; empty when there is nothing to say.
    gradient_max : float
        Largest slope left, in log-likelihood a standard error.
    """

    names: tuple[str, ...]
    beta: np.ndarray
    cov_beta: np.ndarray
    theta_sd: dict[str, float]
    cov_joint: np.ndarray
    sd_at_zero: tuple[str, ...]
    modes: dict[str, np.ndarray]
    mode_se: dict[str, np.ndarray]
    log_likelihood: float
    converged: bool
    message: str
    gradient_max: float


def fit_mixed(
    X: np.ndarray,
    y: np.ndarray,
    groups: Mapping[str, np.ndarray],
    *,
    trials: np.ndarray | None = None,
    weights: np.ndarray | None = None,
) -> MixedFit:
    """Fit logit P = X b + sum of one normal intercept for each grouping.

    Parameters
    ----------
    X : ndarray, shape (n, p)
        Columns, with their own column of ones.
    y : ndarray, shape (n,)
        0 or 1, or successes out of `trials`.
    groups : mapping of str to ndarray of int, shape (n,)
        Level of each row, 0 to k - 1, for each grouping.
    trials : ndarray, shape (n,), optional
        How many each row's successes are out of; one when not given.
    weights : ndarray, shape (n,), optional
        Multiplies each row's log-likelihood.

    Returns
    -------
    MixedFit
        With NaN for numbers where there is no fit.

    Notes
    -----
    The likelihood is Laplace's approximation at spherical intercepts (Bates, Maechler,
    Bolker and Walker, Journal of Statistical Software 2015;67(1)), maximised over
    coefficients and deviations together with its exact slope; covariance is the inverse
    of its curvature over both. Laplace puts deviations low when levels have few rows.
    """
    names = tuple(groups)
    X, y = np.asarray(X, float), np.asarray(y, float)
    trials = np.ones_like(y) if trials is None else np.asarray(trials, float)
    weights = np.ones_like(y) if weights is None else np.asarray(weights, float)
    codes = [np.asarray(groups[name]) for name in names]
    words = mixed_data.find_fault(X, y, codes, trials, weights)
    if words:
        return _nothing(X, names, codes, words)
    try:
        ready = mixed_data.prepare(X, y, codes, trials, weights)
        if isinstance(ready, str):
            return _nothing(X, names, codes, ready)
        model = Laplace(ready.rows)
        found = Search(model, ready.start, ready.level_information).run()
    except np.linalg.LinAlgError:
        words = "the curvature over the intercepts could not be factorised"
        return _nothing(X, names, codes, words)
    return _result(names, ready, model, found)


def _result(names, ready, model: Laplace, found: Found) -> MixedFit:
    p = len(found.coefficients)
    turn = np.eye(p + len(names))
    turn[:p, :p] = ready.back
    joint = turn @ found.covariance @ turn.T
    deviations = dict(zip(names, found.deviations.tolist(), strict=True))
    where = dict(zip(names, ready.rows.crossing.where, strict=True))
    errors = model.mode_errors()
    words = _doubt(names, model, found)
    return MixedFit(
        names=names,
        beta=ready.back @ found.coefficients,
        cov_beta=joint[:p, :p],
        theta_sd=deviations,
        cov_joint=joint,
        sd_at_zero=tuple(name for name in names if deviations[name] == 0),
        modes={k: deviations[k] * model.modes[at] for k, at in where.items()},
        mode_se={k: deviations[k] * errors[at] for k, at in where.items()},
        log_likelihood=float(ready.constant - found.value),
        converged=not words,
        message=words,
        gradient_max=found.slope,
    )


def _doubt(names, model: Laplace, found: Found) -> str:
    """Say why the end of the search is no usable maximum; empty when it is."""
    wide = [k for k, sd in zip(names, found.deviations, strict=True) if sd > WIDE]
    if wide:
        named = ", ".join(wide)
        return (
            f"a deviation runs away: answers are nearly alike within levels of {named}"
        )
    eta = model.linear_predictor(found.coefficients, found.deviations)
    if np.abs(eta).max() > EXTREME:
        return "separation: the answers fix a chance at 0 or 1"
    if not found.slope < GOOD:
        return f"the search ended on a slope of {found.slope:.1g}"
    if not np.isfinite(found.covariance).all():
        return "the curvature at the maximum is not positive: no standard errors"
    return ""


def _nothing(X, names, codes, words: str) -> MixedFit:
    """Give a result without numbers."""
    p = X.shape[1] if X.ndim == 2 else 0
    size = p + len(names)

    def empty(code):
        whole = code.size and code.dtype.kind in "iu" and code.min() >= 0
        return np.full(int(code.max()) + 1 if whole else 0, np.nan)

    levels = dict(zip(names, map(empty, codes), strict=True))
    return MixedFit(
        names=names,
        beta=np.full(p, np.nan),
        cov_beta=np.full((p, p), np.nan),
        theta_sd=dict.fromkeys(names, float("nan")),
        cov_joint=np.full((size, size), np.nan),
        sd_at_zero=(),
        modes=levels,
        mode_se={name: values.copy() for name, values in levels.items()},
        log_likelihood=float("nan"),
        converged=False,
        message=words,
        gradient_max=float("nan"),
    )
