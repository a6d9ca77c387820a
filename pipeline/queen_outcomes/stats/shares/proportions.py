"""Limits for a share and for the difference of two shares, from counts.

Score limits only: the textbook limits (estimate plus or minus 1.96 standard errors)
fail for small counts and are not offered.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm


@dataclass(frozen=True)
class Interval:
    """An estimate with its limits; the estimate is NaN where there is none."""

    estimate: float
    low: float
    high: float


def wilson(yes: float, n: float, level: float = 0.95) -> Interval:
    """Give a share with Wilson's limits.

    ``(x + z^2/2 -+ z sqrt(z^2/4 + n p q)) / (n + z^2)``. Newcombe RG. Stat Med
    1998;17:857-872, method 3. Counts may be fractions (an effective number);
    with none the limits are 0 and 1.
    """
    if not n > 0:
        return Interval(np.nan, 0.0, 1.0)
    z = norm.isf((1 - level) / 2)
    p = yes / n
    middle, arm = yes + z * z / 2, z * np.sqrt(z * z / 4 + n * p * (1 - p))
    low = 0.0 if yes <= 0 else (middle - arm) / (n + z * z)
    high = 1.0 if yes >= n else (middle + arm) / (n + z * z)
    return Interval(float(p), float(low), float(high))


def newcombe_difference(
    yes1: float, n1: float, yes2: float, n2: float, level: float = 0.95
) -> Interval:
    """Give the difference of two independent shares, first minus second.

    ``d - sqrt((p1-l1)^2 + (u2-p2)^2)`` to ``d + sqrt((u1-p1)^2 + (p2-l2)^2)`` with l
    and u Wilson's limits. Newcombe RG. Stat Med 1998;17:873-890, method 10.
    Without courses in an arm the limits are -1 and 1.
    """
    one, two = wilson(yes1, n1, level), wilson(yes2, n2, level)
    d = one.estimate - two.estimate
    if not np.isfinite(d):
        return Interval(np.nan, -1.0, 1.0)
    below = np.hypot(one.estimate - one.low, two.high - two.estimate)
    above = np.hypot(one.high - one.estimate, two.estimate - two.low)
    return Interval(d, float(max(d - below, -1.0)), float(min(d + above, 1.0)))


def difference_bounds(
    arm1: tuple[int, int, int], arm2: tuple[int, int, int]
) -> Interval:
    """Give a difference of shares and what the unseen could make of it.

    Parameters
    ----------
    arm1, arm2 : tuple of int
        Yes among the seen, seen, unseen.

    Returns
    -------
    Interval
        ``estimate`` among the seen; ``low`` with every unseen of the first arm a no
        and every unseen of the second a yes, ``high`` the other way round. These are
        bounds, not confidence limits.
    """
    (yes1, seen1, lost1), (yes2, seen2, lost2) = arm1, arm2
    all1, all2 = seen1 + lost1, seen2 + lost2
    if not (all1 and all2):
        return Interval(np.nan, -1.0, 1.0)
    seen = yes1 / seen1 - yes2 / seen2 if seen1 and seen2 else np.nan
    low = yes1 / all1 - (yes2 + lost2) / all2
    high = (yes1 + lost1) / all1 - yes2 / all2
    return Interval(seen, low, high)
