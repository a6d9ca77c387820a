"""Finds columns that earlier columns already determine; the earlier ones stay.

The order of the columns is the order of priority. Nothing is fitted here.
"""

from __future__ import annotations

import numpy as np

TOLERANCE = 1e-7
"""Share of a column's length that must remain once the earlier ones are taken out."""


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
