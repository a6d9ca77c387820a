"""The checks due: how many, until when each is of use, where, and what to look for."""

from __future__ import annotations

import datetime as dt
from itertools import groupby
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.facts.dose_words import counted
from queen_outcomes.facts.settings import Settings

STATUSES = ("due", "missed")
OPENED = 12
"""Rows of the first day that stand open; the other days unfold."""

Row = dict[str, Any]


def show(store: Store, _settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `due.html` shows."""
    rows = store.records('SELECT * FROM due ORDER BY useful_until, colony_id, "on"')
    days = [
        {"day": day, "rows": list(part), "title": _day_said(day, as_of)}
        for day, part in groupby(rows, key=_useful_until)
    ]
    charts = {"due": due_chart(rows)} if rows else {}
    ((courses,),) = store.rows("SELECT count(*) FROM courses")
    return {
        "rows": rows,
        "days": days,
        "opened": OPENED,
        "said": due_said(rows, as_of),
        "courses": courses,
        "charts": charts,
        "numbers": _numbers(days),
    }


def _useful_until(row: Row) -> dt.date:
    return row["useful_until"]


def _day_said(day: dt.date, as_of: dt.date) -> str:
    left = (day - as_of).days
    far = {0: "today", 1: "tomorrow"}.get(left, f"in {left} days")
    return f"{day.isoformat()}, {far}"


def _numbers(days: list[Row]) -> list[Row]:
    return [
        {
            "useful_until": day["day"],
            **{
                name: sum(row["status"] == name for row in day["rows"])
                for name in STATUSES
            },
        }
        for day in days
    ]


def due_said(rows: list[Row], as_of: dt.date) -> str:
    """Say how many checks are due, and how many of them can wait for no other day."""
    due = [row for row in rows if row["status"] == "due"]
    if not rows:
        return "No check is due: nothing open could be settled by a look today."
    missed = len(rows) - len(due)
    today = sum(row["useful_until"] == as_of for row in rows)
    text = f"{counted(len(due), 'check is', 'checks are')} due"
    if missed:
        text += f", and {missed} missed in the last 30 days can still be made good"
    if today:
        text += f"; for {today} of them today is the last day of use"
    return f"{text}."


def closing_days(
    rows: list[Row], as_of: dt.date, most_days: int, most_colonies: int
) -> list[Row]:
    """Give the next days on which windows close, with colonies to look into.

    Parameters
    ----------
    rows : list of dict
        Of ``due``.
    as_of : date
    most_days, most_colonies : int
        How many are named; what is over is counted.

    Returns
    -------
    list of dict
        title, rows (the first of each colony, at most as many as asked) and more.
    """
    ordered = sorted(
        rows, key=lambda row: (row["useful_until"], row["colony_id"] or "~")
    )
    found = []
    for day, part in groupby(ordered, key=_useful_until):
        own = list({row["colony_id"] or row["queen_id"]: row for row in part}.values())
        more = max(0, len(own) - most_colonies)
        shown = own[:most_colonies]
        found.append({"title": _day_said(day, as_of), "rows": shown, "more": more})
    return found[:most_days]


def due_chart(rows: list[Row]) -> theme.Drawn:
    """Draw how many checks are of use until which day."""
    counts: dict[tuple[str, str], int] = {}
    for row in rows:
        key = (row["useful_until"].isoformat(), row["status"])
        counts[key] = counts.get(key, 0) + 1
    values = [
        {"until": until, "status": status, "checks": many}
        for (until, status), many in sorted(counts.items())
    ]
    bars = theme.chart(values).mark_bar(opacity=theme.SOLID)
    days = sorted({row["until"] for row in values})
    return theme.layered(
        [
            bars.encode(
                x=alt.X(
                    "until:O",
                    title="last day on which the look settles anything",
                    scale=alt.Scale(domain=days),
                    axis=alt.Axis(
                        labelAngle=theme.UPRIGHT, labelOverlap="greedy", labelSeparation=8
                    ),
                ),
                y=alt.Y("checks:Q", title="checks", axis=alt.Axis(tickMinStep=theme.WHOLE)),
                color=theme.told_apart(
                    "status", STATUSES, alt.Color, (theme.CLOSED, theme.OPEN)
                ),
                tooltip=["until:N", "status:N", "checks:Q"],
            )
        ],
        height=180,
    )
