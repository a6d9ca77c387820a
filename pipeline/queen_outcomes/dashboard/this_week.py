"""The page a station opens on Monday: what is under way, what is due, what failed."""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import theme
from queen_outcomes.dashboard.charts.cohorts import cohort_chart
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


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `index.html` shows."""
    window = settings.outcomes.laying_days[0]
    cohorts = store.records(
        resources.read("sql", "10_pages", "cohorts.sql"),
        {"outcome": "laying", "window_days": window, "as_of": as_of},
    )
    season = _season_rate(store, window)
    due = store.records("SELECT * FROM due")
    failed = _failed(store, settings, as_of)
    lacking = store.records(resources.read("sql", "10_pages", "lacking.sql"))
    return {
        "counts": _counts(store),
        "due": [row for row in due if row["status"] == "due"],
        "missed": [row for row in due if row["status"] == "missed"],
        "due_first": DUE_FIRST,
        "window": window,
        "season": season,
        "season_words": words.rate_in_words(season, settings.min_shown)
        if season
        else "",
        "headline": words.estimate_in_words(season) if season else "",
        "cohorts": cohorts,
        "rates": _overall(store, settings),
        "failed": failed[:MOST_FAILED],
        "failed_first": FAILED_FIRST,
        "failed_more": max(0, len(failed) - MOST_FAILED),
        "lacking": _in_order(lacking, settings),
        "changes": _changes(store),
        "charts": _drawn(cohorts, season, window),
        "title_said": title(season, window, settings.min_shown),
        "first_closes": first_close(store, settings, as_of),
    }


def _failed(store: Store, settings: Settings, as_of: dt.date) -> list[dict[str, Any]]:
    """Give the courses of which a failure became known lately, the latest first."""
    return store.records(
        resources.read("sql", "10_pages", "failed_lately.sql"),
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


def _drawn(
    cohorts: list[dict[str, Any]], season: dict[str, Any] | None, window: int
) -> dict[str, Any]:
    """Draw the weeks, once one of them has a share."""
    if all(row["share"] is None for row in cohorts):
        return {}
    chart = cohort_chart(
        cohorts,
        question=f"laying by day {window}",
        season_rate=season["rate"] if season else None,
    )
    return {"cohorts": theme.dressed(chart)}


def _in_order(rows: list[dict[str, Any]], settings: Settings) -> list[dict[str, Any]]:
    """Put rows of outcomes in the order in which a station asks the questions."""
    order = {question: at for at, question in enumerate(settings.outcomes.windows)}
    return sorted(rows, key=lambda row: order[row["outcome"], row["window_days"]])


def title(season: dict[str, Any] | None, window: int, min_shown: int) -> str:
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


def first_close(
    store: Store, settings: Settings, as_of: dt.date
) -> dict[str, Any] | None:
    """Give when the first window closes, while none has.

    Returns
    -------
    dict or None
        outcome, window_days and ``on``, the day it closes; None once a window has
        closed, or where there is no course.
    """
    rows = store.records(
        """
        SELECT outcome, window_days, min(d0) + CAST(window_days + $grace AS INTEGER) AS "on"
        FROM outcomes
        JOIN courses USING (course_id)
        GROUP BY outcome, window_days
        ORDER BY "on", outcome
        LIMIT 1
        """,
        {"grace": settings.outcomes.grace_days},
    )
    return rows[0] if rows and rows[0]["on"] > as_of else None


def _counts(store: Store) -> dict[str, int]:
    ((courses, observed, failed),) = store.rows(
        """
        SELECT
            count(*),
            count(*) FILTER (
                WHERE exit_day IS NULL AND end_by IS NULL AND next_day IS NULL
            ),
            count(*) FILTER (WHERE end_by IS NOT NULL)
        FROM standings
        WHERE window_days IS NULL
        """
    )
    ((quarantined,),) = store.rows(
        "SELECT count(*) FROM (SELECT DISTINCT source, line FROM quarantine)"
    )
    return {
        "courses": courses,
        "observed": observed,
        "ended": failed,
        "quarantined": quarantined,
    }


def _season_rate(store: Store, window: int) -> dict[str, Any] | None:
    rows = store.records(
        "SELECT * FROM rates WHERE outcome = 'laying' AND window_days = $window "
        "AND \"grouping\" = 'season' ORDER BY level DESC LIMIT 1",
        {"window": window},
    )
    return rows[0] if rows else None


def _overall(store: Store, settings: Settings) -> list[dict[str, Any]]:
    rows = _in_order(
        store.records("SELECT * FROM rates WHERE \"grouping\" = 'all'"), settings
    )
    for row in rows:
        row["question"] = words.QUESTIONS[row["outcome"]]
        row["words"] = words.rate_in_words(row, settings.min_shown)
        row["bounds"] = words.bounds(row)
        row["headline"] = words.estimate_in_words(row)
    return rows


def _changes(store: Store) -> list[dict[str, Any]]:
    return store.records(
        """
        SELECT outcome, window_days, was, "is", because, count(*) AS courses,
            min(course_id) AS example
        FROM changes
        GROUP BY ALL
        ORDER BY courses DESC, outcome, window_days, was, "is", because
        LIMIT 20
        """
    )
