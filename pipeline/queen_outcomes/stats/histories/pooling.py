"""Joins what several fillings gave: Rubin's rules, with Barnard and Rubin's freedom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.tails import t_isf

LEVEL = 0.95
"""Coverage of limits."""
MOST_UNSETTLED = 0.5
"""Part of a figure's variance that gaps may make, for it to be told."""


@dataclass(frozen=True, eq=False)
class Pooled:
    """Estimates over several fillings.

    Attributes
    ----------
    beta : ndarray, shape (p,)
    cov : ndarray, shape (p, p)
        Within plus ``1 + 1/m`` times between.
    between : ndarray, shape (p, p)
        Of the fits' estimates among each other.
    df, low, high : ndarray, shape (p,)
        By Student's t.
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
    used: int
    message: str


def pool(
    betas: Sequence[np.ndarray], covs: Sequence[np.ndarray], whole=np.inf
) -> Pooled:
    """Pool estimates by Rubin's rules.

    Parameters
    ----------
    betas : sequence of ndarray, shape (p,)
    covs : sequence of ndarray, shape (p, p)
    whole : float or ndarray, shape (p,)
        Degrees of freedom without gaps.

    Returns
    -------
    Pooled

    Notes
    -----
    ``T = W + (1 + 1/m) B``. Rubin DB. Multiple Imputation for Nonresponse in Surveys 1987.
    """
    sound = [
        (np.asarray(b, float), np.asarray(V, float))
        for b, V in zip(betas, covs, strict=True)
        if np.isfinite(b).all() and np.isfinite(V).all()
    ]
    if not sound:
        blank = np.full(len(betas[0]) if len(betas) else 0, np.nan)
        square = np.full((len(blank), len(blank)), np.nan)
        why = "no filling could be fitted"
        return Pooled(blank, square, square, *[blank] * 3, 0, why)
    m = len(sound)
    each = np.array([b for b, _ in sound])
    within = np.mean([V for _, V in sound], axis=0)
    away = each - each.mean(axis=0)
    between = away.T @ away / max(m - 1, 1)
    cov = within + (1 + 1 / m) * between
    df = freedom_of(np.diag(between), np.diag(cov), m, whole)
    beta = each.mean(axis=0)
    arm = t_isf((1 - LEVEL) / 2, df) * np.sqrt(np.diag(cov))
    lost = len(betas) - m
    message = f"{lost} of {len(betas)} fillings could not be fitted" if lost else ""
    return Pooled(beta, cov, between, df, beta - arm, beta + arm, m, message)


def unsettled_of(between, total, m: int) -> np.ndarray:
    """Give the part of the variance that gaps make; 0 where there is no variance."""
    total = np.asarray(total, float)
    part = np.zeros(np.shape(total))
    return np.divide((1 + 1 / m) * between, total, out=part, where=total > 0)


def freedom_of(between, total, m: int, whole=np.inf) -> np.ndarray:
    """Give degrees of freedom from variances between ``m`` fits and in all."""
    return freedom_with_gaps(m, unsettled_of(between, total, m), whole)


def freedom_with_gaps(m: int, unsettled, whole=np.inf) -> np.ndarray:
    """Give the degrees of freedom that gaps leave of those without gaps.

    Parameters
    ----------
    m : int
        Fillings.
    unsettled : array_like
        As `unsettled_of` gives it.
    whole : array_like
        Degrees of freedom without gaps; infinite for a normal.

    Returns
    -------
    ndarray
        Fewer than ``whole``; infinite where neither gaps nor groups limit.

    Notes
    -----
    Barnard J, Rubin DB. Biometrika 1999;86:948-955 (from memory); with infinite
    ``whole`` Rubin's own of 1987.
    """
    part, whole = np.broadcast_arrays(
        np.asarray(unsettled, float), np.asarray(whole, float)
    )
    shape = part.shape
    gaps = np.full(shape, np.inf)
    np.divide(max(m - 1, 1), part**2, out=gaps, where=part > 0)
    finite = np.isfinite(whole)
    some = np.where(finite, whole, 1.0)
    left = np.where(finite, (some + 1) / (some + 3) * some * (1 - part), np.inf)
    with np.errstate(divide="ignore"):
        return 1 / (1 / gaps + 1 / left)


def freedom_by_gaps(pooled: Pooled, contrasts, whole=np.inf) -> np.ndarray:
    """Give the degrees of freedom that the gaps leave to contrasts.

    Parameters
    ----------
    pooled : Pooled
    contrasts : array_like, shape (k, r) or (r,)
        In the first r of the p estimates.
    whole : float or ndarray, shape (k,)
        Degrees of freedom without gaps.

    Returns
    -------
    ndarray, shape (k,)
    """
    return freedom_of(*variances_of(pooled, contrasts), pooled.used, whole)


def unsettled_part(pooled: Pooled, contrasts) -> np.ndarray:
    """Give which part of contrasts' variance the gaps make, shape (k,)."""
    return unsettled_of(*variances_of(pooled, contrasts), pooled.used)


def variances_of(pooled: Pooled, contrasts) -> tuple[np.ndarray, np.ndarray]:
    """Give contrasts' variance between fillings, and in all."""
    rows = np.atleast_2d(np.asarray(contrasts, float))
    size = rows.shape[1]
    between, total = (
        ((rows @ part[:size, :size]) * rows).sum(axis=1)
        for part in (pooled.between, pooled.cov)
    )
    return between, total
