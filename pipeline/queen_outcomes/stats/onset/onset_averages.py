"""What the onset model says in chances and days: averages over courses, with limits.

Every figure is an average over given rows of columns, with limits by the delta method
from the model's robust covariance. Differences are in the same courses, columns changed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, logit, ndtr, ndtri

from queen_outcomes.stats.onset.onset_fit import OnsetFit
from queen_outcomes.stats.tails import t_isf, t_sf

ROOT_2PI = float(np.sqrt(2.0 * np.pi))


@dataclass(frozen=True)
class Average:
    """An average with its 95 % limits; nan where the fit gives none.

    Attributes
    ----------
    estimate, low, high, se : float
    df : float
        Degrees of freedom of its t.
    """

    estimate: float
    low: float
    high: float
    se: float
    df: float = np.nan


def laying_by(fit: OnsetFit, X, Z, day: float, worth=None) -> Average:
    r"""Average chance of laying by a day.

    .. math:: \frac{1}{n} \sum_i \mathrm{expit}(X_i g) \,
              \Phi\bigl((\log day - Z_i b) / \sigma\bigr)

    Parameters
    ----------
    fit : OnsetFit
    X, Z : array_like, shape (n, p) and (n, q)
        Columns of the courses averaged over, as in the fit or with a factor set.
    day : float
    worth : array_like, shape (n,), optional
        What each course counts for in the average; not given: all the same.

    Returns
    -------
    Average
        Limits symmetric in the log odds. Where nobody laid, 0 without limits.
    """
    if fit.kind == "nobody":
        return Average(0.0, np.nan, np.nan, np.nan)
    value, slope = _chance(fit, X, Z, day, worth)
    se, df = _deviation(fit, slope), fit.df(slope)
    if not 0.0 < value < 1.0:
        return Average(value, np.nan, np.nan, np.nan)
    reach = _multiple(df) * se / (value * (1.0 - value))
    low, high = (float(expit(logit(value) + side * reach)) for side in (-1.0, 1.0))
    return Average(value, low, high, se, df)


def laying_shift(fit: OnsetFit, before, instead, day: float, worth=None) -> Average:
    """Change in the average chance of laying by a day.

    Parameters
    ----------
    fit : OnsetFit
    before, instead : pair of array_like
        Columns (X, Z) of the same courses with a factor at one value and at another.
    day : float
    worth : array_like, shape (n,), optional
        See `laying_by`.

    Returns
    -------
    Average
        ``instead`` minus ``before``, with symmetric limits that end at -1 and 1.
    """
    if fit.kind == "nobody":
        return Average(0.0, np.nan, np.nan, np.nan)
    first, second = (_chance(fit, X, Z, day, worth) for X, Z in (before, instead))
    found = _difference(fit, first, second)
    low, high = np.clip([found.low, found.high], -1.0, 1.0).tolist()
    return replace(found, low=low, high=high)


def median_day(fit: OnsetFit, Z, worth=None) -> Average:
    r"""Average median day of onset among layers.

    .. math:: \frac{1}{n} \sum_i \exp(Z_i b)

    Parameters
    ----------
    fit : OnsetFit
    Z : array_like, shape (n, q)
        Columns of the courses averaged over, as in the fit or with a factor set.
    worth : array_like, shape (n,), optional
        See `laying_by`.

    Returns
    -------
    Average
        Limits symmetric in the log day.
    """
    value, slope = _median(fit, Z, worth)
    se, df = _deviation(fit, slope), fit.df(slope)
    reach = np.exp(_multiple(df) * se / value)
    return Average(value, value / reach, value * reach, se, df)


def p_of(difference: Average) -> float:
    """Two-sided P of a difference, by t with its degrees of freedom.

    nan where the difference has no deviation.
    """
    if not difference.se > 0:
        return np.nan
    return float(2.0 * t_sf(abs(difference.estimate) / difference.se, difference.df))


def days_shift(fit: OnsetFit, before, instead, worth=None) -> Average:
    r"""Change in the average median day of onset among layers; above 0 is later.

    .. math:: \frac{1}{n} \sum_i \exp(Z^1_i b) - \exp(Z^0_i b)

    Parameters
    ----------
    fit : OnsetFit
    before, instead : array_like, shape (n, q)
        Columns Z of the same courses with a factor at one value and at another.
    worth : array_like, shape (n,), optional
        See `laying_by`.
    """
    first, second = (_median(fit, Z, worth) for Z in (before, instead))
    return _difference(fit, first, second)


def onset_day(fit: OnsetFit, Z, share: float = 0.5) -> np.ndarray:
    """Day by which a share of layers like each course lays, shape (n,).

    Parameters
    ----------
    fit : OnsetFit
    Z : array_like, shape (n, q)
    share : float
    """
    return np.exp(np.asarray(Z, float) @ fit.beta + fit.sigma * ndtri(share))


def followed_share(fit: OnsetFit, Z, after, share: float = 0.95, worth=None) -> float:
    """Share of the unlaid that were followed past the day on which most layers lay.

    Near 1 the chance of laying can be read as "ever"; else only "by a day" can be said.

    Parameters
    ----------
    fit : OnsetFit
    Z : array_like, shape (m, q)
        Columns of the courses not known to have laid.
    after : array_like, shape (m,)
        Last day on which each had not begun to lay.
    share : float
        Share of layers, 0.95 for the 95th percentile.
    worth : array_like, shape (m,), optional
        See `laying_by`.

    Returns
    -------
    float
        1 where nobody is unlaid, nan without a fit.
    """
    if not np.isfinite(fit.sigma):
        return np.nan
    after = np.asarray(after, float)
    if not len(after):
        return 1.0
    return float(np.average(after >= onset_day(fit, Z, share), weights=worth))


def _parts(worth, n: int) -> np.ndarray:
    """Give each course's part in an average, (n,)."""
    worth = np.ones(n) if worth is None else np.asarray(worth, float)
    return worth / worth.sum()


def _chance(fit: OnsetFit, X, Z, day: float, worth) -> tuple[float, np.ndarray]:
    """Average chance by a day, and its slope in gamma, beta and log sigma."""
    X, Z = np.asarray(X, float), np.asarray(Z, float)
    with np.errstate(divide="ignore"):
        place = (np.log(max(day, 0.0)) - Z @ fit.beta) / fit.sigma
    chance, done = expit(X @ fit.gamma), ndtr(place)
    value = float(np.average(chance * done, weights=worth))
    lays = _parts(worth, len(X)) * chance
    finite = np.where(np.isfinite(place), place, 0.0)
    density = np.where(np.isfinite(place), np.exp(-0.5 * finite**2) / ROOT_2PI, 0.0)
    slope = np.concatenate(
        [
            (lays * (1.0 - chance) * done) @ X,
            -(lays * density) @ Z / fit.sigma,
            [-(lays * density) @ finite],
        ]
    )
    return value, slope


def _median(fit: OnsetFit, Z, worth) -> tuple[float, np.ndarray]:
    """Average median day among layers, and its slope."""
    Z = np.asarray(Z, float)
    day = np.exp(Z @ fit.beta)
    still, parts = np.zeros(len(fit.gamma)), _parts(worth, len(Z))
    value = float(np.average(day, weights=worth))
    return value, np.concatenate([still, (parts * day) @ Z, [0.0]])


def _difference(fit: OnsetFit, first, second) -> Average:
    """Second minus first, each a value with its slope."""
    value = second[0] - first[0]
    slope = second[1] - first[1]
    se, df = _deviation(fit, slope), fit.df(slope)
    reach = _multiple(df) * se
    return Average(value, value - reach, value + reach, se, df)


def _deviation(fit: OnsetFit, slope) -> float:
    return float(np.sqrt(np.maximum(slope @ fit.cov_joint @ slope, 0.0)))


def _multiple(df: float) -> float:
    """97.5 % point of t; nan without degrees of freedom."""
    return float(-t_isf(0.975, df)) if df > 0 else np.nan
