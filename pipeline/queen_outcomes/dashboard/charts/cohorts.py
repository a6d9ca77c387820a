"""How each week's queens did, closed weeks beside those still open."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme

KINDS = ("closed week", "still open: known so far")
WEEK = alt.X("week:T", title="week of insemination", axis=alt.Axis(format="%d %b"))
KIND = alt.Color(
    "kind:N",
    title=None,
    scale=alt.Scale(domain=list(KINDS), range=[theme.CLOSED, theme.OPEN]),
)


def cohort_chart(
    rows: list[dict[str, Any]], *, question: str, season_rate: float | None
) -> alt.TopLevelMixin:
    """Draw the share of yes by week of insemination.

    Parameters
    ----------
    rows : list of dict
        Of `cohorts.sql`: week_of, courses, closed, share, low, high and the counts.
        Weeks without a share are left out (they stand in the table).
    question : str
        What the share is of, for the axis.
    season_rate : float or None
        The season's own rate, drawn as a line; None draws no line.
    """
    values = [_point(row) for row in rows if row["share"] is not None]
    layers = [_points(values, question)]
    closed = [point for point in values if point["low"] is not None]
    if closed:  # a layer without data would have the scripts complain
        limits = alt.Chart(alt.InlineData(values=closed))
        limits = limits.mark_rule(strokeWidth=2, opacity=0.6).encode(
            x=WEEK, y=alt.Y("low:Q", title=question), y2="high:Q", color=KIND
        )
        layers.insert(0, limits)
    if season_rate is not None:
        line = alt.Chart(alt.InlineData(values=[{"rate": season_rate}]))
        line = line.mark_rule(strokeDash=[5, 4], color=theme.QUIET, strokeWidth=1.5)
        layers.insert(0, line.encode(y=alt.Y("rate:Q", title=question)))
    return alt.layer(*layers).properties(width="container", height=260)


def _points(values: list[dict[str, Any]], question: str) -> alt.Chart:
    base = alt.Chart(alt.InlineData(values=values))
    counts = ("courses", "yes", "no", "undecided", "left")
    return base.mark_point(size=70, strokeWidth=2).encode(
        x=WEEK,
        y=alt.Y(
            "share:Q",
            title=question,
            scale=alt.Scale(domain=[0, 1]),
            axis=alt.Axis(format=".0%"),
        ),
        color=KIND,
        shape=alt.Shape(
            "kind:N",
            title=None,
            scale=alt.Scale(domain=list(KINDS), range=["circle", "triangle-up"]),
        ),
        fill=alt.Fill(
            "kind:N",
            title=None,
            scale=alt.Scale(domain=list(KINDS), range=[theme.CLOSED, "transparent"]),
        ),
        tooltip=[
            alt.Tooltip("iso_week:N", title="week"),
            *(alt.Tooltip(f"{name}:Q", title=name) for name in counts),
            alt.Tooltip("share:Q", title="share", format=".0%"),
        ],
    )


def _point(row: dict[str, Any]) -> dict[str, Any]:
    kept = ("iso_week", "courses", "yes", "no", "undecided", "left", "share")
    return {
        **{name: row[name] for name in kept},
        "low": row["low"],
        "high": row["high"],
        "week": row["week_of"].isoformat(),
        "kind": KINDS[0] if row["closed"] else KINDS[1],
    }
