"""Average predicted probabilities with a factor set to a value, and their contrasts.

Every course is predicted with the factor changed and all else as it was; the mean is
taken over the courses as they are, which are treated as fixed. What is compared with
what, and whether that makes sense, is the caller's choice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

from queen_outcomes.stats.tails import norm_isf, norm_sf, t_isf, t_sf

MeanProbability = Callable[[np.ndarray], tuple[np.ndarray, ...]]
"""Linear predictors -> chances, their slopes, and slopes in further parameters."""


@dataclass(frozen=True, eq=False)
class Adjusted:
    """Adjusted probabilities of one factor.

    Attributes
    ----------
    values : tuple
        What the factor was set to, k of them.
    probability, se, low, high : ndarray, shape (k,)
        Limits are taken on the logit scale.
    gradient : ndarray, shape (k, p) or (k, p + K)
        Of each probability in beta (a contrast for `satterthwaite_df`), then in the
        K further parameters of the mean, such as deviations.
    cov : ndarray, shape (k, k)
    message : str
        Why there is nothing; empty when there is.
    """

    values: tuple
    probability: np.ndarray
    se: np.ndarray
    low: np.ndarray
    high: np.ndarray
    gradient: np.ndarray
    cov: np.ndarray
    message: str


@dataclass(frozen=True)
class Ratio:
    """An estimate with its limits and standard error (of its logarithm for a ratio)."""

    estimate: float
    low: float
    high: float
    se: float


@dataclass(frozen=True)
class Contrast:
    """Two adjusted probabilities compared: the first against the second.

    ``failure_ratio`` is the ratio of the risks of a no, ``p`` belongs to the difference.
    """

    difference: Ratio
    odds_ratio: Ratio
    risk_ratio: Ratio
    failure_ratio: Ratio
    p: float


@dataclass(frozen=True)
class EValue:
    """How strong an unrecorded factor would have to be, for estimate and limit."""

    estimate: float
    limit: float


def fixed_probability(eta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give probability and slope without random intercepts."""
    p = expit(eta)
    return p, p * (1.0 - p)


Freedom = float | np.ndarray | Callable[[np.ndarray], np.ndarray] | None


def adjusted_probabilities(
    make_X: Callable[[object], np.ndarray],
    values: Sequence,
    beta,
    cov,
    *,
    weights=None,
    mean_probability: MeanProbability = fixed_probability,
    df: Freedom = None,
) -> Adjusted:
    """Average the predicted probabilities with a factor set to each of some values.

    Parameters
    ----------
    make_X : callable
        ``make_X(value)`` gives the design (n, p) with the factor set to the value.
    values : sequence
    beta : array_like, shape (p,)
    cov : array_like, shape (p, p) or (p + K, p + K)
        Model or robust covariance, of the K further parameters too where the mean
        has slopes in them.
    weights : array_like, shape (n,), optional
        Of the courses in the mean.
    mean_probability : callable
        ``eta -> (p, dp/deta, ...)``, all (n,): random intercepts averaged over, with
        K further slopes, one for each deviation.
    df : float, array or callable, optional
        Degrees of freedom of Student's t for 95 % limits, or what gives them for the
        averages' gradient; normal when not given.

    Returns
    -------
    Adjusted

    Notes
    -----
    ``P(v) = sum w p(x_v'b) / sum w`` with gradient ``sum w p'(x_v'b) x_v / sum w``; the
    variance is ``g' V g``. On the logit scale it is divided by ``(P (1 - P))^2``.
    """
    beta, cov = np.asarray(beta, float), np.asarray(cov, float)
    parts = [_average(make_X(v), beta, weights, mean_probability) for v in values]
    probability = np.array([mean for mean, _ in parts])
    gradient = np.array([slope for _, slope in parts]).reshape(len(parts), len(cov))
    joint = gradient @ cov @ gradient.T
    se = np.sqrt(np.maximum(np.diag(joint), 0.0))
    low, high = _logit_limits(
        probability, se, _quantile(df(gradient) if callable(df) else df)
    )
    fine = np.isfinite(probability).all() and np.isfinite(joint).all()
    message = "" if fine else "the model gives no estimate"
    return Adjusted(tuple(values), probability, se, low, high, gradient, joint, message)


def _average(X, beta, weights, mean_probability) -> tuple[float, np.ndarray]:
    X = np.asarray(X, float)
    w = np.ones(len(X)) if weights is None else np.asarray(weights, float)
    p, slope, *further = mean_probability(X @ beta)
    if not w.sum() > 0:
        return np.nan, np.full(len(beta) + len(further), np.nan)
    gradient = [(w * slope) @ X, *([w @ step] for step in further)]
    return float(w @ p / w.sum()), np.concatenate(gradient) / w.sum()


def _quantile(df) -> np.ndarray | float:
    return norm_isf(0.025) if df is None else t_isf(0.025, df)


def _logit_limits(probability, se, z):
    inside = (probability > 0) & (probability < 1)
    safe = np.where(inside, probability, 0.5)
    arm = z * se / (safe * (1 - safe))
    low = np.where(inside, expit(logit(safe) - arm), probability)
    high = np.where(inside, expit(logit(safe) + arm), probability)
    return low, high


def contrast(adjusted: Adjusted, one: int, other: int, *, df=None) -> Contrast:
    """Compare two adjusted probabilities, ``one`` against ``other`` (positions).

    Limits by the delta method with the covariance between the two: on the scale
    of the difference, and on the logarithm for the ratios. The odds ratio is that of the
    averaged probabilities, not a coefficient. No difference lies outside -1 to 1.
    """
    chosen = [one, other]
    p, V = adjusted.probability[chosen], adjusted.cov[np.ix_(chosen, chosen)]
    sign, z = np.array([1.0, -1.0]), float(_quantile(df))
    difference = float(p[0] - p[1])
    se = float(np.sqrt(max(sign @ V @ sign, 0.0)))
    size = abs(difference) / se if se > 0 else np.nan
    tail = norm_sf(size) if df is None else t_sf(size, df)
    return Contrast(
        Ratio(
            difference,
            max(difference - z * se, -1.0),
            min(difference + z * se, 1.0),
            se,
        ),
        _ratio(p / (1 - p), V, sign / (p * (1 - p)), z),
        _ratio(p, V, sign / p, z),
        _ratio(1 - p, V, -sign / (1 - p), z),
        float(2 * tail),
    )


def _ratio(parts, V, slope, z) -> Ratio:
    ratio = float(parts[0] / parts[1])
    se = float(np.sqrt(max(slope @ V @ slope, 0.0)))
    return Ratio(ratio, ratio * np.exp(-z * se), ratio * np.exp(z * se), se)


def e_value(ratio: float, low: float, high: float) -> EValue:
    """Give the E-value of a risk ratio and of its limit next to 1.

    ``R + sqrt(R (R - 1))`` with R turned above 1; 1 for a limit on the other side.
    For an odds ratio of a common outcome give square roots. VanderWeele TJ, Ding P.
    Ann Intern Med 2017;167:268-274.
    """
    nearest = low if ratio >= 1 else high
    crosses = nearest <= 1 if ratio >= 1 else nearest >= 1
    return EValue(_strength(ratio), 1.0 if crosses else _strength(nearest))


def _strength(ratio: float) -> float:
    if not ratio > 0:
        return np.inf if ratio == 0 else np.nan
    above = max(ratio, 1.0 / ratio)
    return float(above + np.sqrt(above * (above - 1.0)))
