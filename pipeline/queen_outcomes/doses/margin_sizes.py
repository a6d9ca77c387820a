"""How many queens an arm a margin would need, from the station's own figures.

A figure to choose a margin by, before one is stated; a plan goes into more.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.stats.shares.clustering import batch_counts, icc_of_counts
from queen_outcomes.stats.shares.planning import (
    POWER,
    arm_plan,
    design_effect,
    margin_size,
)

MARGINS = (0.05, 0.10, 0.15)


def margins_needed(success: np.ndarray, batch: np.ndarray) -> list[dict[str, Any]]:
    """Give the queens an arm with which "not worse" would be seen for some margins.

    Parameters
    ----------
    success : ndarray, shape (n,)
        Of the closed courses, 1, 0, or NaN: not settled.
    batch : ndarray of str, shape (n,)
        Graft batch; empty: not recorded.

    Returns
    -------
    list of dict
        margin, queens_alone (as if independent), queens (whole batches to one arm);
        both None where no number would do. For arms that are equally good at the
        station's own share, with a chance of 80 %. Empty where all decided courses
        answered alike.
    """
    settled = np.isfinite(success)
    if not settled.any():
        return []
    yes, n = batch_counts(success[settled], own_level(batch)[settled])
    share, alike = float(yes.sum() / n.sum()), icc_of_counts(yes, n)
    if not 0 < share < 1:
        return []
    icc = alike.for_planning if np.isfinite(alike.icc) else 0.0
    effect = design_effect(alike.mean_size, icc, alike.cv)
    rows = []
    for margin in MARGINS:
        size = margin_size(share, share, -margin, power=POWER).first
        decided = float(settled.mean())
        plans = [arm_plan(size, 1.0, e, decided) for e in (1.0, effect)]
        alone, whole = (plan.queens or None for plan in plans)
        rows.append({"margin": margin, "queens_alone": alone, "queens": whole})
    return rows
