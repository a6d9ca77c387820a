"""Which courses a model is fitted on and which it is tested on.

A group (a graft batch) is never split. The assignment depends on the groups' ids
and sizes alone: the order of the rows and chance play no part.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np


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
