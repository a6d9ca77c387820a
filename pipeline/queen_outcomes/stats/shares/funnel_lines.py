"""Lines of a funnel of failures over expected, by how many courses there are."""

from __future__ import annotations

import numpy as np

from queen_outcomes.stats.shares.funnel import binomial_limit

TAILS = {"low_998": 0.001, "low_95": 0.025, "high_95": 0.975, "high_998": 0.999}
MOST_SIZES = 60
"""Sizes at which a line is drawn at most."""


def funnel_lines(
    largest: int, share: float, tau2: float = 0.0
) -> list[dict[str, float]]:
    """Give exact limits of failures over expected for courses of one and the same risk.

    Parameters
    ----------
    largest : int
        Size up to which the lines go.
    share : float
        The risk: failures expected of all courses over the courses.
    tau2 : float
        Variance between operators of failures over expected; above 0 the limits are
        those of a normal distribution with that variance added.

    Returns
    -------
    list of dict
        ``size`` and the keys of `TAILS`; limits below 0 are given as 0.
    """
    if largest < 1 or not 0 < share < 1:
        return []
    sizes = np.unique(np.geomspace(1, largest, MOST_SIZES).round().astype(int))
    lines = {
        name: binomial_limit(tail, sizes, share) / share for name, tail in TAILS.items()
    }
    if tau2 > 0:
        spread = np.sqrt((1.0 - share) / (share * sizes) + tau2)
        reach = {"998": 3.090232306167814, "95": 1.959963984540054}
        lines = {
            name: 1.0
            + (1 if name[0] == "h" else -1) * reach[name.split("_")[1]] * spread
            for name in TAILS
        }
    return [
        {
            "size": int(size),
            **{
                name: round(max(float(line[at]), 0.0), 4)
                for name, line in lines.items()
            },
        }
        for at, size in enumerate(sizes)
    ]
