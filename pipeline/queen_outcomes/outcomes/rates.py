"""Counts the outcomes by every grouping, with limits that allow for graft batches.

Reads courses and outcomes, writes course_groups, cluster_counts and rates.
"""

from __future__ import annotations

from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings

STEPS = ("course_groups", "cluster_counts", "rates")

Z_95 = 1.959963984540054
"""Standard normal quantile of two-sided 95 % limits."""


def count_rates(store: Store, settings: Settings) -> None:
    """Write the plain rates; see ``sql/05_rates/rates.sql`` for the formulas."""
    given = {"min_shown": settings.min_shown, "z": Z_95}
    for name in STEPS:
        store.step("05_rates", name, given)
    store.drop("cluster_counts")
