"""The page a station opens on Monday: what needs a person, the season, what is due."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import against_expected, seasons
from queen_outcomes.dashboard.charts.linked import linked, table
from queen_outcomes.dashboard.charts.trend_line import trend_line
from queen_outcomes.dashboard.due import closing_days
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.facts import words
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes import attention

LATELY_DAYS = 7
"""How far back "lately" reaches, in days."""
WEEKS_BACK = 12
"""Weeks that the small trend lines tell."""
DUE_DAYS, DUE_COLONIES = 4, 5
"""Days on which windows close soonest, and colonies of each, that the page names."""
FAILED_FIRST = 5
"""Failures shown at once; the rest unfold."""
MOST_FAILED = 15
"""Failures listed before the page refers to the queens page."""
MOST_CHANGES = 20
"""Kinds of change that are listed."""

Row = dict[str, Any]


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `index.html` shows."""
    window = settings.outcomes.laying_days[0]
    question = ("laying", window)
    first_month = settings.season_first_month
    weeks = seasons.weeks_of(store, question, as_of, first_month)
    season = _season_rate(store, window)
    both = attention.season_against_last(store, question)
    due = store.records("SELECT * FROM due")
    failed = _failed(store, settings, as_of, LATELY_DAYS)
    lacking = store.records(statement("lacking"))
    charts = {}
    if any(row["share"] is not None for row in weeks):
        drawn = seasons.cohort_chart(
            weeks,
            question=f"laying by day {window}",
            first_month=first_month,
            season_shares=_season_shares(store, window),
        )
        charts["cohorts"] = linked(drawn, "week", "iso_week")
    behind = []
    if season and "cohorts" in charts:  # they stand under its picture
        behind = against_expected.show(store, settings, season["level"], charts)
    matters = attention.worst_first(store)
    counts = store.records(statement("standing_counts"))[0]
    rates = _overall(store, settings)
    return {
        "attention": matters[: attention.MOST_SHOWN],
        "attention_more": matters[attention.MOST_SHOWN :],
        "counts": counts,
        "tiles": _tiles(store, settings, as_of, counts, due, failed),
        "due": [row for row in due if row["status"] == "due"],
        "missed": [row for row in due if row["status"] == "missed"],
        "closing": closing_days(due, as_of, DUE_DAYS, DUE_COLONIES),
        "window": window,
        "season": season,
        "season_words": season and words.rate_in_words(season, settings.min_shown),
        "headline": season and words.estimate_in_words(season),
        "against_last": attention.season_said(question, *both) if both else "",
        "behind": behind,
        "linked": _linked(store, as_of) if len(charts) > 1 else None,
        "cohorts": weeks,
        "week_names": list(dict.fromkeys(r["week"] for r in sorted(weeks, key=_place))),
        "rates": rates,
        "sensitivity": _sensitivity(store, rates),
        "failed": failed[:MOST_FAILED],
        "failed_first": FAILED_FIRST,
        "failed_more": max(0, len(failed) - MOST_FAILED),
        "lacking": _in_order(lacking, settings),
        "changes": store.records(statement("changes_counted"), {"most": MOST_CHANGES}),
        "charts": charts,
        "title_said": title(season, window, settings.min_shown),
        "first_closes": first_close(store, settings, as_of),
    }


def _linked(store: Store, as_of: dt.date) -> Row | None:
    """Give what the weeks, operators and grafts of the latest season share."""
    asked = {"as_of": as_of, "seasons": 1}
    courses = store.records(statement("linked_courses"), asked)
    return table(courses, ("week", "operator", "graft_batch"))


def _place(row: Row) -> int:
    return row["place"]


def _season_shares(store: Store, window: int) -> dict[str, float]:
    """Give each season's estimate, where there is one."""
    return dict(
        store.rows(
            "SELECT level, estimate FROM rates WHERE outcome = 'laying' AND "
            "window_days = $window AND \"grouping\" = 'season' AND estimate IS NOT NULL",
            {"window": window},
        )
    )


def _tiles(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    counts: Row,
    due: list[Row],
    failed: list[Row],
) -> list[Row]:
    """Give the figures at a glance, each with its change since last week and its trend."""
    given = {"as_of": as_of, "weeks": WEEKS_BACK}
    past = store.records(statement("weeks_past"), given)[::-1]
    lately = _failed(store, settings, as_of, LATELY_DAYS * WEEKS_BACK)
    by_week = Counter((as_of - row["on"]).days // LATELY_DAYS for row in lately)
    failures = [by_week[back] for back in reversed(range(WEEKS_BACK))]
    missed = sum(row["status"] == "missed" for row in due)
    still = f"{len(due) - missed:,} due" + (f", {missed:,} missed" if missed else "")
    series = (
        (
            [row["observed"] for row in past],
            "course",
            "under observation",
            "queens.html",
        ),
        ([row["inseminated"] for row in past], "course", "inseminated this week", ""),
        (
            [row["looks"] for row in past],
            "check",
            f"made this week; {still}",
            "due.html",
        ),
        (failures, "failure", "known since last week", "#failed"),
    )
    tiles = [
        {
            "number": values[-1],
            "said": f"{one}{'' if values[-1] == 1 else 's'} {rest}",
            "link": link,
            "change": change_said(values),
            "trend": trend_line(values),
            "trend_said": f"the last {WEEKS_BACK} weeks: {', '.join(map(str, values))}",
        }
        for values, one, rest, link in series
    ]
    many = counts["quarantined"]
    said = f"row{'' if many == 1 else 's'} in quarantine"
    tiles.append({"number": many, "said": said, "link": "records.html#quarantine"})
    return tiles


def change_said(values: list[int]) -> str:
    """Say how the last of weekly numbers stands to the one before."""
    change = values[-1] - values[-2]
    return f"{change:+,} on last week" if change else "as last week"


def _failed(
    store: Store, settings: Settings, as_of: dt.date, lately_days: int = LATELY_DAYS
) -> list[Row]:
    """Give the courses of which a failure became known lately, the latest first."""
    return store.records(
        statement("failed_lately"),
        {
            "as_of": as_of,
            "lately_days": lately_days,
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


def _sensitivity(store: Store, rates: list[Row]) -> list[Row]:
    """Give how far each headline hangs on what nobody saw."""
    if not store.has("sensitivity"):
        return []
    found = {
        (row["outcome"], row["window_days"]): row
        for row in store.records("SELECT * FROM sensitivity")
    }
    shown = [row for row in rates if row["estimate"] is not None]
    told = []
    for row in shown:
        place = {key: row[key] for key in ("outcome", "window_days")}
        own = found.get(tuple(place.values()))
        if own:
            shares = {key: words.percent(own[key]) for key in own if key not in place}
            told.append({**place, **shares, "share": row["estimate"]})
    return told


def _overall(store: Store, settings: Settings) -> list[Row]:
    rows = _in_order(
        store.records("SELECT * FROM rates WHERE \"grouping\" = 'all'"), settings
    )
    for row in rows:
        row["question"] = OUTCOMES[row["outcome"]].question
        row["words"] = words.rate_in_words(row, settings.min_shown)
        row["bounds"] = words.bounds(row)
        row["headline"] = words.estimate_in_words(row)
        decided = row["yes"] + row["no"]
        if row["estimate"] is None and decided >= words.MOSTLY * row["closed"] > 0:
            row["headline"] = f"{row['words'].split(', ', 1)[0]}, plain rate"
    return rows
