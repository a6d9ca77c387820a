"""Numbers that cannot be, refused by name: an engine never answers them with a number."""

from __future__ import annotations

import numpy as np

ROUNDING = 1e-9
"""Share of a count by which sums of decimals may pass it."""


def refuse_counts(yes, n) -> None:
    """Refuse counts that are no numbers, or more yes than courses.

    Parameters
    ----------
    yes, n : array_like
        Counts, which may be fractions.

    Raises
    ------
    ValueError
    """
    yes, n = np.asarray(yes, float), np.asarray(n, float)
    if not (np.isfinite(yes).all() and np.isfinite(n).all()):
        raise ValueError("a count is no number")
    slack = ROUNDING * np.maximum(np.abs(n), 1.0)
    if ((yes < -slack) | (yes > n + slack)).any():
        raise ValueError(f"{yes} of {n}: a number of yes lies outside 0 to the courses")


def refuse_chances(name: str, *chances) -> None:
    """Refuse chances outside 0 to 1; ``name`` says of what.

    Raises
    ------
    ValueError
    """
    for one in chances:
        values = np.asarray(one, float)
        if not ((values >= 0) & (values <= 1)).all():
            raise ValueError(f"{name} lies outside 0 to 1: {values}")


def refuse_margin(margin) -> None:
    """Refuse a difference of shares that no two shares have.

    Raises
    ------
    ValueError
    """
    if not (np.abs(np.asarray(margin, float)) <= 1).all():
        raise ValueError(f"a difference of shares of {margin} lies outside -1 to 1")
