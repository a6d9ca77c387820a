"""Finds columns that earlier columns already determine; the earlier ones stay.

The order of the columns is the order of priority. Nothing is fitted here and
nothing is dropped: the caller is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

TOLERANCE = 1e-7
"""Share of a column's length that must remain once the earlier ones are taken out."""


@dataclass(frozen=True)
class Aliasing:
    """Which columns stand on their own.

    Attributes
    ----------
    kept, aliased : tuple of int
        Column numbers; together all columns.
    determined_by : dict of int to tuple of int
        For each aliased column the kept, earlier columns that make it up.
    message : str
        In words; empty when no column is aliased.
    """

    kept: tuple[int, ...]
    aliased: tuple[int, ...]
    determined_by: dict[int, tuple[int, ...]]
    message: str


def find_aliased(X, names: tuple[str, ...] | None = None) -> Aliasing:
    """Look for columns that are linear combinations of earlier ones.

    Parameters
    ----------
    X : array_like, shape (n, p)
    names : tuple of str, optional
        For the message; column numbers where there are none.

    Returns
    -------
    Aliasing

    Notes
    -----
    Gram-Schmidt in the order of the columns, after a Householder QR has reduced the
    rows to at most p. A column goes when less than 1e-7 of its length is left, the
    tolerance of R's ``lm`` and ``glm`` (LINPACK ``dqrdc2``).
    """
    X = np.asarray(X, float)
    if X.ndim != 2 or X.size == 0:
        return Aliasing((), (), {}, "there are no rows")
    if not np.isfinite(X).all():
        everything = tuple(range(X.shape[1]))
        return Aliasing(everything, (), {}, "a value is missing or not finite")
    R = np.linalg.qr(X / column_scale(X), mode="r")
    aliased = dependent(R)
    kept = tuple(j for j in range(X.shape[1]) if j not in aliased)
    made_of = {j: _made_of(R, j, kept) for j in aliased}
    return Aliasing(kept, aliased, made_of, _words(made_of, names))


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


def _made_of(R: np.ndarray, j: int, kept: tuple[int, ...]) -> tuple[int, ...]:
    earlier = [k for k in kept if k < j]
    if not earlier:
        return ()
    share = np.linalg.lstsq(R[:, earlier], R[:, j], rcond=None)[0]
    return tuple(k for k, s in zip(earlier, share, strict=True) if abs(s) > TOLERANCE)


def _words(made_of: dict[int, tuple[int, ...]], names: tuple[str, ...] | None) -> str:
    def name(j: int) -> str:
        return names[j] if names else f"column {j}"

    said = []
    for j, parts in made_of.items():
        by = ", ".join(map(name, parts))
        said.append(f"{name(j)} is determined by {by}" if by else f"{name(j)} is empty")
    return "; ".join(said)
