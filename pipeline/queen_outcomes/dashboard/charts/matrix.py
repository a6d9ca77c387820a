"""Factors by outcomes in one picture: which way, how much, and how sure."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard.charts import theme

CLEAR, PERHAPS, OPEN = "clear after all tests", "limits leave nought out", "not clear"
CERTAINTIES = (CLEAR, PERHAPS, OPEN)
WAYS = ("more success", "less success")
LEAST_P = 0.05
ROW_HEIGHT = 30
_NAME = "split(datum.label, ' by ')[0]"
_WORDS = f"split({_NAME}, ' ')"
_IS_LONG = f"length({_NAME}) > 14"
IN_LINES = (
    f"[{_IS_LONG} ? join(slice({_WORDS}, 0, -1), ' ') : '', "
    f"{_IS_LONG} ? peek({_WORDS}) : {_NAME}, "
    "'by ' + split(datum.label, ' by ')[1]]"
)
"""Three lines, the first empty for short names: on paper columns are narrow."""

Row = dict[str, Any]


def certainty(row: Row) -> str:
    """Say how sure a difference is: a row of ``contrasts`` with limits."""
    if row["low"] <= 0 <= row["high"]:
        return OPEN
    raised = row["p_holm"]
    return CLEAR if raised is not None and raised < LEAST_P else PERHAPS


def matrix_chart(cells: list[Row]) -> theme.Drawn:
    """Draw a mark and a number for every factor and outcome.

    Parameters
    ----------
    cells : list of dict
        factor, outcome, points (of success), low, high, pair and certainty, in the order
        in which outcomes are shown.
    """
    outcomes = list(dict.fromkeys(cell["outcome"] for cell in cells))
    factors = sorted(
        sorted({cell["factor"] for cell in cells}),
        key=lambda name: max(_weight(cell) for cell in cells if cell["factor"] == name),
        reverse=True,
    )
    values = [
        {**cell, "way": WAYS[cell["points"] < 0], "size": abs(cell["points"])}
        for cell in cells
    ]
    for row in values:
        row["written"] = f"{row['points']:+.1f}"
        row["limits"] = f"{row['low']:+.1f} to {row['high']:+.1f}"
    x = alt.X(
        "outcome:N",
        title=None,
        sort=outcomes,
        axis=alt.Axis(
            orient="top",
            labelAngle=theme.UPRIGHT,
            labelLimit=150,
            labelPadding=33,
            grid=False,
            labelExpr=IN_LINES,
        ),
    )
    y = alt.Y("factor:N", title=None, sort=factors, axis=alt.Axis(labelLimit=220, grid=True))
    colour = theme.told_apart("way", WAYS, alt.Color, (theme.CLOSED, theme.OPEN))
    size = alt.Size("size:Q", legend=None, scale=alt.Scale(range=[30, 420]))
    tooltip = [
        alt.Tooltip("factor:N"),
        alt.Tooltip("pair:N", title="compared"),
        alt.Tooltip("outcome:N"),
        alt.Tooltip("written:N", title="points"),
        alt.Tooltip("limits:N", title="95 % limits"),
        alt.Tooltip("certainty:N"),
    ]
    layers = []
    for level, look in (
        (CLEAR, {"filled": True, "opacity": theme.SOLID}),
        (PERHAPS, {"filled": False, "opacity": theme.SOLID, "strokeWidth": theme.STROKE}),
        (OPEN, {"filled": False, "opacity": 0.35, "strokeWidth": 1}),
    ):
        part = [row for row in values if row["certainty"] == level]
        if not part:
            continue
        marks = theme.chart(part).mark_point(xOffset=-24, **look)
        layers.append(
            marks.encode(
                x=x,
                y=y,
                size=size,
                color=colour,
                shape=theme.told_apart(
                    "way", WAYS, alt.Shape, ("triangle-up", "triangle-down")
                ),
                tooltip=tooltip,
            )
        )
        written = theme.chart(part).mark_text(
            dx=14, align="center", fontWeight="bold" if level == CLEAR else "normal"
        )
        ink = theme.QUIET if level == OPEN else theme.INK
        layers.append(
            written.encode(
                x=x,
                y=y,
                text=alt.Text("written:N"),
                color=alt.value(ink),
                tooltip=tooltip,
            )
        )
    return theme.layered(layers, height=ROW_HEIGHT * len(factors))


def _weight(cell: Row) -> tuple[int, float]:
    return (-CERTAINTIES.index(cell["certainty"]), abs(cell["points"]))
