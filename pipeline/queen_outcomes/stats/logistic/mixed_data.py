"""Makes rows ready for the crossed logistic model, and finds what forbids a fit.

Checks, merges rows that are alike, scales the columns and fits the plain logistic model
that the search starts from. Faults come back as words, never as exceptions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import expit, gammaln

from queen_outcomes.stats.logistic.mixed_crossing import cross
from queen_outcomes.stats.logistic.mixed_laplace import Rows

DEPENDENT = 1e-11
"""Share of a column's variation, left by the columns before it, that counts as none."""
CERTAIN = 20.0
"""Log odds beyond which a fitted chance is 0 or 1: the sign of a separated term."""
WORTH_MERGING = 0.8
"""Share of distinct rows above which merging saves less than it costs."""
STEPS = 60
"""Newton steps of the plain fit."""


@dataclass(frozen=True)
class Ready:
    """Rows ready to be fitted.

    Attributes
    ----------
    rows : Rows
        Rows with whitened columns.
    back : ndarray, shape (p, p)
        Turns coefficients of the whitened columns into those of the caller's.
    start : ndarray, shape (p,)
        Coefficients of the plain logistic fit, whitened.
    constant : float
        What the log-likelihood has beside the part that depends on the model.
    level_information : ndarray, shape (K,)
        Information of a typical level of each grouping about its own effect.
    """

    rows: Rows
    back: np.ndarray
    start: np.ndarray
    constant: float
    level_information: np.ndarray


def find_fault(X, y, codes, trials, weights) -> str:
    """Say in words what forbids a fit; empty when nothing does.

    Parameters
    ----------
    X, y, codes, trials, weights : ndarray
        As in `prepare`.
    """
    for words in (
        _misshapen(X, y, codes, trials, weights),
        _unnumbered(X=X, y=y, trials=trials, weights=weights),
    ):
        if words:
            return words
    if any(code.dtype.kind not in "iu" or code.min() < 0 for code in codes):
        return "a grouping holds codes that are not whole numbers from 0 on"
    if (
        (trials <= 0).any()
        or (weights < 0).any()
        or (y < 0).any()
        or (y > trials).any()
    ):
        return "an answer lies outside 0 to its trials, or a weight is negative"
    wins, total = float(weights @ y), float(weights @ trials)
    if wins <= 0 or wins >= total:
        return "all answers are equal"
    return ""


def _misshapen(X, y, codes, trials, weights) -> str:
    if X.ndim != 2 or not X.size or {len(y), len(trials), len(weights)} != {len(X)}:
        return (
            "the columns, answers and counts are not of one length, or there are none"
        )
    if not len(codes):
        return "no grouping was given"
    if any(len(code) != len(X) for code in codes):
        return "a grouping is not as long as the answers"
    return ""


def _unnumbered(**arrays) -> str:
    for name, values in arrays.items():
        bad = ~np.isfinite(values)
        if bad.any():
            rows = bad.any(axis=1) if values.ndim == 2 else bad
            return f"{name} holds what is no number in {int(rows.sum())} rows"
    return ""


def prepare(X, y, codes, trials, weights) -> Ready | str:
    """Merge, scale and start.

    Parameters
    ----------
    X : ndarray, shape (n, p)
        Columns, that of ones among them where wanted.
    y, trials, weights : ndarray, shape (n,)
        Successes, of how many, and the weight of each row in the log-likelihood.
    codes : list of ndarray of int, shape (n,)
        Levels of each grouping.

    Returns
    -------
    Ready or str
        Words when the columns cannot be told apart or the answers are separated.
    """
    levels = [int(code.max()) + 1 for code in codes]
    kept = weights > 0
    X, y, trials, weights = X[kept], y[kept], trials[kept], weights[kept]
    codes = [code[kept].astype(np.int64) for code in codes]
    constant = _constant(y, trials, weights)
    cells, cell = _cells(codes)
    X, wins, total, cell = _merged(X, weights * y, weights * trials, cell)
    order = np.argsort(cell, kind="stable")
    X, wins, total, cell = X[order], wins[order], total[order], cell[order]
    lengths = np.bincount(cell, minlength=cells.shape[1])
    scaled, back, scales = _scaled(X)
    words = _dependent(scaled, scales)
    if words:
        return words
    coefficients, information, words = _plain(scaled, wins, total)
    if words:
        return words
    root = np.linalg.cholesky(information).T
    inverse = solve_triangular(root, np.eye(len(root)))
    white = np.asfortranarray(scaled @ inverse)
    starts = np.cumsum(lengths) - lengths
    rows = Rows(white, wins, total, starts, lengths, cross(cells, levels))
    start = root @ coefficients
    return Ready(
        rows, back @ inverse, start, constant, _per_level(rows, start, len(codes))
    )


def _constant(y, trials, weights) -> float:
    some = trials > 1
    y, trials = y[some], trials[some]
    terms = gammaln(trials + 1) - gammaln(y + 1) - gammaln(trials - y + 1)
    return float(weights[some] @ terms)


def _cells(codes) -> tuple[np.ndarray, np.ndarray]:
    """Distinct combinations of levels, shape (K, cells), and each row's number."""
    key = np.zeros(len(codes[0]), dtype=np.int64)
    for code in codes:
        count = int(code.max()) + 1
        if int(key.max() + 1) * count >= 2**62:
            key = np.unique(key, return_inverse=True)[1]
        key = key * count + code
    _, first, cell = np.unique(key, return_index=True, return_inverse=True)
    return np.array([code[first] for code in codes], dtype=np.int64), cell


def _merged(X, wins, total, cell):
    """Add up rows of one cell whose columns are the same to the bit."""
    mark = cell.astype(np.uint64)
    for column in (X + 0.0).T:
        mark = (mark ^ (mark >> np.uint64(29))) * np.uint64(0xBF58476D1CE4E5B9)
        mark ^= np.ascontiguousarray(column).view(np.uint64)
    mark = (mark ^ (mark >> np.uint64(32))) * np.uint64(0x94D049BB133111EB)
    _, first, which = np.unique(mark, return_index=True, return_inverse=True)
    few = len(first) < WORTH_MERGING * len(cell)
    if not few or (cell[first][which] != cell).any() or (X[first][which] != X).any():
        return X, wins, total, cell
    count = len(first)
    return (
        X[first],
        np.bincount(which, wins, count),
        np.bincount(which, total, count),
        cell[first],
    )


def _scaled(X) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Centre (where a column is constant) and scale; give also the way back."""
    top, bottom = X.max(axis=0), X.min(axis=0)
    flat = np.flatnonzero((top == bottom) & (top != 0))
    size = np.maximum(np.maximum(np.abs(top), np.abs(bottom)), np.finfo(float).tiny)
    shape = X / size
    middle = np.zeros(X.shape[1])
    if len(flat):
        middle = shape.mean(axis=0)
        middle[flat[0]] = 0.0
        shape = shape - middle
    spread = np.sqrt(np.mean(shape**2, axis=0))
    # what rounding leaves of a constant column is no variation
    spread[spread < 1e-13] = 0.0
    safe = np.where(spread > 0, spread, 1.0)
    back = np.diag(1 / (size * safe))
    if len(flat):
        constant = flat[0]
        others = np.arange(X.shape[1]) != constant
        share = middle / safe / (shape[0, constant] if shape[0, constant] else 1.0)
        back[constant, others] = -share[others] / size[constant]
    return shape / safe, back, spread


def _dependent(scaled, spread) -> str:
    """Name the columns that those before them make up."""
    gram = scaled.T @ scaled / len(scaled)
    kept: list[int] = []
    lost: list[str] = []
    for j in range(len(gram)):
        rest, share = gram[j, j], np.zeros(len(kept))
        if kept:
            share = np.linalg.solve(gram[np.ix_(kept, kept)], gram[kept, j])
            rest = rest - share @ gram[kept, j]
        if spread[j] > 0 and rest > DEPENDENT:
            kept.append(j)
            continue
        by = [k for k, part in zip(kept, share, strict=True) if abs(part) > 1e-6]
        made = f" (made up of {', '.join(map(str, by))})" if by else " (constant)"
        lost.append(f"{j}{made}")
    if not lost:
        return ""
    return f"columns of X that follow from the columns before them: {', '.join(lost)}"


def _plain(X, wins, total) -> tuple[np.ndarray, np.ndarray, str]:
    """Plain logistic fit by Newton's method: coefficients, information, words."""
    coefficients = np.zeros(X.shape[1])
    for _ in range(STEPS):
        eta = X @ coefficients
        chance = expit(eta)
        information = (X * (total * chance * (1 - chance))[:, None]).T @ X
        slope = X.T @ (wins - total * chance)
        errors = 1 / np.sqrt(np.maximum(np.diag(information), 1e-300))
        if np.abs(eta).max() > CERTAIN or not np.isfinite(eta).all():
            break
        step = np.linalg.lstsq(information, slope, rcond=None)[0]
        # one whole unit of log odds at a time keeps the early steps from overshooting
        step *= min(1.0, 4.0 / max(np.abs(X @ step).max(), 1e-300))
        coefficients = coefficients + step
        if step @ slope < 1e-14:
            return coefficients, information, ""
    runaway = np.flatnonzero((np.abs(coefficients) > 3) | (errors > 20))
    named = ", ".join(map(str, runaway)) or "none by itself"
    words = (
        f"separation: the answers fix a chance at 0 or 1; columns running away: {named}"
    )
    return coefficients, information, words


def _per_level(rows: Rows, start, groupings) -> np.ndarray:
    chance = expit(rows.X @ start)
    per = rows.crossing.spread(rows.cell_sums(rows.trials * chance * (1 - chance)))
    owner = rows.crossing.owner
    squares = np.bincount(owner, per**2, groupings)
    return squares / np.maximum(np.bincount(owner, per, groupings), 1e-300)
