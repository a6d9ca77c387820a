"""Restricted cubic splines: cubic between the knots, a line beyond the outer ones.

Knots are found once and handed on; a basis for new values never learns its own.
"""

from __future__ import annotations

import numpy as np

QUANTILES = {
    3: (0.10, 0.50, 0.90),
    4: (0.05, 0.35, 0.65, 0.95),
    5: (0.05, 0.275, 0.50, 0.725, 0.95),
    6: (0.05, 0.23, 0.41, 0.59, 0.77, 0.95),
    7: (0.025, 0.1833, 0.3417, 0.50, 0.6583, 0.8167, 0.975),
}
"""Where the knots sit by default: Harrell FE, Regression Modeling Strategies, 2.4.6."""


def rcs_knots(x, k: int = 4) -> np.ndarray:
    """Choose knots from the values at hand.

    Parameters
    ----------
    x : array_like, shape (n,)
        Missing values (NaN) are passed over.
    k : int
        3 to 7.

    Returns
    -------
    ndarray, shape (k,), (fewer,) or (0,)
        Ascending. Where values tie so much that two knots fall together, fewer knots
        are tried; empty when not even three differ: then a line is all there is.

    Notes
    -----
    Quantiles by linear interpolation; under 100 values the outer knots are the fifth
    smallest and the fifth largest value.
    """
    if k not in QUANTILES:
        raise ValueError(f"knots must number 3 to 7, not {k}")
    x = np.asarray(x, float)
    x = np.sort(x[np.isfinite(x)])
    if len(x) < 10:
        return np.empty(0)
    for number in range(k, 2, -1):
        knots = np.quantile(x, QUANTILES[number])
        if len(x) < 100:
            knots[0], knots[-1] = x[4], x[-5]
        if np.all(np.diff(knots) > 0):
            return knots
    return np.empty(0)


def rcs_basis(x, knots) -> np.ndarray:
    """Give the columns of a restricted cubic spline.

    Parameters
    ----------
    x : array_like, shape (n,)
        NaN gives a row of NaN.
    knots : array_like, shape (k,)
        Ascending; fewer than 3 give x alone.

    Returns
    -------
    ndarray, shape (n, k - 1)
        x, then for j = 1..k-2, with (.)+ the positive part::

            [(x-tj)+^3 - (x-tk1)+^3 (tk-tj)/(tk-tk1) + (x-tk)+^3 (tk1-tj)/(tk-tk1)]
            / (tk-t1)^2

        tk and tk1 being the last and the last but one knot. Divided so, every column
        has the unit of x. Harrell FE, Regression Modeling Strategies, 2.4.4; the same
        as ``Hmisc::rcspline.eval``.
    """
    x, t = np.asarray(x, float), np.asarray(knots, float)
    if len(t) < 3:
        return x[:, None].copy()
    width, last = t[-1] - t[0], t[-1] - t[-2]
    with np.errstate(
        over="ignore", invalid="ignore"
    ):  # an absurd x: not finite, as it is
        above = np.maximum(x - t[:, None], 0.0) / width
        cubes = above * above * above * width  # a power takes far longer
        parts = (t[-1] - t[:-2]) / last, (t[-2] - t[:-2]) / last
        inner = cubes[:-2] - np.outer(parts[0], cubes[-2])
        inner += np.outer(parts[1], cubes[-1])
    return np.concatenate([x[None], inner]).T
