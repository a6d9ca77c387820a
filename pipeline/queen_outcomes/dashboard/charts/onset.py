"""Share laying by day, as steps with a band."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme

DAY = alt.X("day:Q", title="days after insemination")


def onset_chart(
    rows: list[dict[str, Any]], *, window: int, by: str | None = None
) -> alt.TopLevelMixin:
    """Draw curves of the share laying by day.

    Parameters
    ----------
    rows : list of dict
        Of `onset_curves`: level, day, laying, low, high, at_risk.
    window : int
        The day marked by a line.
    by : str or None
        What the levels are, for the legend; None draws one curve without a legend.
    """
    kept = ("level", "day", "laying", "low", "high", "at_risk")
    values = [
        {name: row[name] for name in kept} for row in rows if row["laying"] is not None
    ]
    levels = sorted({row["level"] for row in values})
    colour = _colour(levels, by)
    layers = []
    banded = [row for row in values if row["low"] is not None]
    if banded:
        layers.append(_band(banded, colour))
    mark = alt.Chart(theme.data([{"day": window}]))
    layers += [
        mark.mark_rule(strokeDash=[2, 4], color=theme.QUIET).encode(x=DAY),
        _line(values, levels, colour, by),
    ]
    return theme.layered(layers, height=280)


def _colour(levels: list[str], by: str | None) -> Any:
    if by is None:
        return alt.value(theme.CLOSED)
    return alt.Color(
        "level:N",
        title=by,
        scale=alt.Scale(domain=levels, range=theme.SERIES[: len(levels)]),
        legend=alt.Legend(symbolType="stroke", symbolOpacity=1),
    )


def _band(values: list[dict[str, Any]], colour: Any) -> alt.Chart:
    band = alt.Chart(theme.data(values))
    return band.mark_area(interpolate="step-after", opacity=0.15).encode(
        x=DAY, y=alt.Y("low:Q", title="share laying"), y2="high:Q", color=colour
    )


def _line(
    values: list[dict[str, Any]], levels: list[str], colour: Any, by: str | None
) -> alt.Chart:
    base = alt.Chart(theme.data(values))
    line = base.mark_line(interpolate="step-after", strokeWidth=2).encode(
        x=DAY,
        y=alt.Y(
            "laying:Q",
            title="share laying",
            scale=alt.Scale(domain=[0, 1]),
            axis=alt.Axis(format=".0%"),
        ),
        color=colour,
        tooltip=[
            alt.Tooltip("level:N", title=by or "courses"),
            alt.Tooltip("day:Q", title="day"),
            alt.Tooltip("laying:Q", title="laying by then", format=".0%"),
            alt.Tooltip("low:Q", title="lower limit", format=".0%"),
            alt.Tooltip("high:Q", title="upper limit", format=".0%"),
            alt.Tooltip("at_risk:Q", title="courses not known either way"),
        ],
    )
    if by is None:
        return line
    # told apart by dashes too, for those who do not see the colours
    dashes = alt.Scale(domain=levels, range=theme.DASHES[: len(levels)])
    return line.encode(strokeDash=alt.StrokeDash("level:N", title=by, scale=dashes))
