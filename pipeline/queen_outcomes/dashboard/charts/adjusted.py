"""Adjusted probabilities by a factor's value, and differences from the usual value."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard.charts import theme

ROW_HEIGHT = 24


def curve_chart(
    rows: list[dict[str, Any]],
    *,
    factor: str,
    question: str,
    days_of_year: bool = False,
) -> alt.TopLevelMixin:
    """Draw an adjusted probability with its band, and where the courses lie.

    Parameters
    ----------
    rows : list of dict
        Of `adjusted`, one factor's: value, label, probability, low, high, courses_near.
    factor, question : str
        Names of the axes, with units.
    days_of_year : bool
        The factor's values are days of the year, and are written as dates.
    """
    base = alt.Chart(theme.data(rows))
    x = alt.X(
        "value:Q", title=factor, scale=alt.Scale(zero=False, nice=False, padding=8)
    )
    if days_of_year:
        x = x.axis(theme.day_of_year_axis())
    y = alt.Y(
        "probability:Q",
        title=question,
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(format=".0%"),
    )
    band = base.mark_area(opacity=0.2, color=theme.CLOSED).encode(
        x=x, y=alt.Y("low:Q", title=question), y2="high:Q"
    )
    line = base.mark_line(color=theme.CLOSED, strokeWidth=2, point={"size": 30}).encode(
        x=x,
        y=y,
        tooltip=[
            alt.Tooltip("label:N", title="value"),
            alt.Tooltip("probability:Q", title="adjusted share", format=".1%"),
            alt.Tooltip("low:Q", title="lower limit", format=".1%"),
            alt.Tooltip("high:Q", title="upper limit", format=".1%"),
            alt.Tooltip("courses_near:Q", title="courses near"),
        ],
    )
    layers = [band, line]
    near = [row for row in rows if row["courses_near"]]
    if near:  # a layer without data would have the scripts complain
        layers.append(_rug(near, x, question))
    return theme.layered(layers, height=200)


def _rug(rows: list[dict[str, Any]], x: alt.X, question: str) -> alt.Chart:
    """Draw dots along the bottom, the larger the more courses lie near."""
    rug = alt.Chart(theme.data([{**row, "floor": 0} for row in rows]))
    return rug.mark_point(filled=True, color=theme.QUIET, opacity=0.8).encode(
        x=x,
        y=alt.Y("floor:Q", title=question),
        size=alt.Size("courses_near:Q", legend=None, scale=alt.Scale(range=[4, 160])),
        tooltip=[alt.Tooltip("courses_near:Q", title="courses near")],
    )


def difference_chart(
    rows: list[dict[str, Any]],
    *,
    question: str,
    forms: tuple[str, str] = ("+.0%", "+.1%"),
) -> alt.TopLevelMixin:
    """Draw adjusted differences with their limits, one a line.

    Parameters
    ----------
    rows : list of dict
        With name, reference, overlap (in words), difference, low, high, in the order
        they are shown.
    question : str
        What the difference is of.
    forms : tuple of str
        How numbers are written along the axis and in what hovering shows.
    """
    along, hovering = forms
    names = [row["name"] for row in rows]
    base = alt.Chart(theme.data(rows))
    y = alt.Y(
        "name:N", title=None, sort=names, axis=alt.Axis(labelLimit=260, grid=False)
    )
    x = alt.X("difference:Q", title=question, axis=theme.signed_axis(along))
    tooltip = [
        alt.Tooltip("name:N", title="compared"),
        alt.Tooltip("reference:N", title="against"),
        alt.Tooltip("difference:Q", format=hovering),
        alt.Tooltip("low:Q", title="lower limit", format=hovering),
        alt.Tooltip("high:Q", title="upper limit", format=hovering),
        alt.Tooltip("overlap:N", title="overlap"),
    ]
    zero = alt.Chart(theme.data([{"none": 0}]))
    layers = [
        zero.mark_rule(color=theme.QUIET, strokeDash=[5, 4]).encode(
            x=alt.X("none:Q", title=question)
        ),
        base.mark_rule(color=theme.CLOSED, strokeWidth=2).encode(
            y=y, x=alt.X("low:Q", title=question), x2="high:Q", tooltip=tooltip
        ),
        base.mark_point(color=theme.CLOSED, filled=True, size=60, opacity=1).encode(
            y=y, x=x, tooltip=tooltip
        ),
    ]
    return theme.layered(layers, height=ROW_HEIGHT * len(rows))
