"""Upper tails of the distributions that tests and limits lean on, and the points they begin at.

`scipy.stats` gives the same numbers from the same functions, but its import takes longer than
most commands do.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import chdtrc, chdtri, fdtrc, ndtr, ndtri, stdtr, stdtrit

Numbers = Any
"""A number, or an array of any shape; results have that shape. Outside of where a
distribution is defined the result is nan."""


def norm_sf(x: Numbers) -> Numbers:
    """Give P(Z > x) of a standard normal Z."""
    return ndtr(-np.asarray(x))


def norm_isf(p: Numbers) -> Numbers:
    """Give the x with P(Z > x) = p of a standard normal Z."""
    return -ndtri(p)


def t_sf(x: Numbers, df: Numbers) -> Numbers:
    """Give P(T > x) of Student's T with ``df`` degrees of freedom, whole or not."""
    return stdtr(df, -np.asarray(x))


def t_isf(p: Numbers, df: Numbers) -> Numbers:
    """Give the x with P(T > x) = p, 0 < p < 1, of Student's T."""
    return -stdtrit(df, p)


def chi2_sf(x: Numbers, df: Numbers) -> Numbers:
    """Give P(X > x) of a chi-squared X; 1 for a statistic that rounding put below 0."""
    return np.where(np.asarray(df) > 0, chdtrc(df, np.maximum(x, 0.0)), np.nan)


def chi2_isf(p: Numbers, df: Numbers) -> Numbers:
    """Give the x with P(X > x) = p of a chi-squared X."""
    return chdtri(df, p)


def f_sf(x: Numbers, df: Numbers, df_below: Numbers) -> Numbers:
    """Give P(F > x), x >= 0, of an F with ``df`` over ``df_below`` degrees of freedom."""
    return fdtrc(df, df_below, x)
