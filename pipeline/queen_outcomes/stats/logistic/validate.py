"""How well a model predicts courses that it has not seen.

Which courses it is fitted on and tested on, never splitting a group (a graft batch); and
what the predictions are worth: discrimination, calibration, against a base rate. Folds
depend on the groups' ids and sizes alone; limits are by resampling whole groups with a
fixed seed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from queen_outcomes.stats.logistic.plain import fit_plain


def group_folds(groups, y, k: int = 10) -> np.ndarray:
    """Deal groups into folds of about equal size and about equal share of yes.

    Parameters
    ----------
    groups : array_like, shape (n,)
        Ids, numbers or words.
    y : array_like, shape (n,)
        0/1.
    k : int
        Folds wanted; with fewer groups there are as many folds as groups.

    Returns
    -------
    ndarray of int, shape (n,)
        0..k-1; all zero for a single group, which cannot be cross-validated.

    Notes
    -----
    Greedy: the largest group first (equal sizes by id), each into the fold where the
    sum of squared shares of yes and of no is then smallest.
    """
    code = np.unique(np.asarray(groups), return_inverse=True)[1]
    y = np.asarray(y, float)
    if len(y) == 0:
        return np.empty(0, int)
    counts = np.column_stack([np.bincount(code, 1.0 - y), np.bincount(code, y)])
    share = counts / np.maximum(counts.sum(axis=0), 1.0)
    load = np.zeros((min(k, len(counts)), 2))
    fold = np.empty(len(counts), int)
    for g in np.argsort(-counts.sum(axis=1), kind="stable"):
        rise = 2.0 * load @ share[g]
        fold[g] = np.lexsort((load.sum(axis=1), np.round(rise, 12)))[0]
        load[fold[g]] += share[g]
    return fold[code]


def forward_split(season) -> tuple[np.ndarray, np.ndarray]:
    """Give the courses before the last season and those of it.

    Parameters
    ----------
    season : array_like, shape (n,)

    Returns
    -------
    before, last : ndarray of bool, shape (n,)
        ``before`` is all False when there is one season.
    """
    season = np.asarray(season)
    if len(season) == 0:
        return np.zeros(0, bool), np.zeros(0, bool)
    last = season == season.max()
    return ~last, last


def out_of_fold(
    fit_predict: Callable[[np.ndarray, np.ndarray], np.ndarray], folds, y
) -> tuple[np.ndarray, np.ndarray]:
    """Predict every course by a model that has not seen its fold.

    Parameters
    ----------
    fit_predict : callable
        ``fit_predict(train, test)``, two masks (n,), gives the probabilities of the
        test rows; NaN where the model has no fit.
    folds : array_like of int, shape (n,)
    y : array_like, shape (n,)

    Returns
    -------
    p : ndarray, shape (n,)
        Pooled predictions.
    base : ndarray, shape (n,)
        Share of yes in the rows that each prediction's model was fitted on.
    """
    folds, y = np.asarray(folds), np.asarray(y, float)
    p, base = np.full(len(y), np.nan), np.full(len(y), np.nan)
    for fold in np.unique(folds):
        test = folds == fold
        if test.all():
            break
        p[test] = fit_predict(~test, test)
        base[test] = y[~test].mean()
    return p, base


NEAREST = 1e-6
"""A predicted probability is kept this far from 0 and 1 before its logit is taken."""


@dataclass(frozen=True)
class Validation:
    """Measures of a set of predictions.

    Attributes
    ----------
    n, yes : int
        Courses predicted, and yes among them.
    auc, auc_low, auc_high : float
    brier, base_brier : float
        Mean squared error of the predictions and of the base rate.
    intercept, slope : float
        Of the answers on the logit of the predictions: 0 and 1 when right.
    message : str
        What could not be computed and why; empty when all was.
    """

    n: int
    yes: int
    auc: float
    auc_low: float
    auc_high: float
    brier: float
    base_brier: float
    intercept: float
    slope: float
    message: str


def validate(
    y, p, groups, *, base=None, seed: int = 1, replicates: int = 1000
) -> Validation:
    """Measure predictions.

    Parameters
    ----------
    y : array_like, shape (n,)
        0/1.
    p : array_like, shape (n,)
        Predicted probabilities; rows with NaN are left out.
    groups : array_like, shape (n,)
        What is resampled.
    base : array_like, shape (n,), optional
        The base rate known when each prediction was made; the mean of y if not given.
    seed, replicates : int
        Of the bootstrap.

    Returns
    -------
    Validation

    Notes
    -----
    Brier GW. Mon Weather Rev 1950;78:1-3; calibration as in Cox DR. Biometrika
    1958;45:562-565, a logistic fit of y on ``logit p``.
    """
    y, p, groups = np.asarray(y, float), np.asarray(p, float), np.asarray(groups)
    base = np.full(len(y), y.mean() if len(y) else np.nan) if base is None else base
    base = np.broadcast_to(np.asarray(base, float), y.shape)
    seen = np.isfinite(p) & np.isfinite(y)
    y, p, groups, base = y[seen], p[seen], groups[seen], base[seen]
    if len(y) == 0:
        return Validation(0, 0, *[np.nan] * 7, "no course was predicted")
    limits = auc_limits(y, p, groups, seed=seed, replicates=replicates)
    brier, base_brier = (float(np.mean((q - y) ** 2)) for q in (p, base))
    slopes, message = _calibration(y, p)
    if np.isnan(limits).any() and not message:
        message = "too few groups with both answers for limits of the AUC"
    figures = (auc(y, p), *limits, brier, base_brier, *slopes)
    return Validation(len(y), int(y.sum()), *figures, message)


def _calibration(y, p) -> tuple[tuple[float, float], str]:
    score = logit(np.clip(p, NEAREST, 1 - NEAREST))
    ones = np.ones((len(y), 1))
    both = fit_plain(np.column_stack([ones, score]), y)
    found = (float(both.beta[0]), float(both.beta[1]))
    return found, f"calibration: {both.message}" if both.message else ""


def auc(y, p) -> float:
    """Give the chance that a yes was predicted higher than a no; a tie counts half.

    Parameters
    ----------
    y, p : array_like, shape (n,)

    Returns
    -------
    float
        NaN when one of the answers is missing.
    """
    y, p = np.asarray(y, float), np.asarray(p, float)
    yes, no = np.sum(y == 1), np.sum(y == 0)
    if not (yes and no):
        return np.nan
    ranks = _mid_ranks(p)[y == 1].sum()
    return float((ranks - yes * (yes + 1) / 2) / (yes * no))


def auc_limits(
    y, p, groups, *, level: float = 0.95, seed: int = 1, replicates: int = 1000
) -> tuple[float, float]:
    """Give percentile limits of the AUC by resampling groups.

    Beyond a thousand courses, predictions that differ by less than a thousandth of the
    courses in rank count as tied, so that the work depends on the groups alone.
    Resamples with only one answer are passed over. NaN when there are fewer than two
    groups, or more than half of the resamples had only one answer.
    """
    y, p = np.asarray(y, float), np.asarray(p, float)
    names, code = np.unique(np.asarray(groups), return_inverse=True)
    many = len(names)
    if many < 2:
        return np.nan, np.nan
    place = np.unique(_places(p), return_inverse=True)[1]
    cell = place * many + code
    shape = (int(place.max()) + 1, many)
    size = shape[0] * many
    yes = np.bincount(cell, y, size).reshape(shape)
    no = np.bincount(cell, 1.0 - y, size).reshape(shape)
    draws = np.random.default_rng(seed).multinomial(
        many, np.full(many, 1.0 / many), size=replicates
    )
    found = _auc_of_counts(yes @ draws.T, no @ draws.T)
    found = found[np.isfinite(found)]
    if 2 * len(found) < replicates:
        return np.nan, np.nan
    low, high = np.quantile(found, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def _mid_ranks(p: np.ndarray) -> np.ndarray:
    from scipy.stats import rankdata  # late, as `stats/tails.py` says

    return rankdata(p)


def _places(p: np.ndarray) -> np.ndarray:
    ranks = _mid_ranks(p)
    return np.floor(ranks * 1000 / len(p)) if len(p) > 1000 else ranks


def _auc_of_counts(yes: np.ndarray, no: np.ndarray) -> np.ndarray:
    """Give the AUC of each column of counts, places in ascending order of p."""
    below = np.cumsum(no, axis=0) - 0.5 * no
    pairs = yes.sum(axis=0) * no.sum(axis=0)
    wins = np.sum(yes * below, axis=0)
    return np.divide(wins, pairs, out=np.full(len(pairs), np.nan), where=pairs > 0)
