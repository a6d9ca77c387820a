"""The page a station opens on Monday: what is under way, what is due, what failed."""

from __future__ import annotations

import datetime as dt
from functools import partial
from itertools import pairwise
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.facts import words
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings

LATELY_DAYS = 7
"""How far back "lately" reaches, in days."""
DUE_FIRST = 12
"""Checks due that are shown at once; the rest unfold."""
FAILED_FIRST = 12
"""Failures shown at once; the rest unfold."""
MOST_FAILED = 40
"""Failures listed before the page refers to the queens page."""
MOST_CHANGES = 20
"""Kinds of change that are listed."""
COHORT_KINDS = ("closed week", "still open: known so far")
KIND = partial(theme.told_apart, "kind", COHORT_KINDS)
"""Gives a channel that tells closed weeks from open ones."""
COUNTS = ("courses", "yes", "no", "undecided", "left")
LONGEST_GAP = 6
"""Weeks without a queen that are still drawn; more of them are cut out of the axis."""
CUT = "…"
WEEK = dt.timedelta(days=7)
BRUSH = "weeks"
"""Name of the weeks that are chosen; the page's script follows it."""

Row = dict[str, Any]


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `index.html` shows."""
    window = settings.outcomes.laying_days[0]
    asked = {"outcome": "laying", "window_days": window}
    cohorts = store.records(statement("cohorts"), {**asked, "as_of": as_of})
    season = _season_rate(store, window)
    due = store.records("SELECT * FROM due")
    failed = _failed(store, settings, as_of)
    lacking = store.records(statement("lacking"))
    charts = {}
    if any(row["share"] is not None for row in cohorts):
        question, rate = f"laying by day {window}", season and season["rate"]
        charts["cohorts"] = cohort_chart(cohorts, question=question, season_rate=rate)
    return {
        "counts": store.records(statement("standing_counts"))[0],
        "due": [row for row in due if row["status"] == "due"],
        "missed": [row for row in due if row["status"] == "missed"],
        "due_first": DUE_FIRST,
        "window": window,
        "season": season,
        "season_words": season and words.rate_in_words(season, settings.min_shown),
        "headline": season and words.estimate_in_words(season),
        "cohorts": cohorts,
        "rates": _overall(store, settings),
        "failed": failed[:MOST_FAILED],
        "failed_first": FAILED_FIRST,
        "failed_more": max(0, len(failed) - MOST_FAILED),
        "lacking": _in_order(lacking, settings),
        "changes": store.records(statement("changes_counted"), {"most": MOST_CHANGES}),
        "charts": charts,
        "title_said": title(season, window, settings.min_shown),
        "first_closes": first_close(store, settings, as_of),
    }


def _failed(store: Store, settings: Settings, as_of: dt.date) -> list[Row]:
    """Give the courses of which a failure became known lately, the latest first."""
    return store.records(
        statement("failed_lately"),
        {
            "as_of": as_of,
            "lately_days": LATELY_DAYS,
            "grace_days": settings.outcomes.grace_days,
            "sources": words.source_names(store),
            "failures": [
                {
                    "outcome": name,
                    "window_days": days,
                    "state": OUTCOMES[name].fails,
                    "what": OUTCOMES[name].failure.format(days),
                }
                for name, days in settings.outcomes.windows
                if OUTCOMES[name].is_told_at_close
            ],
        },
    )


def _in_order(rows: list[Row], settings: Settings) -> list[Row]:
    """Put rows of outcomes in the order in which a station asks the questions."""
    order = {question: at for at, question in enumerate(settings.outcomes.windows)}
    return sorted(rows, key=lambda row: order[row["outcome"], row["window_days"]])


def title(season: Row | None, window: int, min_shown: int) -> str:
    """Say the season's estimate, or why it is no headline yet."""
    if season is None:
        return f"Laying by day {window}, week by week"
    if season["estimate"] is None or season["closed"] < min_shown:
        return (
            f"Laying by day {window}: too early to say for season {season['level']}, "
            f"{season['closed']} of {season['courses']} courses closed"
        )
    return (
        f"Laying by day {window}: {words.percent(season['estimate'])} of the queens of "
        f"season {season['level']}"
    )


def first_close(store: Store, settings: Settings, as_of: dt.date) -> Row | None:
    """Give when the first window closes, while none has.

    Returns
    -------
    dict or None
        outcome, window_days and ``on``, the day it closes; None once a window has
        closed, or where there is no course.
    """
    grace = {"grace_days": settings.outcomes.grace_days}
    rows = store.records(statement("first_close"), grace)
    return rows[0] if rows and rows[0]["on"] > as_of else None


def _season_rate(store: Store, window: int) -> Row | None:
    rows = store.records(
        "SELECT * FROM rates WHERE outcome = 'laying' AND window_days = $window "
        "AND \"grouping\" = 'season' ORDER BY level DESC LIMIT 1",
        {"window": window},
    )
    return rows[0] if rows else None


def _overall(store: Store, settings: Settings) -> list[Row]:
    rows = _in_order(
        store.records("SELECT * FROM rates WHERE \"grouping\" = 'all'"), settings
    )
    for row in rows:
        row["question"] = OUTCOMES[row["outcome"]].question
        row["words"] = words.rate_in_words(row, settings.min_shown)
        row["bounds"] = words.bounds(row)
        row["headline"] = words.estimate_in_words(row)
    return rows


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
    values = [_cohort_point(row) for row in rows if row["share"] is not None]
    week = _weeks([row["week_of"] for row in rows])
    points = (
        theme.chart(values)
        .mark_point(size=70, strokeWidth=2, opacity=1)
        .encode(
            x=week,
            y=theme.share_axis("share", f"share {question}"),
            color=KIND(alt.Color, (theme.CLOSED, theme.OPEN)),
            shape=KIND(alt.Shape, ("circle", "triangle-up")),
            fill=KIND(alt.Fill, (theme.CLOSED, "transparent")),
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
    closed = [point for point in values if point["low"] is not None]
    if closed:  # a layer without data would have the scripts complain
        limits = theme.chart(closed)
        limits = limits.mark_rule(strokeWidth=2, opacity=0.6).encode(
            x=week,
            y=alt.Y("low:Q", title=f"share {question}"),
            y2="high:Q",
            color=KIND(alt.Color, (theme.CLOSED, theme.OPEN)),
        )
        layers.insert(0, limits)
    if season_rate is not None:
        line = theme.chart([{"rate": season_rate}])
        line = line.mark_rule(strokeDash=[5, 4], color=theme.QUIET, strokeWidth=1.5)
        layers.insert(0, line.encode(y=alt.Y("rate:Q", title=f"share {question}")))
    if CUT in week["scale"]["domain"]:
        layers.insert(0, _cut(week))
    return theme.layered(layers, height=260)


def _weeks(weeks: list[dt.date]) -> alt.X:
    """Give the axis: every week of a season, and winters cut out."""
    names = [_iso_week(week) for week in on_axis(weeks)]
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
    base = theme.chart([{"iso_week": CUT, "said": said}])
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


def _iso_week(week: dt.date | None) -> str:
    return CUT if week is None else f"{week:%G-W%V}"


def _cohort_point(row: Row) -> Row:
    given = row["low"] is not None
    return {
        **{name: row[name] for name in ("iso_week", *COUNTS, "share", "low", "high")},
        "from": row["week_of"].isoformat(),
        "kind": COHORT_KINDS[0] if row["closed"] else COHORT_KINDS[1],
        "limits": f"{row['low']:.0%} to {row['high']:.0%}" if given else "none yet",
    }
