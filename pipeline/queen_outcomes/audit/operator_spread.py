"""How much more operators differ than chance, once there are enough of them."""

from __future__ import annotations

from typing import Any

import numpy as np

from queen_outcomes.audit.cases import Cases
from queen_outcomes.stats.shares.funnel import adjusted_z, overdispersion

Row = dict[str, Any]
FEWEST = 20
"""Operators from which on the variance between them is worth estimating."""


def spread_rows(cases: Cases, fewest: int) -> list[Row]:
    """Give one row with phi and tau squared on the scale of observed over expected.

    Parameters
    ----------
    cases : Cases
        With risks.
    fewest : int
        Courses below which an operator takes no part.

    Returns
    -------
    list of dict
        Empty with fewer than `FEWEST` operators.
    """
    sums = []
    for own in cases.by_operator().values():
        rows = own[cases.counted[own]]
        if len(rows) >= max(fewest, 1):
            risk = cases.risk[rows]
            variance = (risk * (1.0 - risk)).sum()
            sums.append((cases.failed[rows].sum(), risk.sum(), variance))
    if len(sums) < FEWEST:
        return []
    compared = adjusted_z(*np.array(sums).T)
    found = overdispersion(compared.z, compared.s)
    return [{"operators": len(sums), "phi": found.phi, "tau2": found.tau2}]
