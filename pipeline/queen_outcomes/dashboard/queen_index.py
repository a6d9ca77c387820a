"""The list that the queens page searches, sorts and filters: a row a course."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl

from queen_outcomes.dashboard import packing
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings

STATES = ("yes", "no", "undecided", "left")
"""A state is its place here and 1; 4 more while its window is open; 0: not at risk."""
NAMED = (
    "operator",
    "line",
    "graft_batch",
    "semen_batch",
    "protocol",
    "dose_ul",
    "end_reason",
)
"""Columns whose values stand once, in order, in a list of their own."""
COUNTED = ("course", "onset_after", "onset_by", "end_by")


def index(
    courses: pl.DataFrame,
    answers: pl.DataFrame,
    queens: list[str],
    settings: Settings,
    as_of: dt.date,
) -> dict[str, Any]:
    """Give the list as packed columns with what is needed to read them.

    Parameters
    ----------
    courses : DataFrame
        As `queen_cards.sql` gives it; the list keeps its order.
    answers : DataFrame
        The state of every outcome and window of every course.
    queens : list of str
        Every queen's label, in order; a course names her by her place.
    settings : Settings
        The outcomes asked about, their windows and the days of grace.
    as_of : date
        The day the figures stand for.

    Returns
    -------
    dict
        ``first_day`` (the earliest day 0; days are counted from there), ``queens``,
        ``questions``, ``lists`` (each named column's values), ``columns`` (packed) and
        ``states`` (a packed column a question).
    """
    first = courses["d0"].min() if len(courses) else as_of
    place = {queen: number for number, queen in enumerate(queens)}
    columns: dict[str, Any] = {
        "queen": packing.numbers([place[queen] for queen in courses["queen_id"]]),
        "d0": packing.numbers((courses["d0"] - first).dt.total_days()),
    }
    columns |= {name: packing.numbers(courses[name]) for name in COUNTED}
    lists = {}
    for name in NAMED:
        lists[name], columns[name] = _named(courses[name])
    return {
        "as_of": as_of,
        "first_day": first,
        "grace_days": settings.outcomes.grace_days,
        "queens": queens,
        "questions": [_question(*asked) for asked in settings.outcomes.windows],
        "lists": lists,
        "columns": packing.without_gaps(columns),
        "states": [
            packing.numbers(_states(courses, answers, *asked))
            for asked in settings.outcomes.windows
        ],
    }


def _question(outcome: str, days: int) -> dict[str, Any]:
    return {"outcome": outcome, "days": days, "words": words.OUTCOME_WORDS[outcome]}


def _named(column: pl.Series) -> tuple[list[Any], str | None]:
    """Give a column's values, each once and in order, and every row's place in them."""
    values = sorted(column.drop_nulls().unique())
    place = {value: number for number, value in enumerate(values)}
    return values, packing.numbers([place.get(value) for value in column])


def _states(
    courses: pl.DataFrame, answers: pl.DataFrame, outcome: str, days: int
) -> list[int]:
    asked = answers.filter(
        (pl.col("outcome") == outcome) & (pl.col("window_days") == days)
    )
    known = {
        course: STATES.index(state) + 1 + (0 if closed else len(STATES))
        for course, state, closed in asked.select(
            "course_id", "state", "closed"
        ).iter_rows()
    }
    return [known.get(course, 0) for course in courses["course_id"]]
