"""Looks for separation before a fit: factors that tell yes from no without error.

Then the likelihood has no finite maximum and standard errors mean nothing. The
answer is exact up to the tolerance of a linear programme.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import null_space
from scipy.special import expit

from queen_outcomes.stats.logistic.collinear import column_scale, independent_columns
from queen_outcomes.stats.logistic.plain import (
    collapse_rows,
    fit_plain,
    rows_of,
    same_answer,
)

MARGIN = 1e-6
"""What counts as above zero, with columns and directions scaled to about 1."""


@dataclass(frozen=True)
class Separation:
    """What was found.

    Attributes
    ----------
    kind : str
        "none", "quasi" (some rows lie on the border), "complete", or "unknown".
    columns : tuple of int
        For "quasi" the columns whose coefficient has no finite estimate. For "complete"
        no coefficient has one, and the columns are a few that suffice to tell the
        answers apart.
    message : str
        In words; empty for "none".
    """

    kind: str
    columns: tuple[int, ...]
    message: str


def find_separation(X, y, names: tuple[str, ...] | None = None) -> Separation:
    """Look whether some direction of the factors separates yes from no.

    Parameters
    ----------
    X : array_like, shape (n, p)
    y : array_like, shape (n,)
        0/1.
    names : tuple of str, optional
        Of the columns, for the message.

    Returns
    -------
    Separation

    Notes
    -----
    With s = 2y - 1 a direction d separates when ``s x'd >= 0`` for all rows and
    ``> 0`` for some; completely when ``> 0`` for all (Albert A, Anderson JA.
    Biometrika 1984;71:1-10). Found by linear programming (Konis K. DPhil thesis,
    Oxford 2007). Distinct rows that hold both answers force ``x'd = 0``, so only the
    directions that they leave open are searched. Where there is a maximum its residuals
    spare the search.
    """
    rows, message = rows_of(X, y)
    if rows is None:
        return Separation("unknown", (), message)
    alike = same_answer(rows)
    if alike:
        return Separation("complete", tuple(range(rows.X.shape[1])), alike)
    kept = independent_columns(rows.X)
    X = rows.X[:, kept]
    X = X / column_scale(X)
    if _has_maximum(X, rows.y):
        return Separation("none", (), "")
    X, share, _ = collapse_rows(X, rows.y)
    mixed = (share > 0) & (share < 1)
    open_ = _left_open(X[mixed], X.shape[1])
    if open_.shape[1] == 0:
        return Separation("none", (), "")
    signed = np.where(share > 0.5, 1.0, -1.0)[~mixed, None] * (X[~mixed] @ open_)
    if not _some_direction(signed):
        return Separation("none", (), "")
    if not mixed.any() and _all_strictly(signed):
        kind, found = "complete", _fewest(signed)
    else:
        kind = "quasi"
        found = [j for j in range(len(kept)) if _can_move(signed, open_[j])]
    columns = tuple(kept[j] for j in found)
    return Separation(kind, columns, _words(kind, columns, names))


def _has_maximum(X: np.ndarray, y: np.ndarray) -> bool:
    """Tell whether the residuals of a fit prove that nothing separates; False: they do not.

    With residuals r = y - p and a score g = X'r, any direction d with all ``s x'd >= 0``
    has ``sum |r| s x'd = g'd``. In the unit box that is at most the sum of |g|: where this
    is below the smallest |r| times what counts as above zero, no ``x'd`` is above it.
    """
    found = fit_plain(X, y)
    if not found.converged:
        return False
    residual = y - expit(X @ found.beta)
    left = np.abs(X.T @ residual).sum()
    return bool(left < MARGIN * np.abs(residual).min())


def _left_open(mixed: np.ndarray, p: int) -> np.ndarray:
    """Give a basis (p, k) of the directions in which the mixed rows do not differ."""
    return null_space(mixed, rcond=1e-9) if len(mixed) else np.eye(p)


def _solve(cost: np.ndarray, signed: np.ndarray, above: np.ndarray | None = None):
    """Minimise ``cost @ d`` over ``signed @ d >= 0`` in the unit box."""
    from scipy.optimize import linprog  # late, as `stats/tails.py` says

    A = -signed if above is None else np.column_stack([-signed, above])
    answer = linprog(cost, A_ub=A, b_ub=np.zeros(len(A)), bounds=(-1, 1))
    return answer.x if answer.status == 0 else np.zeros(len(cost))


def _some_direction(signed: np.ndarray) -> bool:
    if len(signed) == 0:
        return False
    d = _solve(-signed.mean(axis=0), signed)
    return bool(np.max(signed @ d) > MARGIN)


def _all_strictly(signed: np.ndarray) -> bool:
    """Maximise the smallest margin t: ``signed @ d >= t``."""
    cost = np.zeros(signed.shape[1] + 1)
    cost[-1] = -1.0
    return bool(_solve(cost, signed, np.ones(len(signed)))[-1] > MARGIN)


def _fewest(signed: np.ndarray) -> list[int]:
    """Drop columns, the last first, as long as the rest tell the answers apart."""
    left = list(range(signed.shape[1]))
    for j in reversed(range(signed.shape[1])):
        rest = [k for k in left if k != j]
        if rest and _all_strictly(signed[:, rest]):
            left = rest
    return left


def _can_move(signed: np.ndarray, row: np.ndarray) -> bool:
    """Say whether a separating direction moves the coefficient ``row @ d``."""
    reach = (row @ _solve(sign * row, signed) for sign in (-1.0, 1.0))
    return any(abs(r) > MARGIN for r in reach)


def _words(kind: str, columns: tuple[int, ...], names: tuple[str, ...] | None) -> str:
    named = ", ".join(names[j] if names else f"column {j}" for j in columns)
    how = "completely" if kind == "complete" else "in part"
    return f"yes and no are told apart {how} by {named}"
