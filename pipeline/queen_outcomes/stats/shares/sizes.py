"""How many decided courses an arm needs, and what power a number has.

Numbers are fractions, as the formulas give them: rounding up is the last step of a plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from queen_outcomes.stats.shares.score_limits import restricted_shares


@dataclass(frozen=True)
class Size:
    """Decided courses of the first and the second arm, as if independent.

    Infinite where no number would do, with the reason.
    """

    first: float
    second: float
    message: str = ""

    @property
    def whole(self) -> tuple[int, int]:
        """Both rounded up."""
        return round_up(self.first), round_up(self.second)


def round_up(number: float) -> int:
    """Round up, but not for the last digit of a computed whole number."""
    return int(np.ceil(number - 1e-9))


def superiority_size(
    p1: float,
    p2: float,
    *,
    alpha: float = 0.05,
    power: float = 0.8,
    ratio: float = 1.0,
    continuity: bool = False,
) -> Size:
    """Give the size for a difference of two shares, tested two-sided.

    Parameters
    ----------
    p1, p2 : float
        Shares expected.
    alpha, power : float
    ratio : float
        Courses of the second arm for one of the first.
    continuity : bool
        For the test with continuity correction.

    Returns
    -------
    Size

    Notes
    -----
    ``[z_a sqrt((r+1)PQ) + z_b sqrt(r p1 q1 + p2 q2)]^2 / (r d^2)``, ``P`` the shares'
    mean; with correction ``m/4 [1 + sqrt(1 + 2(r+1)/(r m |d|))]^2``. Fleiss JL, Tytun A,
    Ury HK. Biometrics 1980;36:343-346.
    """
    if not (_shares(p1, p2) and p1 != p2):
        return Size(np.inf, np.inf, "no difference to find")
    r, gap = ratio, abs(p1 - p2)
    pooled, apart = _spreads(p1, p2, r)
    m = (norm.isf(alpha / 2) * pooled + norm.ppf(power) * apart) ** 2 / (r * gap**2)
    if continuity:
        m = m / 4 * (1 + np.sqrt(1 + 2 * (r + 1) / (r * m * gap))) ** 2
    return Size(float(m), float(r * m))


def margin_size(
    p1: float,
    p2: float,
    d0: float,
    *,
    alpha: float = 0.025,
    power: float = 0.8,
    ratio: float = 1.0,
) -> Size:
    """Give the size to show that the first share exceeds the second by more than d0.

    Parameters
    ----------
    p1, p2 : float
        Shares expected.
    d0 : float
        Minus the margin for "not worse"; the test is Farrington and Manning's.
    alpha, power : float
        One-sided alpha.
    ratio : float
        Courses of the second arm for one of the first.

    Returns
    -------
    Size

    Notes
    -----
    ``[z_a sqrt(P1 Q1 + P2 Q2 / r) + z_b sqrt(p1 q1 + p2 q2 / r)]^2 / (p1 - p2 - d0)^2``
    with P the limits of the restricted shares. Farrington CP, Manning G. Stat Med
    1990;9:1447-1454.
    """
    if not (_shares(p1, p2) and p1 - p2 > d0):
        return Size(np.inf, np.inf, "the shares expected do not lie above the margin")
    null, true = _margin_spreads(p1, p2, d0, ratio)
    sum_of_both = norm.isf(alpha) * null + norm.ppf(power) * true
    n1 = (sum_of_both / (p1 - p2 - d0)) ** 2
    return Size(float(n1), float(ratio * n1))


def _shares(*shares: float) -> bool:
    return all(0 <= p <= 1 for p in shares)


def _spreads(p1: float, p2: float, r: float) -> tuple[float, float]:
    """Deviations without and with a difference, in the formula's units."""
    mean = (p1 + r * p2) / (1 + r)
    pooled = np.sqrt((r + 1) * mean * (1 - mean))
    return pooled, np.sqrt(r * p1 * (1 - p1) + p2 * (1 - p2))


def _margin_spreads(p1: float, p2: float, d0: float, r: float) -> tuple[float, float]:
    P1, P2 = (float(p) for p in restricted_shares(p1, 1.0, r * p2, r, d0))
    null = np.sqrt(P1 * (1 - P1) + P2 * (1 - P2) / r)
    return null, np.sqrt(p1 * (1 - p1) + p2 * (1 - p2) / r)
