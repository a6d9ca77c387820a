"""The difference of two arms without a model: of all courses, and within blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.facts.dose_words import counted
from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.stats.shares.clustered_strata import stratified_difference
from queen_outcomes.stats.shares.clustering import (
    batch_counts,
    clustered_share,
    effective_counts,
)
from queen_outcomes.stats.shares.proportions import (
    Interval,
    difference_bounds,
    newcombe_difference,
    score_limits,
    score_test,
)
from queen_outcomes.stats.shares.strata import breslow_day_test, risk_ratio

UNADJUSTED, STRATIFIED, ADJUSTED = "unadjusted", "stratified", "adjusted"
NOTHING = Interval(np.nan, np.nan, np.nan)


@dataclass(frozen=True)
class Difference:
    """The difference of success, an arm minus the reference, by one method.

    Attributes
    ----------
    method : str
    estimate, low, high : float
        Above 0: the arm succeeds more often. NaN where there is none.
    p : float
        Two-sided, of no difference: the test of the limits.
    p_margin : float
        One-sided, of being worse by the margin or more; NaN without a margin.
    ratio : float
        Of the shares of success.
    newcombe : Interval
        Newcombe's limits, beside those of the score test.
    unseen : Interval
        What the undecided and those that left could make of it: bounds, no limits.
    homogeneity_p : float
        Breslow and Day's, of the same odds ratio in every block.
    said : str
        What to know, or why there is none.
    """

    method: str
    estimate: float = np.nan
    low: float = np.nan
    high: float = np.nan
    p: float = np.nan
    p_margin: float = np.nan
    ratio: float = np.nan
    newcombe: Interval = NOTHING
    unseen: Interval = NOTHING
    homogeneity_p: float = np.nan
    said: str = ""


@dataclass(frozen=True, eq=False)
class Pair:
    """The closed courses of an arm and of the reference; shape (n,).

    ``success`` is 1, 0 or NaN (not settled); ``first`` is true in the arm; a missing
    batch or block is an empty text. ``level`` is that of limits, ``margin`` may be None.
    """

    success: np.ndarray
    first: np.ndarray
    batch: np.ndarray
    block: np.ndarray
    level: float
    margin: float | None

    @property
    def decided(self) -> np.ndarray:
        """Tell which courses the records settle."""
        return np.isfinite(self.success)

    @property
    def clusters(self) -> np.ndarray:
        """Codes of the graft batches; a course without one stands alone."""
        return own_level(self.batch)


def unadjusted(pair: Pair) -> Difference:
    """Compare the two arms as they are, on the number of courses that batches leave.

    Score limits, whose test gives P (Farrington and Manning's against a margin), and
    Newcombe's beside them.
    """
    counts, seen = [], []
    clusters = pair.clusters
    for arm in (pair.first, ~pair.first):
        own = arm & pair.decided
        yes, n = batch_counts(pair.success[own], clusters[own])
        counts += effective_counts(clustered_share(yes, n))
        seen.append((int(yes.sum()), int(n.sum()), int((arm & ~pair.decided).sum())))
    limits = score_limits(*counts, pair.level)
    margin = pair.margin
    over = np.nan if margin is None else score_test(*counts, -margin).p_above
    (yes1, n1, _), (yes2, n2, _) = seen
    ratio = (yes1 / n1) / (yes2 / n2) if n1 and n2 and yes2 else np.nan
    return Difference(
        *(UNADJUSTED, limits.estimate, limits.low, limits.high),
        *(score_test(*counts, 0.0).p, over, ratio),
        newcombe_difference(*counts, pair.level),
        difference_bounds(*seen),
        said="" if n1 and n2 else "no decided course in one of the arms",
    )


def stratified(pair: Pair, *, by_lot: bool) -> Difference:
    """Pool the difference over blocks; over graft batches where there are no blocks.

    Parameters
    ----------
    pair : Pair
    by_lot : bool
        Blocks of a trial are recorded; a course without a block compares nothing.
    """
    clusters = pair.clusters
    kept = pair.decided & ((pair.block != "") if by_lot else (pair.batch != ""))
    block = pair.block if by_lot else clusters
    over = "block" if by_lot else "graft batch"
    many = "blocks" if by_lot else "graft batches"
    if not kept.any():
        return Difference(STRATIFIED, said=f"no {many} are recorded")
    given = (pair.success[kept], pair.first[kept], block[kept], clusters[kept])
    found = stratified_difference(*given, pair.level)
    if found.method == "none":
        empty = not len(found.strata.n)
        why = f"no {over} holds both arms" if empty else found.message
        return Difference(STRATIFIED, said=why)
    out = found.left_out + int((pair.decided & ~kept).sum())
    blocks = len(found.strata.n)
    hold = "holds" if blocks == 1 else "hold"
    said = f"over {counted(blocks, over, many)} that {hold} both arms"
    if out:
        said += f"; {counted(out, 'decided course')} in none of them"
    if found.message:
        said += f"; {found.message}"
    margin = pair.margin
    return Difference(
        *(STRATIFIED, found.estimate, found.low, found.high, found.p()),
        np.nan if margin is None else found.p_above(-margin),
        risk_ratio(found.strata),
        homogeneity_p=breslow_day_test(found.strata).p,
        said=said,
    )
