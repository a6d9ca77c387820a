"""Cholesky factor and selected inverse of a sparse matrix shaped like an arrow.

The unknowns are put in an order (reverse Cuthill-McKee) in which every entry lies in a
block of the diagonal, in the block below it, or in a border of the few unknowns that
meet nearly all others. All work is then on dense blocks; one block is a dense matrix.
It knows nothing of models, and does not pivot: the matrix must be positive definite.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import blas, lapack
from scipy.sparse import csr_array
from scipy.sparse.csgraph import reverse_cuthill_mckee


def dot(left: np.ndarray, right: np.ndarray) -> float:
    """Inner product of two vectors."""
    return float(blas.ddot(left, right)) if len(left) else 0.0


def times(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Product of two matrices, or of a matrix and a vector; empty ones give zeros."""
    if not left.size or not right.size:
        return np.zeros(left.shape[:1] + right.shape[1:])
    matrix, turned = _columns_first(left)
    if right.ndim == 1:
        return blas.dgemv(1.0, matrix, right, trans=turned)
    other, also_turned = _columns_first(right)
    return blas.dgemm(1.0, matrix, other, trans_a=turned, trans_b=also_turned)


def _columns_first(matrix: np.ndarray) -> tuple[np.ndarray, int]:
    """Give the memory as it lies, and whether it has to be read turned."""
    return (matrix.T, 1) if matrix.flags.c_contiguous else (matrix, 0)


DENSE_UP_TO = 400
"""Unknowns up to which ordering costs more than it saves."""
SMALLEST_BLOCK = 60
"""Below this, calls cost more than arithmetic."""
BORDER_DEGREES = (2.0, 4.0, 12.0)
"""Multiples of the median degree above which an unknown may go to the border."""


@dataclass(frozen=True)
class ArrowLayout:
    """Where the lower triangle of an (m, m) arrow lies in one flat array.

    Attributes
    ----------
    place : ndarray of int, shape (m,)
        Position of each unknown in the order used; the border comes last.
    edges : ndarray of int, shape (blocks + 1,)
        Where each block of the inner unknowns begins.
    border : int
        How many unknowns stand in the border.
    diagonal, below : ndarray of int
        Where each diagonal block, and each block below it, begins in the flat array.
    fringe : int
        Where the border's rows, each m long, begin.
    size : int
        Length of the flat array.
    """

    place: np.ndarray
    edges: np.ndarray
    border: int
    diagonal: np.ndarray
    below: np.ndarray
    fringe: int
    size: int

    @property
    def unknowns(self) -> int:
        """How many rows the matrix has."""
        return len(self.place)

    @property
    def blocks(self) -> int:
        """How many blocks the diagonal has, the border apart."""
        return len(self.edges) - 1

    def locate(self, one: np.ndarray, other: np.ndarray) -> np.ndarray:
        """Flat places of entries given by positions (in the order used), either way."""
        row, column = np.maximum(one, other), np.minimum(one, other)
        inner = self.edges[-1]
        block_of = np.zeros(self.unknowns + 1, dtype=np.intp)
        block_of[:inner] = np.repeat(np.arange(self.blocks), np.diff(self.edges))
        first = np.append(self.edges[:-1], 0)[block_of]
        width = np.append(np.diff(self.edges), 0)[block_of]
        down = block_of[row] - block_of[column]
        start = np.where(
            down == 0,
            np.append(self.diagonal, 0)[block_of[column]],
            np.append(self.below, [0, 0])[block_of[column]],
        )
        inside = start + (row - first[row]) * width[column] + column - first[column]
        on_fringe = self.fringe + (row - inner) * self.unknowns + column
        return np.where(row >= inner, on_fringe, inside).astype(np.intp)

    def diagonal_block(self, flat: np.ndarray, number: int) -> np.ndarray:
        """View of a diagonal block."""
        size = self.edges[number + 1] - self.edges[number]
        start = self.diagonal[number]
        return flat[start : start + size * size].reshape(size, size)

    def block_below(self, flat: np.ndarray, number: int) -> np.ndarray:
        """View of the block below a diagonal block."""
        high = self.edges[number + 2] - self.edges[number + 1]
        wide = self.edges[number + 1] - self.edges[number]
        start = self.below[number]
        return flat[start : start + high * wide].reshape(high, wide)

    def border_rows(self, flat: np.ndarray) -> np.ndarray:
        """View of the border's rows, shape (border, m)."""
        return flat[self.fringe :].reshape(self.border, self.unknowns)


def plan(pattern: csr_array) -> ArrowLayout:
    """Choose of a few orders for a symmetric pattern the one that keeps fewest entries.

    Parameters
    ----------
    pattern : csr_array, shape (m, m)
        Nonzero wherever the matrix may be.

    Returns
    -------
    ArrowLayout
        One dense block where nothing else is smaller.
    """
    unknowns = pattern.shape[0]
    edges = np.array([0, unknowns] if unknowns else [0])
    best = _layout(np.arange(unknowns), edges, 0)
    if unknowns <= DENSE_UP_TO:
        return best
    degrees = np.diff(pattern.indptr)
    limits = [np.inf, *(times * np.median(degrees) for times in BORDER_DEGREES)]
    for limit in limits:
        on_border = degrees > limit
        if on_border.sum() < unknowns / 2:
            found = _ordered(pattern, on_border)
            best = min(best, found, key=lambda layout: layout.size)
    return best


def _ordered(pattern: csr_array, on_border: np.ndarray) -> ArrowLayout:
    inner, outer = np.flatnonzero(~on_border), np.flatnonzero(on_border)
    part = csr_array(pattern[inner][:, inner])
    order = reverse_cuthill_mckee(part, symmetric_mode=True)
    place = np.empty(len(inner), dtype=np.intp)
    place[order] = np.arange(len(inner))
    rows = np.repeat(place, np.diff(part.indptr))
    reach = np.arange(len(inner))
    np.maximum.at(reach, rows, place[part.indices])
    edges = _edges(np.maximum.accumulate(reach))
    places = np.empty(len(on_border), dtype=np.intp)
    places[inner[order]] = np.arange(len(inner))
    places[outer] = np.arange(len(inner), len(on_border))
    return _layout(places, edges, len(outer))


def _edges(reach: np.ndarray) -> np.ndarray:
    """Cut so that no entry reaches past the block after its own."""
    edges, last = [0], len(reach)
    while edges[-1] < last:
        least = edges[-1] + SMALLEST_BLOCK
        needed = reach[edges[-1] - 1] + 1 if edges[-1] else 0
        edges.append(min(last, max(least, needed)))
    return np.array(edges)


def _layout(place: np.ndarray, edges: np.ndarray, border: int) -> ArrowLayout:
    sizes = np.diff(edges)
    squares, steps = sizes**2, sizes[1:] * sizes[:-1]
    diagonal = np.cumsum(squares) - squares
    below = squares.sum() + np.cumsum(steps) - steps
    fringe = int(squares.sum() + steps.sum())
    size = fringe + border * len(place)
    return ArrowLayout(place, edges, border, diagonal, below, fringe, size)


class Factor:
    """Cholesky factor of an arrow.

    Parameters
    ----------
    layout : ArrowLayout
        Its shape.
    flat : ndarray, shape (layout.size,)
        Its lower triangle; it is left as it was.

    Raises
    ------
    numpy.linalg.LinAlgError
        When the matrix is not positive definite or holds what is no number.

    Notes
    -----
    With blocks A_k, B_k below them and border rows R_k: L_k L_k' = A_k - C_k C_k',
    C_(k+1) = B_k L_k^-T, U_k = L_k^-1 (R_k' - C_k U_(k-1)). The inverse at the places
    of the arrow follows backwards (Takahashi, Fagan and Chen 1973; Erisman and Tinney,
    Communications of the ACM 1975;18:177-179) without the rest of it.
    """

    def __init__(self, layout: ArrowLayout, flat: np.ndarray):
        self.layout = layout
        self.roots: list[np.ndarray] = []
        self.links: list[np.ndarray] = []
        rows = layout.border_rows(flat)
        edges, inner = layout.edges, layout.edges[-1]
        self.arms = np.ascontiguousarray(rows[:, :inner].T)
        for k in range(layout.blocks):
            block = layout.diagonal_block(flat, k)
            arm = self.arm(k)
            if k:
                link = _right_solve(self.roots[-1], layout.block_below(flat, k - 1))
                self.links.append(link)
                block = block - times(link, link.T)
                arm = arm - times(link, self.arm(k - 1))
            self.roots.append(_root(block))
            self.arms[edges[k] : edges[k + 1]] = _left_solve(self.roots[-1], arm)
        self.corner = _root(rows[:, inner:] - times(self.arms.T, self.arms))
        roots = [*self.roots, self.corner]
        self.log_determinant = 2 * sum(np.log(np.diag(root)).sum() for root in roots)
        if not np.isfinite(self.log_determinant):
            raise np.linalg.LinAlgError("the matrix holds what is no number")

    def arm(self, number: int) -> np.ndarray:
        """View of what stands between a block and the border, (block, border)."""
        edges = self.layout.edges
        return self.arms[edges[number] : edges[number + 1]]

    def solve(self, right: np.ndarray) -> np.ndarray:
        """Solve for one right-hand side, shape (m,), or several, (m, k), in the order used."""
        edges, blocks = self.layout.edges, self.layout.blocks
        out = right.copy()
        tail = out[edges[-1] :]
        for k in range(blocks):
            part = out[edges[k] : edges[k + 1]]
            if k:
                part -= times(self.links[k - 1], out[edges[k - 1] : edges[k]])
            part[:] = _left_solve(self.roots[k], part)
        if len(tail):
            tail -= times(self.arms.T, out[: edges[-1]])
            half = _left_solve(self.corner, tail)
            tail[:] = _left_solve(self.corner, half, transposed=True)
            out[: edges[-1]] -= times(self.arms, tail)
        for k in reversed(range(blocks)):
            part = out[edges[k] : edges[k + 1]]
            if k + 1 < blocks:
                part -= times(self.links[k].T, out[edges[k + 1] : edges[k + 2]])
            part[:] = _left_solve(self.roots[k], part, transposed=True)
        return out

    def inverse(self) -> np.ndarray:
        """Entries of the inverse at the layout's places, as one flat array."""
        layout, edges = self.layout, self.layout.edges
        out = np.zeros(layout.size)
        corner = _inverse(self.corner)
        beside = np.empty_like(self.arms)  # what stands in the border's rows, turned
        for k in reversed(range(layout.blocks)):
            root, own = self.roots[k], slice(edges[k], edges[k + 1])
            block = _inverse(root)
            arm = _left_solve(root, self.arm(k), transposed=True)
            beside[own] = -times(arm, corner)
            if k + 1 < layout.blocks:
                link = _right_solve(root, self.links[k], transposed=True)
                after = beside[edges[k + 1] : edges[k + 2]]
                beside[own] -= times(link.T, after)
                step = times(layout.diagonal_block(out, k + 1), link)
                step += times(after, arm.T)
                layout.block_below(out, k)[:] = -step
                block += times(link.T, step)
            block -= times(arm, beside[own].T)
            layout.diagonal_block(out, k)[:] = block
        rows = layout.border_rows(out)
        rows[:, : edges[-1]] = beside.T
        rows[:, edges[-1] :] = corner
        return out


def _root(block: np.ndarray) -> np.ndarray:
    """Lower Cholesky factor, rows first."""
    if block.size == 0:
        return block.copy()
    upper, fault = lapack.dpotrf(block.T, lower=0, clean=1)
    if fault:
        raise np.linalg.LinAlgError("the matrix is not positive definite")
    return upper.T


def _left_solve(root, right, *, transposed=False):
    """Find X with root X = right, or with root' X = right when transposed.

    Rows lie first in all of them, which LAPACK reads as the transposed equation.
    """
    if right.size == 0:
        return right
    if right.ndim == 1:
        return blas.dtrsv(root.T, right, lower=0, trans=0 if transposed else 1)
    other = right.T if right.flags.c_contiguous else np.ascontiguousarray(right).T
    return blas.dtrsm(1.0, root.T, other, side=1, trans_a=1 if transposed else 0).T


def _right_solve(root, left, *, transposed=False):
    """Find X with X root' = left, or with X root = left when transposed."""
    if left.size == 0:
        return left
    other = left if left.flags.f_contiguous else np.asfortranarray(left)
    return blas.dtrsm(1.0, root.T, other, side=1, trans_a=1 if transposed else 0)


def _inverse(root: np.ndarray) -> np.ndarray:
    if root.size == 0:
        return root.copy()
    half, _ = lapack.dpotri(root.T, lower=0)
    half = half.T  # its lower triangle holds; the other is what stood there
    lower = np.tril(half)
    return lower + np.tril(lower, -1).T
