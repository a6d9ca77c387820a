"""Finds columns that others determine, wholly or nearly.

Where wholly, the earlier ones stay: their order is the order of priority. How nearly is a
variance inflation. Nothing is fitted here.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import lsmr

TOLERANCE = 1e-7
"""Share of a column's length that must remain once the earlier ones are taken out."""

MOST = 32.0
"""Logarithm of the largest inflation that is told apart from a repeated column."""
STEPS, FINE = 200, 1e-7
"""Steps of the search for a regression, and its accuracy; fewer make inflation smaller."""


def inflation(target, others: Sequence, weights) -> float:
    """Give how much wider coefficients vary because of other columns.

    Parameters
    ----------
    target : array_like, shape (n,) or (n, k)
        A column, or the columns of one factor.
    others : sequence of array_like, shape (n,)
        Numbers, or texts: a column for every level; or what `columns_of` made of them.
    weights : array_like, shape (n,)
        Of the courses; p (1 - p) for a logistic model.

    Returns
    -------
    float
        The generalised variance inflation for each degree of freedom, on the scale of
        standard errors squared (Fox J, Monette G. J Am Stat Assoc 1992;87:178-183): of one
        column 1 / (1 - R^2) of the weighted regression on a constant and the others.
        Infinite for columns that do not vary.
    """
    root = np.sqrt(np.asarray(weights, float))[:, None]
    target = np.asarray(target, float).reshape(len(root), -1)
    centred = root * (target - np.average(target, axis=0, weights=root[:, 0] ** 2))
    total = np.linalg.slogdet(centred.T @ centred)[1]
    if not np.isfinite(total):
        return np.inf
    parts = [sparse.csr_array(np.ones((len(root), 1))), *map(columns_of, others)]
    X = sparse.diags_array(root[:, 0]) @ sparse.hstack(parts, format="csr")
    length = np.sqrt((X * X).sum(axis=0))
    X = X @ sparse.diags_array(1 / np.where(length > 0, length, 1.0))
    left = np.column_stack(
        [y - X @ lsmr(X, y, atol=FINE, btol=FINE, maxiter=STEPS)[0] for y in centred.T]
    )
    unexplained = np.linalg.slogdet(left.T @ left)[1]
    return float(np.exp(min((total - unexplained) / target.shape[1], MOST)))


def columns_of(values):
    """Give numbers centred, and a column for every level of texts; columns stay as is."""
    if sparse.issparse(values):
        return values
    values = np.asarray(values)
    if values.dtype.kind in "fiub":
        values = values.reshape(len(values), -1)
        return sparse.csr_array(values - values.mean(axis=0))
    levels, codes = np.unique(values, return_inverse=True)
    places = (np.arange(len(codes)), codes)
    return sparse.csr_array((np.ones(len(codes)), places), (len(codes), len(levels)))


def independent_columns(X) -> list[int]:
    """Give the numbers of the columns that are no linear combination of earlier ones.

    Parameters
    ----------
    X : array_like, shape (n, p)

    Returns
    -------
    list of int
        None of them where there are no rows; all where a value is not finite.

    Notes
    -----
    Gram-Schmidt in the order of the columns, after a Householder QR has reduced the
    rows to at most p. A column goes when less than 1e-7 of its length is left, the
    tolerance of R's ``lm`` and ``glm`` (LINPACK ``dqrdc2``).
    """
    X = np.asarray(X, float)
    if X.size == 0:
        return []
    if not np.isfinite(X).all():
        return list(range(X.shape[1]))
    aliased = dependent(np.linalg.qr(X / column_scale(X), mode="r"))
    return [j for j in range(X.shape[1]) if j not in aliased]


def column_scale(X: np.ndarray) -> np.ndarray:
    """Give each column's root mean square; 1 for a column of zeros."""
    largest = np.max(np.abs(X), axis=0, initial=0.0)
    largest = np.where(largest > 0, largest, 1.0)
    return largest * np.sqrt(
        np.where(np.any(X != 0, axis=0), np.mean((X / largest) ** 2, axis=0), 1.0)
    )


def dependent(R: np.ndarray) -> tuple[int, ...]:
    """Give the numbers of the columns of R that the earlier ones determine."""
    found, directions = [], np.empty((len(R), 0))
    for j, column in enumerate(R.T):
        length, rest = np.linalg.norm(column), column
        for _ in range(2):  # twice is enough: the second pass removes rounding
            rest = rest - directions @ (directions.T @ rest)
        left = np.linalg.norm(rest)
        if length == 0 or left <= TOLERANCE * length:
            found.append(j)
        else:
            directions = np.column_stack([directions, rest / left])
    return tuple(found)
