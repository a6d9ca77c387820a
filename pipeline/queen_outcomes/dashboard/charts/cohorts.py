"""How each week's queens did, closed weeks beside those still open."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme

KINDS = ("closed week", "still open: known so far")
KIND = alt.Color(
    "kind:N",
    title=None,
    scale=alt.Scale(domain=list(KINDS), range=[theme.CLOSED, theme.OPEN]),
)
LONGEST_GAP = 6
"""Weeks without a queen that are still drawn; more of them are cut out of the axis."""
CUT = "…"
WEEK = dt.timedelta(days=7)
BRUSH = "weeks"
"""Name of the weeks that are chosen; the page's script follows it."""

Row = dict[str, Any]


def cohort_chart(
    rows: list[Row], *, question: str, season_rate: float | None
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
    week = _weeks([row["week_of"] for row in rows])
    layers = [_points(values, question, week)]
    closed = [point for point in values if point["low"] is not None]
    if closed:  # a layer without data would have the scripts complain
        limits = alt.Chart(theme.data(closed))
        limits = limits.mark_rule(strokeWidth=2, opacity=0.6).encode(
            x=week, y=alt.Y("low:Q", title=f"share {question}"), y2="high:Q", color=KIND
        )
        layers.insert(0, limits)
    if season_rate is not None:
        line = alt.Chart(theme.data([{"rate": season_rate}]))
        line = line.mark_rule(strokeDash=[5, 4], color=theme.QUIET, strokeWidth=1.5)
        layers.insert(0, line.encode(y=alt.Y("rate:Q", title=f"share {question}")))
    if CUT in week["scale"]["domain"]:
        layers.insert(0, _cut(week))
    return theme.layered(layers, height=260)


def _weeks(weeks: list[dt.date]) -> alt.X:
    """Give the axis: every week of a season, and winters cut out."""
    names = [_iso(week) for week in on_axis(weeks)]
    first = [name for before, name in pairwise([CUT, *names]) if before == CUT]
    week, year = "slice(datum.value, 5)", "slice(datum.value, 0, 4)"
    return alt.X(
        "iso_week:N",
        title="week of insemination (ISO)",
        sort=None,
        scale=alt.Scale(domain=names, type="point", padding=0.5),
        axis=alt.Axis(
            labelAngle=0,
            labelOverlap="greedy",
            labelSeparation=6,
            labelExpr=f"indexof({first}, datum.value) < 0 ? {week} : [{week}, {year}]",
        ),
    )


def _cut(week: alt.X) -> alt.Chart:
    """Draw where the weeks without a queen are left out."""
    said = "weeks without a queen are left out"
    base = alt.Chart(theme.data([{"iso_week": CUT, "said": said}]))
    return base.mark_rule(color=theme.QUIET, strokeDash=[1, 4]).encode(
        x=week, tooltip=alt.Tooltip("said:N", title=CUT)
    )


def on_axis(weeks: list[dt.date]) -> list[dt.date | None]:
    """Give the weeks to draw, in order, with None where a long gap is cut out."""
    found: list[dt.date | None] = []
    last: dt.date | None = None
    for week in sorted(weeks):
        gap = 0 if last is None else (week - last) // WEEK - 1
        if last is not None and gap > LONGEST_GAP:
            found.append(None)
        elif last is not None:
            found += [last + WEEK * step for step in range(1, gap + 1)]
        found.append(week)
        last = week
    return found


def _iso(week: dt.date | None) -> str:
    if week is None:
        return CUT
    year, number, _ = week.isocalendar()
    return f"{year}-W{number:02d}"


def _points(values: list[Row], question: str, week: alt.X) -> alt.Chart:
    base = alt.Chart(theme.data(values))
    counts = ("courses", "yes", "no", "undecided", "left")
    drawn = base.mark_point(size=70, strokeWidth=2, opacity=1).encode(
        x=week,
        y=alt.Y(
            "share:Q",
            title=f"share {question}",
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
            alt.Tooltip("from:N", title="from"),
            *(alt.Tooltip(f"{name}:Q", title=name) for name in counts),
            alt.Tooltip("share:Q", title="share", format=".0%"),
            alt.Tooltip("limits:N", title="95 % limits"),
        ],
    )
    brush = alt.selection_interval(name=BRUSH, encodings=["x"])
    return drawn.add_params(brush).properties(name="cohorts")


def _point(row: Row) -> Row:
    kept = ("iso_week", "courses", "yes", "no", "undecided", "left", "share")
    given = row["low"] is not None
    return {
        **{name: row[name] for name in kept},
        "low": row["low"],
        "high": row["high"],
        "from": row["week_of"].isoformat(),
        "kind": KINDS[0] if row["closed"] else KINDS[1],
        "limits": f"{row['low']:.0%} to {row['high']:.0%}" if given else "none yet",
    }
