"""Covariance of logistic coefficients that allows for courses of one group being alike.

One grouping. CR0 is the plain sandwich, CR1 its simple small-sample factor, CR2 the
bias-reduced one with degrees of freedom of its own for every contrast. Under ten
groups none of them can be trusted; what to do then is the caller's choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import expit

FEW_FOR_CR2, MANY_FOR_CR1 = 10, 40
"""From how many groups CR2 is used at all, and from how many CR1 is enough."""


@dataclass(frozen=True, eq=False)
class _Whitened:
    """``Q R = W^(1/2) X`` with rows sorted by group; ``starts`` of each group.

    What is drawn adds rows ``P^(1/2)`` below X, whose share of Q is ``drawn``.
    """

    Q: np.ndarray
    R: np.ndarray
    residual: np.ndarray
    starts: np.ndarray
    drawn: np.ndarray

    def blocks(self) -> np.ndarray:
        """Give ``Q_g' Q_g`` of each group, shape (G, p, p); undrawn they add up to I."""
        ends = [*self.starts[1:], len(self.Q)]
        parts = [self.Q[a:b] for a, b in zip(self.starts, ends, strict=True)]
        return np.stack([part.T @ part for part in parts])


def cluster_cov(
    X, y, beta, clusters, kind="CR2", weights=None, pull=None
) -> np.ndarray:
    """Give a cluster-robust covariance of logistic coefficients.

    Parameters
    ----------
    X : array_like, shape (n, p)
    y : array_like, shape (n,)
    beta : array_like, shape (p,)
        The maximum of the (weighted) likelihood, or near it.
    clusters : array_like, shape (n,)
        Group of each row.
    kind : {"CR0", "CR1", "CR2"}
    weights : array_like, shape (n,), optional
    pull : array_like, shape (p,), optional
        Precision with which the fit drew each coefficient to zero.

    Returns
    -------
    ndarray, shape (p, p)
        NaN when the data give none (one group, a missing value, aliased columns).

    Notes
    -----
    With ``M = (X' W X)^-1``, ``W = w p (1 - p)`` and ``u_g = sum w (y - p) x`` over
    the rows of group g:

    - CR0 ``M (sum u_g u_g') M`` (Liang KY, Zeger SL. Biometrika 1986;73:13-22);
    - CR1 that times G / (G - 1);
    - CR2 with ``M^(1/2) (I - T_g)^(-1/2) M^(1/2)' u_g`` in place of ``M u_g``, where
      ``T_g`` is the group's share ``M^(1/2)' X_g' W_g X_g M^(1/2)``; a direction that
      one group alone determines (eigenvalue 1) drops out. It is the bias-reduced
      linearisation of Bell RM, McCaffrey DF. Survey Methodology 2002;28:169-181, on
      the working model of the last weighted step, with the generalised inverse of
      Pustejovsky JE, Tipton E. J Bus Econ Stat 2018;36:672-683.

    With P, the precision of what is drawn, ``M = (X' W X + P)^-1``, and ``M P M`` is added:
    how far drawing takes the coefficients from where they are.
    """
    if kind not in ("CR0", "CR1", "CR2"):
        raise ValueError(f"kind must be CR0, CR1 or CR2, not {kind!r}")
    X = np.asarray(X, float)
    white = _whiten(X, y, beta, clusters, weights, pull)
    if white is None or len(white.starts) < 2:
        return np.full((X.shape[1], X.shape[1]), np.nan)
    groups = len(white.starts)
    scores = np.add.reduceat(white.Q * white.residual[:, None], white.starts)
    if kind == "CR2":
        scores = np.einsum("gij,gj->gi", adjusters(white.blocks()), scores)
    half = solve_triangular(white.R, scores.T)
    factor = groups / (groups - 1) if kind == "CR1" else 1.0
    away = solve_triangular(white.R, white.drawn.T)
    return factor * (half @ half.T) + away @ away.T


def satterthwaite_df(
    X, beta, clusters, contrasts=None, weights=None, pull=None
) -> np.ndarray:
    """Give the degrees of freedom of CR2 for each contrast.

    Parameters
    ----------
    X : array_like, shape (n, p)
    beta : array_like, shape (p,)
    clusters : array_like, shape (n,)
    contrasts : array_like, shape (k, p), optional
        Linear combinations of the coefficients; each coefficient when not given.
    weights : array_like, shape (n,), optional
    pull : array_like, shape (p,), optional
        As of `cluster_cov`; what drawing adds counts for no freedom.

    Returns
    -------
    ndarray, shape (k,)
        NaN where there is none.

    Notes
    -----
    CR2 of ``c'beta`` is ``sum_g (g_g' e)^2`` with e of unit variance under the working
    model; matching mean and variance to a chi-square gives
    ``(sum_g G_gg)^2 / sum_gh G_gh^2`` with ``G_gh = g_g' g_h``
    (Bell and McCaffrey 2002; Pustejovsky and Tipton 2018).
    """
    X = np.asarray(X, float)
    contrasts = np.eye(X.shape[1]) if contrasts is None else np.atleast_2d(contrasts)
    white = _whiten(X, np.zeros(len(X)), beta, clusters, weights, pull)
    if white is None or len(white.starts) < 2:
        return np.full(len(contrasts), np.nan)
    blocks = white.blocks()
    adjust = adjusters(blocks)
    turned = solve_triangular(white.R, np.asarray(contrasts, float).T, trans="T")
    return np.array([matched_df(blocks, adjust @ column) for column in turned.T])


def matched_df(blocks: np.ndarray, b: np.ndarray) -> float:
    """Match mean and variance; ``b`` (G, p) is the adjusted contrast of each group."""
    q = np.einsum("gij,gj->gi", blocks, b)
    own = np.einsum("gi,gi->g", b, q)
    taken = np.einsum("gi,gi->g", q, q)
    mean = np.sum(own - taken)
    spread = np.sum(own**2) - 2 * np.sum(own * taken) + np.sum((q.T @ q) ** 2)
    return float(mean**2 / spread) if spread > 0 else np.nan


def adjusters(blocks: np.ndarray) -> np.ndarray:
    """Give ``(I - T_g)^(-1/2)`` of each group, zero where T_g has eigenvalue 1."""
    values, vectors = np.linalg.eigh(np.eye(blocks.shape[1]) - blocks)
    free = values > 1e-8
    root = np.where(free, 1.0 / np.sqrt(np.where(free, values, 1.0)), 0.0)
    return np.einsum("gij,gj,gkj->gik", vectors, root, vectors)


def _whiten(X, y, beta, clusters, weights, pull) -> _Whitened | None:
    y, beta = np.asarray(y, float), np.asarray(beta, float)
    weights = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    if not all(np.isfinite(a).all() for a in (X, y, beta, weights)) or not len(X):
        return None
    codes = np.unique(np.asarray(clusters), return_inverse=True)[1]
    order = np.argsort(codes, kind="stable")
    order = order[weights[order] > 0]
    X, y, weights, codes = X[order], y[order], weights[order], codes[order]
    p = expit(X @ beta)
    root = np.sqrt(weights * p * (1 - p))
    held = np.zeros(X.shape[1]) if pull is None else np.asarray(pull, float)
    below = np.diag(np.sqrt(held))[held > 0]
    Q, R = np.linalg.qr(np.vstack([X * root[:, None], below]))
    Q, drawn = Q[: len(X)], Q[len(X) :]
    size = np.abs(np.diag(R))
    lengths = np.linalg.norm(R, axis=0)
    if len(X) < X.shape[1] or np.any(size <= 1e-10 * lengths):
        return None
    residual = np.divide(weights * (y - p), root, out=np.zeros_like(p), where=root > 0)
    starts = np.unique(codes, return_index=True)[1]
    return _Whitened(Q, R, residual, starts, drawn)
