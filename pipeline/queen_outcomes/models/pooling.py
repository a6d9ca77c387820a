"""Joins the fits of several completed data sets into one (Rubin's rules)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats


@dataclass(frozen=True, eq=False)
class Pooled:
    """Estimates over several imputations.

    Attributes
    ----------
    beta : ndarray, shape (p,)
    cov : ndarray, shape (p, p)
        Within plus ``1 + 1/m`` times between.
    df, low, high, p : ndarray, shape (p,)
        By Student's t.
    missing_information : ndarray, shape (p,)
        Share of the variance that stems from the gaps.
    used : int
        Fits that took part; those without an estimate are passed over.
    message : str
    """

    beta: np.ndarray
    cov: np.ndarray
    df: np.ndarray
    low: np.ndarray
    high: np.ndarray
    p: np.ndarray
    missing_information: np.ndarray
    used: int
    message: str


def pool(
    betas: Sequence[np.ndarray],
    covs: Sequence[np.ndarray],
    *,
    complete_df: float = np.inf,
    level: float = 0.95,
) -> Pooled:
    """Pool estimates by Rubin's rules.

    Parameters
    ----------
    betas : sequence of ndarray, shape (p,)
    covs : sequence of ndarray, shape (p, p)
    complete_df : float
        Degrees of freedom had nothing been missing.
    level : float

    Returns
    -------
    Pooled

    Notes
    -----
    ``T = W + (1 + 1/m) B``. Rubin DB. Multiple Imputation for Nonresponse in Surveys
    1987; degrees of freedom of Barnard J, Rubin DB. Biometrika 1999;86:948-955.
    """
    sound = [
        (np.asarray(b, float), np.asarray(V, float))
        for b, V in zip(betas, covs, strict=True)
        if np.isfinite(b).all() and np.isfinite(V).all()
    ]
    if not sound:
        size = len(betas[0]) if len(betas) else 0
        blank = np.full(size, np.nan)
        square = np.full((size, size), np.nan)
        return Pooled(blank, square, *[blank] * 5, 0, "no imputation could be fitted")
    m = len(sound)
    each = np.array([b for b, _ in sound])
    within = np.mean([V for _, V in sound], axis=0)
    away = each - each.mean(axis=0)
    between = away.T @ away / max(m - 1, 1)
    cov = within + (1 + 1 / m) * between
    share, df = _freedom(np.diag(between), np.diag(cov), m, complete_df)
    beta, se = each.mean(axis=0), np.sqrt(np.diag(cov))
    arm = stats.t.isf((1 - level) / 2, df) * se
    p = 2 * stats.t.sf(np.abs(beta) / se, df)
    lost = len(betas) - m
    message = f"{lost} of {len(betas)} imputations could not be fitted" if lost else ""
    return Pooled(beta, cov, df, beta - arm, beta + arm, p, share, m, message)


def _freedom(between, total, m: int, complete: float):
    share = (1 + 1 / m) * between / total
    infinite = np.full(len(share), np.inf)
    old = np.divide(max(m - 1, 1), share**2, out=infinite, where=share > 0)
    if np.isinf(complete):
        return share, old
    observed = (complete + 1) / (complete + 3) * complete * (1 - share)
    return share, 1 / (1 / old + 1 / observed)
