"""What happens on the bench: each operator's spread on the station's."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme

ROW_HEIGHT = 24


def process_chart(
    rows: list[dict[str, Any]], *, measure: str, is_share: bool = False
) -> alt.TopLevelMixin:
    """Draw one measure, an operator a line.

    Parameters
    ----------
    rows : list of dict
        operator, recorded, mean, low, high (the middle 80 %), station_mean,
        station_low, station_high, before (mean of the season before, or None).
    measure : str
        Its name and unit.
    is_share : bool
        Written in per cent.
    """
    y = alt.Y(
        "operator:N",
        title=None,
        scale=alt.Scale(domain=[row["operator"] for row in rows]),
        axis=alt.Axis(labelLimit=120, grid=False, ticks=False),
    )
    scale = alt.Scale(zero=is_share, nice=False, padding=8)
    axis = alt.Axis(format=".0%" if is_share else "~g", tickCount=6)
    x = alt.X("mean:Q", title=measure, scale=scale, axis=axis)
    tooltip = _tooltip(".0%" if is_share else ".2f")
    base = alt.Chart(theme.data(rows))
    layers = [
        *_station(rows[0], measure),
        base.mark_rule(color=theme.CLOSED, strokeWidth=2, opacity=0.6).encode(
            y=y, x=alt.X("low:Q", title=measure), x2="high:Q", tooltip=tooltip
        ),
        base.mark_point(color=theme.CLOSED, filled=True, size=55, opacity=1).encode(
            y=y, x=x, tooltip=tooltip
        ),
    ]
    before = [row for row in rows if row["before"] is not None]
    if before:  # a layer without data would have the scripts complain
        hollow = alt.Chart(theme.data(before)).mark_point(
            color=theme.OPEN, shape="diamond", size=60, strokeWidth=1.5
        )
        layers.append(hollow.encode(y=y, x=alt.X("before:Q", title=measure)))
    height = ROW_HEIGHT * len(rows)
    return theme.layered(layers, height=height)


def _station(row: dict[str, Any], measure: str) -> list[alt.Chart]:
    """Draw the station's middle 80 % as a band and its mean as a line."""
    station = alt.Chart(theme.data([row]))
    return [
        station.mark_rect(color=theme.QUIET, opacity=0.18).encode(
            x=alt.X("station_low:Q", title=measure), x2="station_high:Q"
        ),
        station.mark_rule(color=theme.QUIET, strokeDash=[5, 4]).encode(
            x=alt.X("station_mean:Q", title=measure)
        ),
    ]


def _tooltip(form: str) -> list[alt.Tooltip]:
    named = {
        "mean": "mean",
        "low": "a tenth below",
        "high": "a tenth above",
        "before": "mean the season before",
        "station_mean": "station's mean",
    }
    return [
        alt.Tooltip("operator:N"),
        alt.Tooltip("recorded:Q"),
        *(alt.Tooltip(f"{k}:Q", title=said, format=form) for k, said in named.items()),
    ]
