"""Failures by day of insemination, on the span that chance gives."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme
from queen_outcomes.dashboard.charts import marks

DAY = alt.X("day:T", title="day of insemination (day 0)", axis=alt.Axis(format="%d %b"))
COUNT = "courses failed"


def day_chart(rows: list[dict[str, Any]]) -> alt.TopLevelMixin:
    """Draw each day's failures, what was expected, and what chance gives.

    Parameters
    ----------
    rows : list of dict
        day, courses, failures, expected, least, most, degree, batches.
    """
    base = alt.Chart(theme.data(rows))
    whole = alt.Axis(tickMinStep=1)
    tooltip = [
        alt.Tooltip("day:T", format="%Y-%m-%d"),
        alt.Tooltip("courses:Q"),
        alt.Tooltip("failures:Q", title="failed"),
        alt.Tooltip("expected:Q", format=".1f"),
        alt.Tooltip("least:Q", title="chance gives from"),
        alt.Tooltip("most:Q", title="to"),
        alt.Tooltip("batches:N", title="graft batches"),
    ]
    layers = [
        base.mark_rule(color=theme.QUIET, strokeWidth=3.5, opacity=0.35).encode(
            x=DAY, y=alt.Y("least:Q", title=COUNT, axis=whole), y2="most:Q"
        ),
        base.mark_tick(color=theme.INK, thickness=1.5, size=7).encode(
            x=DAY, y=alt.Y("expected:Q", title=COUNT)
        ),
        base.mark_point(filled=True, size=45, opacity=0.9).encode(
            x=DAY,
            y=alt.Y("failures:Q", title=COUNT),
            shape=marks.shape(),
            color=marks.colour(),
            tooltip=tooltip,
        ),
    ]
    return theme.layered(layers, height=240)
