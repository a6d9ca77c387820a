"""Which nucleus each queen goes to, and for how long it stays hers."""

from __future__ import annotations

import numpy as np

from demo.biology import Columns
from demo.fates import CODE, NEVER
from demo.truth import Truth


def place(truth: Truth, c: Columns, rng: np.random.Generator) -> Columns:
    """Days of placing and removal (from d0), nucleus number and its effect.

    ``placed`` is False for queens that died before they could be introduced;
    ``removed_day`` is NEVER while she is there.
    """
    n = len(c["d0"])
    day = rng.choice(3, size=n, p=[0.55, 0.35, 0.10])
    placed = (c["end_day"] >= day) & (c["watched_until"] >= day)
    removed = np.where(c["end_reason"] == CODE["none"], NEVER, c["watched_until"])
    removed = np.where(removed > 390, NEVER, removed)
    colony = _allot(c["d0"], day, removed, placed)
    effect = truth.pattern_colony_sd * rng.standard_normal(max(colony.max() + 1, 1))
    return {
        "placed_day": np.where(placed, day, NEVER),
        "placed": placed,
        "removed_day": removed,
        "colony": colony,
        "colony_effect": effect[colony],
    }


def _allot(
    d0: np.ndarray, placed_day: np.ndarray, removed_day: np.ndarray, used: np.ndarray
) -> np.ndarray:
    """Lowest free nuclei, day by day; one is free two days after removal."""
    start = d0.astype(int) + placed_day
    until = start - placed_day + removed_day + 2
    colony = np.zeros(len(d0), dtype=np.int64)
    free_on = np.zeros(0, dtype=np.int64)
    rows = np.flatnonzero(used)
    rows = rows[np.argsort(start[rows], kind="stable")]
    days, first = np.unique(start[rows], return_index=True)
    for day, today in zip(days, np.split(rows, first[1:]), strict=True):
        free = np.flatnonzero(free_on <= day)[: len(today)]
        short = len(today) - len(free)
        free = np.concatenate([free, np.arange(short) + len(free_on)])
        free_on = np.concatenate([free_on, np.zeros(short, dtype=np.int64)])
        colony[today] = free
        free_on[free] = until[today]
    return colony
