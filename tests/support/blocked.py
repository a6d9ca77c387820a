"""The difference of two arms over blocks, asked for in one call."""

from __future__ import annotations

from queen_outcomes.stats.shares.clustered_strata import BatchDifference, Blocked


def stratified_difference(yes, first, block, batch, level=0.95) -> BatchDifference:
    """Give the difference as `Blocked` pools it, of these answers alone."""
    return Blocked(first, block, batch).difference(yes, level)
