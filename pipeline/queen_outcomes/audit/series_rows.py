"""The two running series of each operator over a season, as rows of a table."""

from __future__ import annotations

from typing import Any

import numpy as np

from queen_outcomes.audit.baseline import Baseline, Limits
from queen_outcomes.audit.cases import Cases
from queen_outcomes.stats.series.cusum import running_series

Row = dict[str, Any]


def series_rows(name: str, own: Cases, measured_by: Baseline) -> list[Row]:
    """Give both series of an operator's courses of a season.

    Parameters
    ----------
    name : str
    own : Cases
        Closed courses of the season in the order they were inseminated, with the risks
        that the season is measured by.
    measured_by : Baseline
    """
    rows = _one(name, "level", own, own.risk, measured_by.level)
    if np.isfinite(measured_by.change):
        risks = measured_by.drift_risks(own.risk)
        rows += _one(name, "drift", own, risks, measured_by.drift)
    return rows


def _one(
    name: str, series: str, own: Cases, risks: np.ndarray, limits: Limits
) -> list[Row]:
    worse, better = (
        at if np.isfinite(at) else np.inf for at in (limits.worse, limits.better)
    )
    found = running_series(own.failed, risks, limit_worse=worse, limit_better=better)
    words = np.where(
        found.worse.signal, "worse", np.where(found.better.signal, "better", "")
    )
    decided = np.isfinite(own.failed)
    failed = np.where(decided, own.failed > 0, None).tolist()
    columns = {
        "case": range(1, len(own) + 1),
        "course_id": own.course_id.tolist(),
        "inseminated_at": own.inseminated_at.tolist(),
        "known_on": own.known_on.tolist(),
        "failed": failed,
        "expected": risks.tolist(),
        "sum_over_expected": found.over_expected.tolist(),
        "cusum_worse": found.worse.value.tolist(),
        "cusum_better": found.better.value.tolist(),
        "signal": words.tolist(),
    }
    held = {"limit_worse": limits.worse, "limit_better": limits.better}
    given = {"operator": name, "series": series, **held}
    return [
        {**given, **dict(zip(columns, row, strict=True))}
        for row in zip(*columns.values(), strict=True)
    ]


def count_signals(rows: list[Row]) -> int:
    """Count the cases at which a series signalled."""
    return sum(row["signal"] != "" for row in rows)
