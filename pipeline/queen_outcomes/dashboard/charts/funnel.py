"""Funnels, and three degrees of standing out, told by shape and words as well as by colour."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import altair as alt

from queen_outcomes.dashboard.charts import theme
from queen_outcomes.stats.shares.funnel import placed_ratio

WITHIN, OUTSIDE, FLAGGED = "within", "outside 95 %", "flagged"
DEGREES = [WITHIN, OUTSIDE, FLAGGED]
COLOURS = [theme.CLOSED, theme.QUIET, theme.OPEN]
SHAPES = ["circle", "diamond", "triangle-up"]
RATIO = "failed over expected"
MOST_TOP = 8.0
EDGE = 0.12
"""Share of the axis that a name needs beside its point."""
NEAR, FAR = [5, 3], [1, 2]
TOOLTIP = [
    alt.Tooltip("name:N", title="which"),
    alt.Tooltip("courses:Q"),
    alt.Tooltip("failures:Q", title="failed"),
    alt.Tooltip("expected:Q", format=".1f"),
    alt.Tooltip("who:N", title="done by"),
]
LIMITS = {"low_998": FAR, "low_95": NEAR, "high_95": NEAR, "high_998": FAR}
"""The lines of a funnel and how they are dashed."""


def degree(*, flagged: bool, outside: bool) -> str:
    """Name the degree."""
    if flagged:
        return FLAGGED
    return OUTSIDE if outside else WITHIN


def figures(rows: Sequence[dict[str, Any]], share: float) -> list[dict[str, Any]]:
    """Give what points show of rows' failures and those expected.

    Each stands where its own tail puts it among the lines of courses of one risk, `share`;
    all are placed at once, since asking for one limit takes as long as for a thousand.
    """
    placed = [row["ratio"] for row in rows]
    if 0 < share < 1:  # else there are no lines
        is_more = [row["failures"] > row["expected"] for row in rows]
        tails, sizes = ([row[key] for row in rows] for key in ("mid_p", "courses"))
        placed = placed_ratio(tails, is_more, sizes, share).tolist()
    return [
        {
            "courses": row["courses"],
            "failures": row["failures"],
            "expected": round(row["expected"], 2),
            "ratio": round(float(ratio), 4),
        }
        for row, ratio in zip(rows, placed, strict=True)
    ]


def degree_looks() -> dict[str, Any]:
    """Give the shape and the colour of each degree, with one legend."""
    by = partial(theme.told_apart, "degree", DEGREES)
    # three beside each other on paper leave no room for all in one line
    legend = alt.Legend(columns=alt.ExprRef("width < 260 ? 2 : 3"))
    return {
        "shape": by(alt.Shape, SHAPES, legend=legend),
        "color": by(alt.Color, COLOURS),
    }


def funnel_chart(
    points: list[dict[str, Any]],
    lines: list[dict[str, float]],
    *,
    size: str,
    height: int = 280,
    least_top: float = 3.0,
) -> theme.Drawn:
    """Draw a funnel.

    Parameters
    ----------
    points : list of dict
        name, courses, failures, expected, ratio, degree, label (drawn beside the point;
        may be empty), who. A point past the scale stands at its upper edge.
    lines : list of dict
        As `funnel_lines` gives them.
    size : str
        What is counted along the axis.
    least_top : float
        The vertical scale reaches up to this or further.
    """
    top = max([least_top, *(1.1 * point["ratio"] for point in points)])
    top = min(top, MOST_TOP)
    scale = alt.Scale(domain=[0, top], type="sqrt", nice=False)
    y = alt.Y(
        "ratio:Q",
        title=RATIO,
        scale=scale,
        axis=alt.Axis(values=_ticks(top), format="~g", labelOverlap=False),
    )
    x = alt.X(
        "courses:Q", title=size, scale=alt.Scale(zero=True, nice=False, padding=6)
    )
    drawn = [{**point, "ratio": min(point["ratio"], top)} for point in points]
    base = theme.chart(drawn)
    limits = theme.chart(lines)
    layers = [
        *(
            limits.mark_line(
                color=theme.QUIET, strokeDash=dash, strokeWidth=1.5, clip=True
            ).encode(x=alt.X("size:Q"), y=alt.Y(f"{name}:Q", title=RATIO, scale=scale))
            for name, dash in LIMITS.items()
            if lines and name in lines[0]
        ),
        theme.chart([{"one": 1}])
        .mark_rule(color=theme.QUIET, strokeWidth=1)
        .encode(y=alt.Y("one:Q", title=RATIO, scale=scale)),
        base.mark_point(filled=True, size=55, opacity=0.85, clip=True).encode(
            x=x, y=y, tooltip=TOOLTIP, **degree_looks()
        ),
        *_labels(drawn, x, y),
    ]
    return theme.layered(layers, height=height)


def _labels(points: list[dict[str, Any]], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Write names beside points.

    Each stands on the side away from its nearest neighbour, and away from the middle.
    """
    named = sorted(
        (point for point in points if point["label"]),
        key=lambda point: (point["courses"], point["ratio"]),
    )
    places: dict[tuple[str, int], list[dict[str, Any]]] = {}
    for at, point in enumerate(named):
        before = point["courses"] - named[at - 1]["courses"] if at else None
        after = named[at + 1]["courses"] - point["courses"] if named[at + 1 :] else None
        is_right = before is not None and (after is None or before < after)
        if after is None and (before or 0) > EDGE * point["courses"]:
            is_right = False  # there is room on the side away from the edge
        place = ("left" if is_right else "right", -8 if point["ratio"] >= 1 else 9)
        places.setdefault(place, []).append(point)
    return [
        theme.chart(own)
        .mark_text(
            align=align,
            dx=8 if align == "left" else -8,
            dy=dy,
            color=theme.INK,
            fontSize=12,
        )
        .encode(x=x, y=y, text=alt.Text("label:N"), tooltip=TOOLTIP)
        for (align, dy), own in places.items()
    ]


def _ticks(top: float) -> list[float]:
    near, far = (0, 0.25, 0.5, 1, 1.5, 2, 3), (0, 0.5, 1, 2, 3, 5, 8)
    return [at for at in (far if top > 4 else near) if at <= top]
