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
    between : ndarray, shape (p, p)
        Of the fits' estimates among each other.
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
    between: np.ndarray
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
        return Pooled(
            blank, square, square, *[blank] * 5, 0, "no imputation could be fitted"
        )
    m = len(sound)
    each = np.array([b for b, _ in sound])
    within = np.mean([V for _, V in sound], axis=0)
    away = each - each.mean(axis=0)
    between = away.T @ away / max(m - 1, 1)
    cov = within + (1 + 1 / m) * between
    share = _lost_share(np.diag(between), np.diag(cov), m)
    df = freedom_of(np.diag(between), np.diag(cov), m, complete_df)
    beta, se = each.mean(axis=0), np.sqrt(np.diag(cov))
    arm = stats.t.isf((1 - level) / 2, df) * se
    size = np.divide(np.abs(beta), se, out=np.full(len(se), np.inf), where=se > 0)
    p = 2 * stats.t.sf(size, df)
    lost = len(betas) - m
    message = f"{lost} of {len(betas)} imputations could not be fitted" if lost else ""
    return Pooled(beta, cov, between, df, beta - arm, beta + arm, p, share, m, message)


def freedom_of(between, total, m: int, complete: float = np.inf) -> np.ndarray:
    """Give degrees of freedom from variances between ``m`` fits and in all."""
    share = _lost_share(between, total, m)
    infinite = np.full(np.shape(share), np.inf)
    old = np.divide(max(m - 1, 1), share**2, out=infinite, where=share > 0)
    if np.isinf(complete):
        return old
    observed = (complete + 1) / (complete + 3) * complete * (1 - share)
    return 1 / (1 / old + 1 / observed)


def freedom_by_gaps(pooled: Pooled, contrasts) -> np.ndarray:
    """Give the degrees of freedom that the gaps leave to contrasts.

    Parameters
    ----------
    pooled : Pooled
    contrasts : array_like, shape (k, r) or (r,)
        In the first r of the p estimates.

    Returns
    -------
    ndarray, shape (k,)
        Infinite where the fits agree.
    """
    rows = np.atleast_2d(np.asarray(contrasts, float))
    size = rows.shape[1]
    between, total = (
        ((rows @ part[:size, :size]) * rows).sum(axis=1)
        for part in (pooled.between, pooled.cov)
    )
    return freedom_of(between, total, pooled.used)


def _lost_share(between, total, m: int) -> np.ndarray:
    """Give the share of the variance that stems from the gaps; 0 without variance."""
    total = np.asarray(total, float)
    blank = np.zeros(np.shape(total))
    return np.divide((1 + 1 / m) * between, total, out=blank, where=total > 0)
