"""The picture on an operator's sheet: her running series of the season, both ways."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard.charts import theme
from queen_outcomes.paper.printing import svg

WIDTH, HEIGHT = 300, 150


def series_svg(points: list[dict[str, Any]]) -> str:
    """Draw both series side by side as SVG.

    Parameters
    ----------
    points : list of dict
        As `audit.sheet.series_points` gives them; at least one.
    """
    names = list(dict.fromkeys(point["series"] for point in points))
    with theme.unchecked():
        panels = [
            _series_panel([point for point in points if point["series"] == name], name)
            for name in names
        ]
        spec = theme.dressed(alt.hconcat(*panels))
    return svg(spec)


def _series_panel(points: list[dict[str, Any]], name: str) -> alt.LayerChart:
    base = theme.chart(points)
    x = alt.X("case:Q", title="case of the season", axis=alt.Axis(tickMinStep=1))
    layers = [
        base.mark_line(color=theme.OPEN, interpolate="step-after").encode(
            x=x, y=alt.Y("worse:Q", title="fewer ← failures → more")
        ),
        base.mark_line(
            color=theme.CLOSED, interpolate="step-after", strokeDash=[5, 2]
        ).encode(x=x, y="better:Q"),
    ]
    for limit in ("limit_worse", "limit_better"):
        if any(point[limit] is not None for point in points):
            rule = base.mark_line(color=theme.QUIET, strokeDash=[2, 3])
            layers.append(rule.encode(x=x, y=f"{limit}:Q"))
    for way in ("worse", "better"):
        signals = [point for point in points if point["signal"] == way]
        if signals:
            mark = theme.chart(signals).mark_point(
                shape="triangle-up", size=90, color=theme.INK, filled=True
            )
            layers.append(mark.encode(x=x, y=f"{way}:Q"))
    return alt.layer(*layers).properties(title=name, width=WIDTH, height=HEIGHT)
