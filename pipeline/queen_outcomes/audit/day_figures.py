"""Failures by day of insemination against what was expected of the day's courses.

A day is measured by chance alone, so that a bad batch or bad weather is to be seen; the
limits are exact.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from queen_outcomes.audit.batch_figures import OUTSIDE
from queen_outcomes.audit.cases import Cases
from queen_outcomes.stats.shares.poisson_binomial import independent_counts

Row = dict[str, Any]
TAIL = 0.025


def day_rows(cases: Cases) -> list[Row]:
    """Give a row for every day 0 with a decided course of known risk.

    Parameters
    ----------
    cases : Cases
        With risks.

    Returns
    -------
    list of dict
        ``low`` and ``high``: the failures that chance gives on 95 of 100 such days or
        more; ``flag``: more or fewer, outside what it gives on 998 of 1,000.
    """
    counted = cases.some(np.flatnonzero(cases.counted))
    order = np.argsort(counted.d0, kind="stable")
    days, starts = np.unique(counted.d0[order], return_index=True)
    parts = np.split(order, starts[1:]) if len(order) else []
    return [
        _row(day.item(), counted.some(part))
        for day, part in zip(days, parts, strict=True)
    ]


def _row(day: Any, own: Cases) -> Row:
    counts = independent_counts(own.risk)
    below = np.cumsum(counts.pmf)
    failures = int(own.failed.sum())
    low, high = (int(np.searchsorted(below, at)) for at in (TAIL, 1.0 - TAIL))
    flag = "more" if counts.mid_upper(failures) < OUTSIDE else ""
    flag = "fewer" if counts.mid_lower(failures) < OUTSIDE else flag
    return {
        "d0": day,
        "season": str(own.season[0]),
        "courses": len(own),
        "failures": failures,
        "expected": float(own.risk.sum()),
        "low": low,
        "high": min(high, len(own)),
        "mid_p": counts.two_sided(failures),
        "flag": flag,
        "operators": np.unique(own.operator[own.operator != ""]).tolist(),
        "graft_batches": np.unique(own.graft_batch[own.graft_batch != ""]).tolist(),
        "semen_batches": np.unique(own.semen_batch[own.semen_batch != ""]).tolist(),
    }
