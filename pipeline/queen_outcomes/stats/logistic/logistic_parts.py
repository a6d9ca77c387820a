"""What the logistic fits share: checks of their input, likelihood, a steady basis.

Every fit works in an orthonormal basis of its columns, so that the units of a
factor (mm or m) change nothing. Faults in the data come back as words; nothing
here raises for them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from queen_outcomes.stats.logistic.collinear import column_scale, dependent


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of a fit that count: weight above zero.

    Attributes
    ----------
    X : ndarray, shape (n, p)
    y, weights, offset : ndarray, shape (n,)
    """

    X: np.ndarray
    y: np.ndarray
    weights: np.ndarray
    offset: np.ndarray


@dataclass(frozen=True, eq=False)
class Basis:
    """``X = Z @ R`` with ``Z.T @ Z = n I`` and ``R`` upper triangular."""

    Z: np.ndarray
    R: np.ndarray

    def to_gamma(self, beta: np.ndarray) -> np.ndarray:
        """Give the coefficients on ``Z`` that belong to ``beta`` on ``X``."""
        return self.R @ beta

    def to_beta(self, gamma: np.ndarray) -> np.ndarray:
        """Give the coefficients on ``X`` that belong to ``gamma`` on ``Z``."""
        return solve_triangular(self.R, gamma)

    def to_cov(self, information: np.ndarray) -> np.ndarray:
        """Invert an information matrix of ``gamma`` into the covariance of ``beta``."""
        root = np.linalg.cholesky(information)
        half = solve_triangular(self.R, np.linalg.inv(root).T)
        return half @ half.T

    def log_det(self) -> float:
        """Give ``log |det R|``."""
        return float(np.sum(np.log(np.abs(np.diag(self.R)))))


def rows_of(X, y, weights=None, offset=None) -> tuple[Rows | None, str]:
    """Check the input of a fit.

    Parameters
    ----------
    X : array_like, shape (n, p)
    y : array_like, shape (n,)
        0/1, or the share of yes in a row that stands for ``weights`` courses.
    weights, offset : array_like, shape (n,), optional

    Returns
    -------
    rows : Rows or None
        None when the data cannot be fitted.
    message : str
        Why not; empty when they can.
    """
    X, y = np.asarray(X, float), np.asarray(y, float)
    weights = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    offset = np.zeros(len(y)) if offset is None else np.asarray(offset, float)
    message = _fault(X, y, weights, offset)
    if message:
        return None, message
    used = weights > 0
    rows = Rows(X[used], y[used], weights[used], offset[used])
    if len(rows.y) == 0:
        return None, "there are no courses to fit"
    if X.shape[1] > len(rows.y):
        return None, f"more terms ({X.shape[1]}) than rows ({len(rows.y)})"
    return rows, ""


def _fault(X, y, weights, offset) -> str:
    if (
        X.ndim != 2
        or X.shape[1] == 0
        or any(a.shape != (len(X),) for a in (y, weights, offset))
    ):
        return "the factors and the answers differ in length"
    if not all(np.isfinite(a).all() for a in (X, y, weights, offset)):
        return "a value is missing or not finite"
    if ((y < 0) | (y > 1)).any():
        return "an answer is neither no (0) nor yes (1)"
    if (weights < 0).any():
        return "a weight is below zero"
    return ""


def same_answer(rows: Rows) -> str:
    """Say that every answer is alike, or nothing."""
    if np.all(rows.y == 1):
        return "every answer is yes"
    return "every answer is no" if np.all(rows.y == 0) else ""


def basis_of(X: np.ndarray) -> tuple[Basis | None, str]:
    """Give an orthonormal basis of the columns, or say which are not independent."""
    scale = column_scale(X)
    Q, R = np.linalg.qr(X / scale)
    aliased = dependent(R)
    if aliased:
        listed = ", ".join(map(str, aliased))
        return None, f"columns that the earlier ones determine: {listed}"
    root = np.sqrt(len(X))
    return Basis(Q * root, R * scale / root), ""


def log_likelihood(eta: np.ndarray, y: np.ndarray, weights: np.ndarray) -> float:
    """Give the Bernoulli log-likelihood, without binomial constants.

    ``sum w (y eta - log(1 + exp eta))``
    """
    return float(np.sum(weights * (y * eta - np.logaddexp(0.0, eta))))


def collapse_rows(X, y, weights=None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Join rows with equal factors into one row that stands for all of them.

    The likelihood of a logistic model is unchanged by it, and the result does not
    depend on the order of the rows.

    Parameters
    ----------
    X : array_like, shape (n, p)
    y, weights : array_like, shape (n,)

    Returns
    -------
    X : ndarray, shape (m, p)
        The distinct rows, in ascending order.
    share : ndarray, shape (m,)
        Weighted share of yes.
    weights : ndarray, shape (m,)
        Summed weights.
    """
    X, y = np.asarray(X, float), np.asarray(y, float)
    weights = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    code = np.zeros(len(y), np.int64)
    for column in X.T:
        values, inverse = np.unique(column, return_inverse=True)
        code = np.unique(code * len(values) + inverse, return_inverse=True)[1]
    first = np.unique(code, return_index=True)[1]
    total = np.bincount(code, weights)
    yes = np.bincount(code, weights * y)
    share = np.divide(yes, total, out=np.zeros_like(yes), where=total > 0)
    return X[first], np.clip(share, 0.0, 1.0), total
