"""Finds columns that others determine, wholly or nearly.

Where wholly, the earlier ones stay: their order is the order of priority. How nearly is a
variance inflation. Nothing is fitted here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy import sparse
from scipy.linalg import eigvalsh, solve_triangular
from scipy.linalg.lapack import dpstrf

TOLERANCE = 1e-7
"""Share of a column's length that must remain once the earlier ones are taken out."""

DENSE_UP_TO = 400
"""Columns up to which a dense table of products costs less than keeping it sparse."""
MOST = 32.0
"""Logarithm of the largest inflation that is told apart from a repeated column."""
REPEATED = 1e-11
"""Part of a column's square that must be left by those before it, or it repeats them."""


class CrossProducts:
    """What several factors' columns, and a constant, have in common over all courses.

    Parameters
    ----------
    factors : mapping of str to array_like, shape (n,) or (n, k)
        Numbers, or texts: a column for every level.
    weights : array_like, shape (n,)
        Of the courses; p (1 - p) for a logistic model.
    """

    def __init__(self, factors: Mapping[str, Any], weights) -> None:
        root = np.sqrt(np.asarray(weights, float))
        parts = [sparse.csr_array(np.ones((len(root), 1)))]
        self._places: dict[str, np.ndarray] = {}
        at = 1
        for name, values in factors.items():
            parts.append(columns_of(values))
            self._places[name] = np.arange(at, at + parts[-1].shape[1])
            at += parts[-1].shape[1]
        X = sparse.diags_array(root) @ sparse.hstack(parts, format="csr")
        length = np.sqrt((X * X).sum(axis=0))
        X = X @ sparse.diags_array(1 / np.where(length > 0, length, 1.0))
        products = sparse.csr_array(X.T @ X)
        self._products = products.toarray() if at <= DENSE_UP_TO else products
        self._known: dict[tuple[str, ...], _Explained] = {}

    def inflation(self, target: str, others: Sequence[str]) -> float:
        """Give how much wider coefficients of a factor vary because of others.

        Parameters
        ----------
        target : str
        others : sequence of str

        Returns
        -------
        float
            The generalised variance inflation for each degree of freedom, on the scale of
            standard errors squared (Fox J, Monette G. J Am Stat Assoc 1992;87:178-183): of
            one column 1 / (1 - R^2) of the weighted regression on a constant and the
            others. Infinite for columns that do not vary.
        """
        own = self._places[target]
        total = self._explained(()).left_of(own)
        scale = np.sqrt(np.diag(total))
        if not (scale > 0).all():
            return np.inf
        total = total / scale / scale[:, None]
        if eigvalsh(total)[0] < REPEATED:
            return np.inf
        left = self._explained(tuple(others)).left_of(own) / scale / scale[:, None]
        # rounding leaves of what is wholly explained a little, of either sign
        parts = np.maximum(eigvalsh(left, total), np.exp(-2 * MOST))
        return float(np.exp(min(-np.log(parts).sum() / len(own), MOST)))

    def inflations(
        self, targets: Sequence[str], others: Sequence[str]
    ) -> dict[str, float]:
        """Give the `inflation` of several factors of one column each, because of the same others.

        Parameters
        ----------
        targets, others : sequence of str

        Returns
        -------
        dict of str to float
        """
        columns = np.concatenate([self._places[name] for name in targets])
        total = self._explained(()).squares_left(columns)
        left = self._explained(tuple(others)).squares_left(columns)
        varies = total > 0
        parts = np.maximum(left / np.where(varies, total, 1.0), np.exp(-2 * MOST))
        found = np.where(varies, np.exp(np.minimum(-np.log(parts), MOST)), np.inf)
        return dict(zip(targets, found.tolist(), strict=True))

    def _explained(self, names: tuple[str, ...]) -> _Explained:
        if names not in self._known:
            places = [self._places[name] for name in names]
            self._known[names] = _Explained(self._products, places)
        return self._known[names]


class _Explained:
    """What a constant and some factors leave of other columns' products.

    The constant and the largest factor with levels are taken out by a division, as levels
    have nothing in common; the others by a Cholesky factor of what these leave.
    """

    def __init__(self, products, places: Sequence[np.ndarray]) -> None:
        first = max(
            (own for own in places if self._is_apart(products, own)),
            key=len,
            default=np.zeros(1, int),
        )
        rest = np.concatenate([[0], *(own for own in places if own is not first)])
        # levels add up to the constant: what is left of it then is nothing
        by_column = sparse.csc_array if sparse.issparse(products) else np.asarray
        self._products = by_column(products)
        self._with_first = by_column(products[first, :])
        self._with_rest = by_column(products[rest, :])
        size = self._with_first[:, first].diagonal()
        self._sizes = np.where(size > 0, size, 1.0)
        self._by = sparse.diags_array(1 / self._sizes)
        self._back = (self._by @ self._with_first[:, rest]).T
        left = self._with_rest[:, rest] - self._back @ self._with_first[:, rest]
        factor, order, rank, _ = dpstrf(_dense(left), lower=1, tol=REPEATED)
        self._order = order[:rank] - 1
        self._root = factor[:rank, :rank]

    @staticmethod
    def _is_apart(products, own: np.ndarray) -> bool:
        block = products[own, :][:, own]
        entries = block.nnz if sparse.issparse(block) else np.count_nonzero(block)
        return entries == np.count_nonzero(block.diagonal())

    def left_of(self, own: np.ndarray) -> np.ndarray:
        """Give the products of some columns that none of the factors explain, (k, k)."""
        first, explained = self._parts(own)
        whole = self._products[:, own][own, :] - first.T @ (self._by @ first)
        return _dense(whole) - explained.T @ explained

    def squares_left(self, columns: np.ndarray) -> np.ndarray:
        """Give the square of each column that none of the factors explain, (k,)."""
        first, explained = self._parts(columns)
        taken = (first * first).T @ (1 / self._sizes) + np.sum(explained**2, axis=0)
        return self._products.diagonal()[columns] - taken

    def _parts(self, columns: np.ndarray):
        """Give what columns have in common with the first factor, and with the rest then."""
        first = self._with_first[:, columns]
        crossed = self._with_rest[:, columns] - self._back @ first
        crossed = _dense(crossed)[self._order]
        return first, solve_triangular(self._root, crossed, lower=True)


def _dense(matrix) -> np.ndarray:
    return matrix.toarray() if sparse.issparse(matrix) else matrix


def columns_of(values):
    """Give numbers centred, yes and no as 1 and 0, and a column for every level of texts.

    What is mostly 0 stays so: centred, a column for each of 200 operators would be dense.
    """
    values = np.asarray(values)
    if values.dtype.kind == "b":
        return sparse.csr_array(values.reshape(len(values), -1).astype(float))
    if values.dtype.kind in "fiu":
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
