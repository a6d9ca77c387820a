"""Products of matrices and vectors, all by the one library that also factorises.

numpy and scipy each bring a BLAS with threads of its own, and idle threads spin: taking
turns between the two on few cores makes small products many times slower than one alone.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import blas


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
