"""P values adjusted for being several.

A test that gave no P value (NaN) is not counted and stays NaN.
"""

from __future__ import annotations

import numpy as np


def holm(p) -> np.ndarray:
    """Adjust P values so that the chance of any false claim is held.

    Parameters
    ----------
    p : array_like, shape (m,)

    Returns
    -------
    ndarray, shape (m,)
        ``max over j <= i of min(1, (m - j + 1) p_(j))`` in ascending order of p.
        Holm S. Scand J Stat 1979;6:65-70.
    """
    p = np.asarray(p, float)
    order = _ascending(p)
    m = len(order)
    raised = np.minimum(1.0, p[order] * np.arange(m, 0, -1))
    return _back(np.maximum.accumulate(raised), order, p)


def benjamini_hochberg(p) -> np.ndarray:
    """Adjust P values so that the expected share of false claims is held.

    Parameters
    ----------
    p : array_like, shape (m,)

    Returns
    -------
    ndarray, shape (m,)
        ``min over j >= i of min(1, m p_(j) / j)`` in ascending order of p.
        Benjamini Y, Hochberg Y. JRSS B 1995;57:289-300.
    """
    p = np.asarray(p, float)
    order = _ascending(p)
    m = len(order)
    raised = np.minimum(1.0, p[order] * m / np.arange(1, m + 1))
    return _back(np.minimum.accumulate(raised[::-1])[::-1], order, p)


def _ascending(p: np.ndarray) -> np.ndarray:
    order = np.argsort(p, kind="stable")
    return order[~np.isnan(p[order])]


def _back(adjusted: np.ndarray, order: np.ndarray, p: np.ndarray) -> np.ndarray:
    out = np.full(len(p), np.nan)
    out[order] = adjusted
    return out
