"""Shifts the odds of some courses until as much is expected as was observed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import expit, logit


def odds_shift(
    logits: np.ndarray,
    observed: float,
    chance: Callable[[np.ndarray], np.ndarray] = expit,
) -> float:
    """Give what added to every log odds makes the expected number the observed.

    Parameters
    ----------
    logits : ndarray, shape (n,)
        Log odds of each course.
    observed : float
        0 to n; need not be whole.
    chance : callable
        Log odds -> chances, rising in them; an average over random intercepts, for one.

    Returns
    -------
    float
        Minus infinity with none observed, infinity with all.

    Notes
    -----
    Solves ``sum_i chance(logit_i + d) = observed`` for d by Brent's method, to 1e-13.
    """
    # here, not above: commands that read risks need no search, and load sooner
    from scipy.optimize import brentq

    if not 0 < observed < len(logits):
        return -np.inf if observed <= 0 else np.inf

    def excess(shift: float) -> float:
        return float(chance(logits + shift).sum() - observed)

    # every course's odds then lie on one side of the average's
    share = logit(observed / len(logits))
    low, high = share - logits.max() - 1e-6, share - logits.min() + 1e-6
    # chances averaged over intercepts rise less steeply, and their shift may lie beyond
    while excess(low) > 0.0:
        low -= 1.0 + abs(low)
    while excess(high) < 0.0:
        high += 1.0 + abs(high)
    return float(brentq(excess, low, high, xtol=1e-13, rtol=1e-14))
