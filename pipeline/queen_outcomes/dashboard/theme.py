"""The look that every chart shares.

Text and lines are drawn in the page's own colour (`currentColor`), so that one chart
serves light, dark and paper. Colours are told apart by the colour-blind too, and none of
them carries a meaning that shape or words do not.
"""

from __future__ import annotations

from typing import Any

import altair as alt

INK = "currentColor"
CLOSED = "#1b6ca8"
OPEN = "#b3580f"
QUIET = "#7d8790"

SERIES = ["#1b6ca8", "#b3580f", "#5b8c3a", "#8e4d9e", "#7d8790", "#c2a01c"]
"""Colours of a series, in order; told apart in the common kinds of colour-blindness."""
DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [4, 1], [10, 4]]

FONT = "system-ui, 'DejaVu Sans', sans-serif"


def dressed(chart: alt.TopLevelMixin) -> dict[str, Any]:
    """Give a chart's specification in the pages' common style."""
    axis = {
        "labelColor": INK,
        "titleColor": INK,
        "domainColor": QUIET,
        "tickColor": QUIET,
        "gridColor": QUIET,
        "gridOpacity": 0.2,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "labelFont": FONT,
        "titleFont": FONT,
    }
    legend = {
        "labelColor": INK,
        "titleColor": INK,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "orient": "top",
        "symbolStrokeWidth": 2,
    }
    return (
        chart.configure(background="transparent", font=FONT)
        .configure_view(stroke=None)
        .configure_axis(**axis)
        .configure_legend(**legend)
        .to_dict()
    )
