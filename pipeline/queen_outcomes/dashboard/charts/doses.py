"""Differences of arms against a margin, and what a success takes in each arm."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme

ROW_HEIGHT = 26
FIXED, BESIDE = "fixed beforehand", "beside it"


def arm_difference_chart(
    rows: list[dict[str, Any]], *, question: str, margin: float | None
) -> alt.TopLevelMixin:
    """Draw differences with their limits, one a line, and the margin.

    Parameters
    ----------
    rows : list of dict
        name, method (FIXED or BESIDE), difference, low, high (shares), in the order
        they are shown.
    question : str
        What the difference is of.
    margin : float or None
        The loss that would not matter; drawn as a line below 0.
    """
    names = [row["name"] for row in rows]
    y = alt.Y(
        "name:N", title=None, sort=names, axis=alt.Axis(labelLimit=300, grid=False)
    )
    tooltip = [
        alt.Tooltip("name:N", title="compared"),
        *(alt.Tooltip(f"{k}:Q", format="+.1%") for k in ("difference", "low", "high")),
    ]
    base = alt.Chart(theme.data(rows))
    axis = theme.signed_axis("+.0%")
    layers = [
        _across(0.0, question, [5, 4], "no difference"),
        base.mark_rule(color=theme.CLOSED, strokeWidth=2).encode(
            y=y,
            x=alt.X("low:Q", title=question, axis=axis),
            x2="high:Q",
            tooltip=tooltip,
        ),
        base.mark_point(color=theme.CLOSED, filled=True, size=70).encode(
            y=y,
            x=alt.X("difference:Q", title=question, axis=axis),
            shape=alt.Shape(
                "method:N",
                title="method",
                scale=alt.Scale(domain=[FIXED, BESIDE], range=["circle", "cross"]),
            ),
            tooltip=tooltip,
        ),
    ]
    if margin is not None:
        said = f"margin, {100 * margin:g} points lost"
        layers.insert(1, _across(-margin, question, [1, 0], said))
    return theme.layered(layers, height=ROW_HEIGHT * len(rows))


def _across(at: float, question: str, dash: list[int], said: str) -> alt.Chart:
    return (
        alt.Chart(theme.data([{"at": at, "said": said}]))
        .mark_rule(color=theme.QUIET, strokeDash=dash)
        .encode(x=alt.X("at:Q", title=question), tooltip=alt.Tooltip("said:N"))
    )


def frontier_chart(rows: list[dict[str, Any]], *, success: str) -> alt.TopLevelMixin:
    """Set drones against queens a success, an arm a point with its limits.

    Parameters
    ----------
    rows : list of dict
        Of `arm_costs`, with finite figures; arms on the frontier are dots, the others
        crosses.
    success : str
        What a success is.
    """
    values = [
        {**row, "place": ON if row["frontier"] else BEATEN}
        for row in sorted(rows, key=lambda row: row["arm"])
    ]
    base = alt.Chart(theme.data(values))
    near = alt.Scale(zero=False, padding=20)
    x = alt.X(
        "drones_per_success:Q",
        title=f"drones handled for one success ({success})",
        scale=near,
    )
    y = alt.Y("queens_per_success:Q", title="queens inseminated for one", scale=near)
    tooltip = _cost_tooltip()
    layers = [
        base.mark_rule(color=theme.QUIET).encode(
            x=x, y="queens_low:Q", y2="queens_high:Q"
        ),
        base.mark_rule(color=theme.QUIET).encode(
            y=y, x="drones_low:Q", x2="drones_high:Q"
        ),
        base.mark_point(filled=True, size=90, color=theme.CLOSED).encode(
            x=x,
            y=y,
            shape=alt.Shape(
                "place:N",
                title=None,
                scale=alt.Scale(domain=[ON, BEATEN], range=["circle", "cross"]),
            ),
            tooltip=tooltip,
        ),
        *_arm_names(values, x, y),
    ]
    return theme.layered(layers, height=260)


def _arm_names(rows: list[dict[str, Any]], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Write each arm's name on the side of its point that has room for it."""
    along = [row["drones_per_success"] for row in rows]
    middle = (min(along) + max(along)) / 2
    sides = {"left": [], "right": []}
    for row in rows:
        sides["right" if row["drones_per_success"] > middle else "left"].append(row)
    return [
        alt.Chart(theme.data(part))
        .mark_text(align=side, dx=9 if side == "left" else -9, dy=-9, color=theme.INK)
        .encode(x=x, y=y, text="arm:N")
        for side, part in sides.items()
        if part
    ]


def _cost_tooltip() -> list[alt.Tooltip]:
    figures = (
        ("drones_per_success", ".1f"),
        ("queens_per_success", ".2f"),
        ("semen_ul_per_success", ".1f"),
    )
    shown = [alt.Tooltip(f"{name}:Q", format=form) for name, form in figures]
    return [alt.Tooltip("arm:N"), *shown]


ON, BEATEN = "none takes less of both", "another takes less of both"
