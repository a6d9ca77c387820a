"""Success against case number: the share of each stretch of an operator's cases.

Cases are numbered from an operator's first ever, those before the first record included.
Stretches double in length, as what is learnt at a case is less the more there were.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from queen_outcomes.audit.cases import Cases
from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.stats.shares.clustering import (
    batch_counts,
    clustered_share,
    effective_counts,
)
from queen_outcomes.stats.shares.proportions import wilson

Row = dict[str, Any]
FIRST_STRETCH = 25
"""Cases of the first stretch; the next is as long, and then each is twice as long."""


def numbered(cases: Cases, prior: Mapping[str, int]) -> np.ndarray:
    """Number each course among all that its operator ever did; NaN without an operator."""
    before = np.array([prior.get(name, 0) for name in cases.operator.tolist()], float)
    return cases.operator_case + before


def stretch_of(number: np.ndarray) -> np.ndarray:
    """Give the stretch of a case number: 0 for 1-25, 1 for 26-50, 2 for 51-100 ..."""
    past = np.maximum(np.ceil(number / FIRST_STRETCH), 1.0)
    return np.ceil(np.log2(past)).astype(int)


def stretch_ends(stretch: int) -> tuple[int, int]:
    """Give the first and last case number of a stretch."""
    last = FIRST_STRETCH * 2**stretch
    return (1 if stretch == 0 else last // 2 + 1), last


def experience_rows(cases: Cases, prior: Mapping[str, int], fewest: int) -> list[Row]:
    """Give each operator's stretches with a decided course.

    Parameters
    ----------
    cases : Cases
        With risks.
    prior : mapping of str to int
        Operators' cases before the first record.
    fewest : int
        Decided courses below which a stretch has counts only.

    Returns
    -------
    list of dict
        ``share`` succeeding, its Wilson limits on the number that the courses are
        worth (Rao-Scott by graft batch, never above it), and ``expected``: what
        the average hand would have had with the courses of known risk.
    """
    number = numbered(cases, prior)
    rows: list[Row] = []
    for name, own in cases.by_operator().items():
        decided = own[np.isfinite(cases.failed[own]) & np.isfinite(number[own])]
        stretches = stretch_of(number[decided])
        for stretch in np.unique(stretches).tolist():
            here = decided[stretches == stretch]
            rows.append(
                {
                    "operator": name,
                    **_ends(stretch, number[here]),
                    **_figures(cases.some(here), fewest),
                }
            )
    return rows


def _ends(stretch: int, numbers: np.ndarray) -> Row:
    first, last = stretch_ends(stretch)
    return {
        "from_case": first,
        "to_case": last,
        "middle": float(np.exp(np.log(numbers).mean())),
    }


def _figures(own: Cases, fewest: int) -> Row:
    courses, yes = len(own), float(len(own) - own.failed.sum())
    counts = {"courses": courses, "failures": int(own.failed.sum())}
    if courses < fewest:
        none = dict.fromkeys(("share", "low", "high", "expected"))
        return {**counts, **none, "shown": False}
    limits = wilson(*_worth(own))
    known = own.risk[np.isfinite(own.risk)]
    return {
        **counts,
        "share": yes / courses,
        "low": limits.low,
        "high": limits.high,
        "expected": float(1.0 - known.mean()) if len(known) else None,
        "shown": True,
    }


def _worth(own: Cases) -> tuple[float, float]:
    """Give successes and courses that these are worth; a course without a batch is one."""
    success, batch = 1.0 - own.failed, own_level(own.graft_batch)
    yes, n = batch_counts(success, batch)
    if (n == 1).all():  # no batch holds two: courses are what they are
        return float(yes.sum()), float(n.sum())
    return effective_counts(clustered_share(yes, n))
