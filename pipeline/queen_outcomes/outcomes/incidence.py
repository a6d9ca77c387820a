"""The incidence of one event at a station or a part of it: its curve, and the estimates.

The estimate spreads every end over the days on which it may well have come. Beside the
curve stand, as the edges of its band, those with every end on its last day and on its
first.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from queen_outcomes.outcomes.histories import AtRisk
from queen_outcomes.stats.times.competing import Curves
from queen_outcomes.stats.times.spread import first_days, spread_incidence

INCIDENCE_DAYS = np.concatenate([np.arange(0, 91), np.arange(95, 401, 5)])

Row = dict[str, Any]
Estimate = tuple[float | None, ...]


def incidence_of(
    risk: AtRisk, windows: tuple[int, ...], *, drawn: bool
) -> tuple[list[Row], list[Estimate]]:
    """Give the curve by day, and the share by each window with its limits.

    Parameters
    ----------
    risk : AtRisk
        Who was at risk of the event, and what came of it.
    windows : tuple of int
    drawn : bool
        Whether the curve is wanted; without it there are no rows.

    Returns
    -------
    rows : list of dict
        ``day, incidence, low, high``; none where nobody was at risk.
    estimates : list of tuple
        Window, estimate, low and high; without a figure for a day that nobody was
        followed to.
    """
    some = bool((risk.by > risk.entry).any())
    days = INCIDENCE_DAYS[: int(drawn) * len(INCIDENCE_DAYS)]
    days = days[days <= (risk.by.max() if some else -1)]
    asked = np.union1d(days, windows).astype(int)
    if not len(asked):
        return [], []
    curve = _spread(risk, risk.behind, risk.by, asked)
    found = []
    for window in windows:
        at = int(np.searchsorted(asked, window))
        known = ((risk.by >= window) & (risk.entry < window)).any()
        values = (curve.estimate[at], curve.low[at], curve.high[at])
        found.append((window, *(number(v) if known else None for v in values)))
    return (_rows(risk, curve, asked, days) if len(days) else []), found


def _rows(risk: AtRisk, curve: Curves, asked, days) -> list[Row]:
    """Give the curve with its band, which holds the curves of both edges."""
    earliest = first_days(risk.entry, risk.since - 1, risk.by, risk.event)
    edges = [
        _spread(risk, ends - 1, ends, asked) for ends in (earliest, risk.by.copy())
    ]
    low = np.min([curve.low, *(edge.low for edge in edges)], axis=0)
    high = np.max([curve.high, *(edge.high for edge in edges)], axis=0)
    wanted = np.flatnonzero(np.isin(asked, days))
    return [
        {
            "day": int(asked[at]),
            "incidence": number(curve.estimate[at]),
            "low": number(low[at]),
            "high": number(high[at]),
        }
        for at in wanted
    ]


def _spread(risk: AtRisk, after, by, days) -> Curves:
    return spread_incidence(
        risk.entry, after, by, risk.event, days=days, clusters=risk.clusters
    )


def number(value: Any) -> float | None:
    """Give a plain number, or nothing where there is none."""
    found = float(value)
    return found if np.isfinite(found) else None
