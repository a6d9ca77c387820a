"""Operators one below the other: expected and observed, adjusted rates, ranks."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme

ROW_HEIGHT = 30
OBSERVED, EXPECTED = "observed", "expected"


def _names(rows: list[dict[str, Any]]) -> alt.Y:
    names = [row["operator"] for row in rows]
    return alt.Y(
        "operator:N",
        title=None,
        sort=names,
        scale=alt.Scale(domain=names),
        axis=alt.Axis(labelLimit=140, grid=False, ticks=False),
    )


def _sized(chart: alt.LayerChart, rows: list[dict[str, Any]]) -> alt.TopLevelMixin:
    return chart.properties(width="container", height=ROW_HEIGHT * len(rows))


def expected_chart(rows: list[dict[str, Any]]) -> alt.TopLevelMixin:
    """Set each operator's failures beside those expected of the same courses.

    Parameters
    ----------
    rows : list of dict
        operator, courses, failures, expected.
    """
    x, y = "courses that failed", _names(rows)
    long = [
        {
            "operator": row["operator"],
            "kind": kind,
            "failures": row[key],
            "courses": row["courses"],
        }
        for row in rows
        for kind, key in ((EXPECTED, "expected"), (OBSERVED, "failures"))
    ]
    base = alt.Chart(theme.data(rows))
    kinds = [OBSERVED, EXPECTED]
    return _sized(
        alt.layer(
            base.mark_rule(color=theme.QUIET, strokeWidth=2).encode(
                y=y, x=alt.X("expected:Q", title=x), x2="failures:Q"
            ),
            alt.Chart(theme.data(long))
            .mark_point(size=75, strokeWidth=2)
            .encode(
                y=y,
                x=alt.X("failures:Q", title=x),
                shape=_by_kind(alt.Shape, kinds, ["circle", "diamond"]),
                color=_by_kind(alt.Color, kinds, [theme.CLOSED, theme.OPEN]),
                fill=_by_kind(alt.Fill, kinds, [theme.CLOSED, "transparent"]),
                tooltip=[
                    alt.Tooltip("operator:N"),
                    alt.Tooltip("kind:N", title="failures"),
                    alt.Tooltip("failures:Q", title="number", format=".1f"),
                    alt.Tooltip("courses:Q"),
                ],
            ),
        ),
        rows,
    )


def _by_kind(channel: Any, kinds: list[str], marks: list[str]) -> Any:
    return channel("kind:N", title=None, scale=alt.Scale(domain=kinds, range=marks))


def adjusted_chart(
    rows: list[dict[str, Any]], *, station: float, what: str
) -> alt.TopLevelMixin:
    """Draw adjusted failure rates with their limits, and the station's rate.

    Parameters
    ----------
    rows : list of dict
        operator, courses, adjusted, low, high (shares).
    station : float
        The share failing of all courses.
    what : str
        What the share is of.
    """
    y, axis = _names(rows), alt.Axis(format=".0%")
    tooltip = [
        alt.Tooltip("operator:N"),
        *(alt.Tooltip(f"{k}:Q", format=".1%") for k in ("adjusted", "low", "high")),
        alt.Tooltip("courses:Q"),
    ]
    base = alt.Chart(theme.data(rows))
    scale = alt.Scale(zero=True, nice=True)
    middle = alt.Chart(theme.data([{"station": station}]))
    return _sized(
        alt.layer(
            middle.mark_rule(color=theme.QUIET, strokeDash=[5, 4]).encode(
                x=alt.X("station:Q", title=what),
                tooltip=alt.Tooltip("station:Q", format=".1%"),
            ),
            base.mark_rule(color=theme.CLOSED, strokeWidth=2).encode(
                y=y,
                x=alt.X("low:Q", title=what, axis=axis, scale=scale),
                x2="high:Q",
                tooltip=tooltip,
            ),
            base.mark_point(color=theme.CLOSED, filled=True, size=70).encode(
                y=y, x=alt.X("adjusted:Q", title=what), tooltip=tooltip
            ),
        ),
        rows,
    )


def rank_chart(rows: list[dict[str, Any]]) -> alt.TopLevelMixin:
    """Draw the span of ranks that each operator may have.

    Parameters
    ----------
    rows : list of dict
        operator, rank_low, rank_high.
    """
    title = "rank, 1 for the fewest failing"
    base = alt.Chart(theme.data(rows))
    x = alt.X(
        "rank_low:Q",
        title=title,
        scale=alt.Scale(domain=[0.5, len(rows) + 0.5], nice=False),
        axis=alt.Axis(values=list(range(1, len(rows) + 1)), format="d"),
    )
    tooltip = [alt.Tooltip("operator:N"), "rank_low:Q", "rank_high:Q"]
    tick = base.mark_point(shape="stroke", angle=90, size=120, color=theme.CLOSED)
    return _sized(
        alt.layer(
            base.mark_rule(color=theme.CLOSED, strokeWidth=4, opacity=0.6).encode(
                y=_names(rows), x=x, x2="rank_high:Q", tooltip=tooltip
            ),
            tick.encode(y=_names(rows), x=alt.X("rank_low:Q", title=title)),
            tick.encode(y=_names(rows), x=alt.X("rank_high:Q", title=title)),
        ),
        rows,
    )
