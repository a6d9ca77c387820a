"""Weights that let some courses stand for others like them.

Used for courses that were decided in place of all courses, and for one arm in place
of the other. Right only if what is recorded explains who is weighted: the caller says
so wherever a weighted figure is shown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from queen_outcomes.stats.logistic.penalised import fit_firth
from queen_outcomes.stats.logistic.plain import fit_plain

CUT = (0.01, 0.99)
"""Weights beyond these quantiles are pulled in to them."""


@dataclass(frozen=True, eq=False)
class Weights:
    """Inverse-probability weights.

    Attributes
    ----------
    weights : ndarray, shape (n,)
        Zero for rows that take no part; all NaN when there are none.
    mean, least, most : float
        Over the rows that take part, after the cut. A mean far from 1 tells of a
        wrong model.
    cut : int
        How many weights were pulled in.
    effective : float
        ``(sum w)^2 / sum w^2``: how many equally weighted courses are left.
    message : str
        A warning or the reason for no weights; empty when all is well.
    """

    weights: np.ndarray
    mean: float
    least: float
    most: float
    cut: int
    effective: float
    message: str


def decided_weights(Z, decided, *, cut: tuple[float, float] | None = CUT) -> Weights:
    """Give stabilised weights for courses that were decided.

    Parameters
    ----------
    Z : array_like, shape (n, q)
        What being decided may depend on, with a column of ones first.
    decided : array_like, shape (n,)
        0/1.
    cut : tuple of float or None
        Quantiles of the weights of decided courses to cut at.

    Returns
    -------
    Weights
        ``P(decided) / P(decided | z)`` for decided courses, 0 for the others. Robins
        JM, Finkelstein DM. Biometrics 2000;56:779-788.
    """
    decided = np.asarray(decided, float)
    if len(decided) and np.all(decided == 1):
        return _summary(np.ones(len(decided)), 0, "")
    chance, message = _chance(Z, decided)
    if chance is None:
        return _none(len(decided), message)
    weights = np.where(decided == 1, decided.mean() / chance, 0.0)
    return _cut(weights, cut, message)


def _chance(Z, answer) -> tuple[np.ndarray | None, str]:
    fit = fit_plain(Z, answer)
    if fit.converged:
        return expit(np.asarray(Z, float) @ fit.beta), ""
    if len(np.unique(answer)) < 2:
        return None, "weights: all courses are alike in being decided"
    firth = fit_firth(Z, answer, profile=False)
    if not firth.converged:
        return None, f"weights: {firth.message}"
    chance = expit(np.asarray(Z, float) @ firth.flic_beta)
    return chance, "weights by a penalised fit: what is recorded separates the courses"


def _cut(weights: np.ndarray, cut, message: str) -> Weights:
    if cut is None:
        return _summary(weights, 0, message)
    low, high = np.quantile(weights[weights > 0], cut)
    pulled = np.where(weights > 0, np.clip(weights, low, high), 0.0)
    return _summary(pulled, int(np.sum(pulled != weights)), message)


def _summary(weights: np.ndarray, cut: int, message: str) -> Weights:
    used = weights[weights > 0]
    effective = float(used.sum() ** 2 / np.sum(used**2))
    ends = (float(used.mean()), float(used.min()), float(used.max()))
    return Weights(weights, *ends, cut, effective, message)


def _none(n: int, message: str) -> Weights:
    return Weights(np.full(n, np.nan), *[np.nan] * 3, 0, np.nan, message)
