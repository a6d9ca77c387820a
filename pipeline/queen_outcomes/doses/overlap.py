"""Do two arms meet at all: in the same hands, lines, seasons and graft batches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.models.adjusted_factors import LEAST_OVERLAP
from queen_outcomes.models.choose import is_between
from queen_outcomes.models.terms import Values

SHARED = {
    "operator": "operators",
    "line": "lines",
    "year": "seasons",
    "graft_batch": "graft batches",
}
"""Where courses of both arms are looked for, and how it is called."""


@dataclass(frozen=True)
class Overlap:
    """How far two arms share what goes with them.

    Attributes
    ----------
    shares : dict of str to float
        Grouping -> share of the two arms' courses that lie in levels with both arms.
    whole_batches : int
        Batches of the arm with fewer of them, where every batch stood in one arm; -1
        where batches hold both.
    """

    shares: dict[str, float]
    whole_batches: int

    @property
    def least(self) -> float:
        """The smallest of the shares; 1 where nothing is recorded to ask."""
        return min(self.shares.values(), default=1.0)

    @property
    def apart(self) -> str:
        """Say why the two cannot be told apart; empty when they can."""
        short = [SHARED[name] for name, x in self.shares.items() if x < LEAST_OVERLAP]
        if short:
            return f"cannot be told apart: they hardly share {' and '.join(short)}"
        if 0 <= self.whole_batches < 2:
            return (
                "cannot be told apart: every graft batch stood in one arm, and one of "
                "the arms had a single batch"
            )
        return ""


def find_overlap(values: Values, first: np.ndarray, second: np.ndarray) -> Overlap:
    """Look where the courses of two arms lie.

    Parameters
    ----------
    values : mapping of str to ndarray, shape (n,)
    first, second : ndarray of bool, shape (n,)

    Returns
    -------
    Overlap
        A grouping that is not recorded for any course is not asked. Where every batch
        stood in one arm, arms are compared between batches, so batches are not asked.
    """
    shares: dict[str, float] = {}
    chosen = first | second
    arm = np.where(first, "first", "second")[chosen]
    batch = values["graft_batch"][chosen]
    kept = batch != ""
    between = is_between(arm, batch)
    for name in SHARED:
        group = values[name]
        known = chosen & (group != "")
        if not known.any() or (name == "graft_batch" and between):
            continue
        code = np.unique(group, return_inverse=True)[1]
        both = (np.bincount(code, first) > 0) & (np.bincount(code, second) > 0)
        shares[name] = float(both[code[known]].mean())
    fewest = -1
    if between and len(np.unique(batch[kept])) < kept.sum():
        arms = [arm[kept] == name for name in ("first", "second")]
        fewest = min(len(np.unique(batch[kept][one])) for one in arms)
    return Overlap(shares, fewest)
