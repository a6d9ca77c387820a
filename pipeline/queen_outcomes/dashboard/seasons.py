"""One season against the one before, week by week on one axis.

A closed week is an estimate with its limits; a week still open only counts what is known.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from functools import partial
from itertools import pairwise
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.figures import only, statement
from queen_outcomes.facts.outcomes import OUTCOMES

COHORT_KINDS = ("closed week", "still open: known so far")
KIND = partial(theme.told_apart, "kind", COHORT_KINDS)
"""Gives a channel that tells closed weeks from open ones."""
COUNTS = ("courses", "yes", "no", "undecided", "left")
LINE_KEYS = ("week", "season", "share", "low", "high")
LONGEST_GAP = 6
"""Weeks without a queen that are still drawn; more of them are cut out of the axis."""
MOST_NAMED = 5
"""Remarkable weeks that are named on the chart, those furthest from their season's share."""
CUT = "…"
WEEKS = 53
BRUSH = "weeks"
"""Name of the weeks that are chosen; the page's script follows it."""

Row = dict[str, Any]


def weeks_of(
    store: Store, question: tuple[str, int], as_of: dt.date, first_month: int
) -> list[Row]:
    """Give the weeks of the two latest seasons.

    Parameters
    ----------
    store : Store
    question : tuple of str and int
    as_of : date
    first_month : int
        The month in which a season begins.

    Returns
    -------
    list of dict
        Of `cohorts.sql`, with ``place``, the number of the week within its season, and
        ``week``, its name there.
    """
    outcome, window = question
    asked = {
        "outcome": outcome,
        "window_days": window,
        "as_of": as_of,
        "fails": OUTCOMES[outcome].fails,
    }
    rows = store.records(statement("cohorts"), asked)
    first = first_week(first_month)
    for row in rows:
        row["place"] = (row["week_of"].isocalendar().week - first) % WEEKS
        row["week"] = name_of(row["place"], first_month)
    return rows


def first_week(first_month: int) -> int:
    """Give the ISO week in which a season begins, in an ordinary year."""
    return dt.date(2026, first_month, 4).isocalendar().week


def name_of(place: int, first_month: int) -> str:
    """Name a week of a season by its ISO number, as "W09"."""
    return f"W{(first_week(first_month) - 1 + place) % WEEKS + 1:02}"


def remarkable(rows: Iterable[Row], season_shares: dict[str, float]) -> list[Row]:
    """Give the closed weeks that a flagged graft spoilt, or that left their season's share.

    Returns
    -------
    list of dict
        week, season, ``at`` (the limit that looks away from the season), ``way`` and
        ``said``: which week, and the flagged graft that most of its failures are of,
        where there is one.
    """
    found = []
    for row in rows:
        usual = season_shares.get(row["season"])
        if usual is None or row["low"] is None:
            continue
        way = "low" if row["share"] < usual else "high"
        spoilt = way == "low" and row["batch"]
        if not spoilt and row["low"] <= usual <= row["high"]:
            continue
        found.append(
            {
                **{key: row[key] for key in ("week", "season")},
                "at": row[way],
                "way": way,
                "said": f"{row['week']}: {'graft ' + row['batch'] if spoilt else way}",
                "far": abs(row["share"] - usual),
            }
        )
    found.sort(key=lambda row: -row["far"])
    return found[:MOST_NAMED]


def cohort_chart(
    rows: list[Row],
    *,
    question: str,
    first_month: int = 1,
    season_shares: dict[str, float] | None = None,
) -> theme.Drawn:
    """Draw the share of yes by week of insemination, the seasons over each other.

    Parameters
    ----------
    rows : list of dict
        As `weeks_of` gives them. Weeks without a share are left out (they stand in the
        table).
    question : str
        What the share is of, for the axis.
    first_month : int
        The month in which a season begins.
    season_shares : dict, optional
        Each season's own share, from which remarkable weeks are told.
    """
    drawn = [_cohort_point(row) for row in rows if row["share"] is not None]
    values = only(drawn, drawn[0]) if drawn else []
    seasons = sorted({row["season"] for row in rows})
    looks = [theme.QUIET, theme.CLOSED][-len(seasons) :]
    week = _weeks([row["place"] for row in rows], first_month)
    colour = theme.told_apart("season", seasons, alt.Color, looks, legend=None)
    title = f"share {question}"
    share = theme.share_axis("share", title)
    points = (
        theme.chart(values)
        .mark_point(size=55, strokeWidth=theme.STROKE, opacity=theme.SOLID, filled=False)
        .encode(
            x=week,
            y=share,
            color=colour,
            shape=KIND(alt.Shape, ("circle", "triangle-up")),
            tooltip=[
                alt.Tooltip("iso_week:N", title="week"),
                alt.Tooltip("from:N", title="from"),
                *(alt.Tooltip(f"{name}:Q", title=name) for name in COUNTS),
                alt.Tooltip("share:Q", title="share", format=".0%"),
                alt.Tooltip("limits:N", title="95 % limits"),
            ],
        )
    )
    brush = alt.selection_interval(name=BRUSH, encodings=["x"])
    layers = [points.add_params(brush).properties(name="cohorts")]
    closed = only([p for p in values if p["low"] is not None], LINE_KEYS)
    if closed:  # a layer without data would have the scripts complain
        base = theme.chart(closed)
        limits = base.mark_rule(strokeWidth=theme.STROKE, opacity=0.45).encode(
            x=week, y=alt.Y("low:Q", title=title), y2=alt.Y2("high:Q"), color=colour
        )
        line = base.mark_line(strokeWidth=theme.STROKE).encode(x=week, y=share, color=colour)
        layers[:0] = [limits, line]
    layers += _season_names(values, week, share, colour)
    for way, down in (("low", 12), ("high", -12)):
        told = [r for r in remarkable(rows, season_shares or {}) if r["way"] == way]
        if told:
            remarks = theme.chart(told).mark_text(dy=down, fontSize=12, color=theme.INK)
            layers.append(
                remarks.encode(
                    x=week, y=alt.Y("at:Q", title=title), text=alt.Text("said:N")
                )
            )
    if CUT in week["scale"]["domain"]:
        layers.insert(0, _cut(week))
    return theme.layered(layers, height=260)


def _season_names(
    values: list[Row], week: alt.X, share: alt.Y, colour: alt.Color
) -> list[alt.Chart]:
    """Write each season's name at its last closed week, away from the other's line."""
    ends = [row for row in values if row["low"] is not None] or values
    last = {row["season"]: row for row in ends}
    sides: dict[int, list[Row]] = {-12: [], 16: []}
    for row in last.values():
        others = [r["share"] for r in ends if r["season"] != row["season"]]
        beside = [r["share"] for r in ends if r["week"] == row["week"] and r is not row]
        above = row["share"] >= max(beside or others or [0.0])
        sides[-12 if above else 16].append(row)
    return [
        theme.chart([{k: row[k] for k in ("week", "share", "season")} for row in part])
        .mark_text(align="left", dx=8, dy=down, fontSize=14, fontWeight=600)
        .encode(x=week, y=share, text=alt.Text("season:N"), color=colour)
        for down, part in sides.items()
        if part
    ]


def _weeks(places: Sequence[int], first_month: int) -> alt.X:
    """Give the axis: every week of a season, and long gaps cut out."""
    names = [
        CUT if place is None else name_of(place, first_month)
        for place in on_axis(places)
    ]
    return alt.X(
        "week:N",
        title="week of insemination (ISO)",
        sort=None,
        scale=alt.Scale(domain=names, type="point", padding=0.5),
        axis=alt.Axis(labelAngle=theme.UPRIGHT, labelOverlap="greedy", labelSeparation=6),
    )


def _cut(week: alt.X) -> alt.Chart:
    """Draw where the weeks without a queen are left out."""
    said = "weeks without a queen are left out"
    base = theme.chart([{"week": CUT, "said": said}])
    return base.mark_rule(color=theme.QUIET, strokeDash=[1, 4]).encode(
        x=week, tooltip=alt.Tooltip("said:N", title=CUT)
    )


def on_axis(places: Iterable[int]) -> list[int | None]:
    """Give the weeks to draw, in order, with None where a long gap is cut out.

    Only one gap is ever cut: two marks of the same name would be one on the axis.
    """
    ordered = sorted(set(places))
    gaps = [after - before - 1 for before, after in pairwise(ordered)]
    longest = max(gaps, default=0)
    found: list[int | None] = []
    for at, place in enumerate(ordered):
        gap = gaps[at - 1] if at else 0
        if gap > LONGEST_GAP and gap == longest and None not in found:
            found.append(None)
        elif gap:
            found += range(place - gap, place)
        found.append(place)
    return found


def _cohort_point(row: Row) -> Row:
    given = row["low"] is not None
    keys = ("iso_week", *COUNTS, "share", "low", "high", "week", "season")
    return {
        **{name: row[name] for name in keys},
        "from": row["week_of"].isoformat(),
        "kind": COHORT_KINDS[0] if row["closed"] else COHORT_KINDS[1],
        "limits": f"{row['low']:.0%} to {row['high']:.0%}" if given else "none yet",
    }
