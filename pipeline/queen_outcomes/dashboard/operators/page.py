"""Auditing technique: batches first, then operators, their running series and the bench.

Shows the audit's tables and computes nothing that is not a sum. A figure here asks for a
look at semen, queens and bench; it names no cause and judges nobody.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.audit import own_courses
from queen_outcomes.audit.cases import read_audited, read_risk_model
from queen_outcomes.audit.said import failing, verdict
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts.linked import table
from queen_outcomes.dashboard.figures import grouped, statement
from queen_outcomes.dashboard.operators import (
    batches,
    learning,
    overview,
    process,
    rates,
    series,
)
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.terms import MAIN

Row = dict[str, Any]
ALL_SEASONS = 1000
HALF = 0.5
"""Share of decided courses of unknown risk from which on nothing is to be read here."""
MOST_LISTED = 100
"""Failed queens that the page lists of an operator; her sheet lists all."""
FAILED_COLUMNS = tuple(c for c in own_courses.COLUMNS if c[0] != "instrument")
WORTH_SAYING = 0.05
"""Share of decided courses left out from which on the page says so; the table always does."""


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `operators.html` shows."""
    charts: dict[str, Any] = {}
    question = settings.plan.question
    everybody = store.records("SELECT * FROM operators ORDER BY ALL")
    rows = [r for r in everybody if (r["outcome"], r["window_days"]) == question]
    outcome, days = question
    asked = {"outcome": outcome, "window_days": days}
    (courses,) = store.records(statement("audited_counts"), asked)
    of_batches = batches.show(store, settings, rows, charts)
    parts = {
        "figures": rates.show(store, settings, everybody, charts),
        "series": series.show(store, settings, rows, charts),
        "learning": learning.show(store, settings, rows, charts),
        "process": process.show(store, settings, charts),
    }
    signals = store.records(
        "SELECT operator, signal, known_on FROM operator_series WHERE signal <> '' "
        "ORDER BY known_on"
    )
    whose = {
        "failed": _failed(store, settings, rows),
        "signals": grouped(signals),
        "curves": grouped(parts["learning"]["curves"]),
        "others": grouped(parts["figures"]["others"]),
    }
    return {
        **parts,
        "overview": overview.show(store, settings, rows, of_batches["flagged"]),
        "stories": [
            _story(at, row, question, parts, whose)
            for at, row in enumerate(rows, start=1)
        ],
        "failed_columns": FAILED_COLUMNS,
        "failed_numbers": own_courses.NUMBERS,
        "most_listed": MOST_LISTED,
        "asked": failing(question),
        "cannot": cannot_be_shown(courses, rows, settings),
        "cautions": cautions(courses, rows),
        "expected": _expected(store, question),
        "charts": charts,
        "linked": _linked(store, as_of) if charts and rows else None,
        "batches": of_batches,
    }


def _linked(store: Store, as_of: dt.date) -> Row | None:
    """Give what all courses share: days, operators and batches; the latest, where they are many."""
    asked = {"as_of": as_of, "seasons": ALL_SEASONS}
    courses = store.records(statement("linked_courses"), asked)
    return table(courses, ("day", "operator", "graft_batch", "semen_batch"))


def _failed(store: Store, settings: Settings, rows: list[Row]) -> dict[str, list[Row]]:
    """Give each operator's failed queens, in words, the latest first."""
    cases = read_audited(store, settings.plan.question, settings.outcomes.grace_days)
    names = [row["operator"] for row in rows]
    return {
        name: [own_courses.said(one) for one in own]
        for name, own in own_courses.failed_queens(store, cases, names).items()
    }


def _story(
    at: int,
    row: Row,
    question: tuple[str, int],
    parts: dict[str, Row],
    whose: dict[str, dict[str, list[Row]]],
) -> Row:
    """Give all that the page says of one operator, from its parts and rows by operator."""
    name = row["operator"]
    own = {kind: by_operator[name] for kind, by_operator in whose.items()}
    return {
        "key": f"story-{at}",
        "operator": name,
        "verdict": verdict(row, name, question, own["signals"]),
        "series": parts["series"]["own"].get(name),
        "failed": own["failed"][:MOST_LISTED],
        "failed_count": len(own["failed"]),
        "process": parts["process"]["own"].get(name),
        "experience": parts["learning"]["own"].get(name),
        "curves": own["curves"],
        "others": own["others"],
    }


def cannot_be_shown(courses: Row, rows: list[Row], settings: Settings) -> str:
    """Say why no operator's figure can be given; empty where one can."""
    if not courses["closed"]:
        return (
            "No window has closed yet. The first figures appear once "
            f"{settings.min_shown} closed courses of an operator are on record."
        )
    if not rows:
        return (
            f"No operator is recorded for the {courses['closed']} closed courses. Record "
            "who inseminated, and this page follows; batches are shown meanwhile."
        )
    if not any(row["shown"] for row in rows):
        return (
            f"No operator has {settings.min_shown} closed, decided courses of known risk "
            "yet: counts only."
        )
    return ""


def cautions(courses: Row, rows: list[Row]) -> list[str]:
    """Say what makes these figures weaker than they look."""
    said = []
    if courses["decided"] and not courses["failures"]:
        said.append(
            f"None of the {courses['decided']} decided courses failed: there is nothing "
            "to tell operators apart by."
        )
    elif courses["decided"] and courses["failures"] == courses["decided"]:
        said.append(
            f"All {courses['decided']} decided courses failed: there is nothing to tell "
            "operators apart by. Look at what they have in common, semen first."
        )
    if len(rows) == 1:
        said.append(
            f"{rows[0]['operator']} is the only operator on record. What is expected comes "
            "from the same courses, so observed and expected agree by arithmetic; only "
            "the running series against earlier courses says anything."
        )
    unknown, decided = courses["unknown_risk"], courses["decided"]
    if unknown >= WORTH_SAYING * max(decided, 1):
        start = (
            "Read nothing into this page yet: f" if unknown >= HALF * decided else "F"
        )
        said.append(
            f"{start}or {unknown} of {decided} decided courses a factor of the model is "
            "not recorded, so nothing can be expected of them and they take no part."
        )
    if courses["unnamed"] >= WORTH_SAYING * max(decided, 1) and rows:
        said.append(
            f"For {courses['unnamed']} of {decided} decided courses no operator is "
            "recorded; they count for the station and for batches only."
        )
    return said


def _expected(store: Store, question: tuple[str, int]) -> Row:
    """Say what the expected failures allow for."""
    model = read_risk_model(store, question)
    allowed = [
        MAIN[form.term.name].label for form in model.forms if form.term.name in MAIN
    ]
    return {
        "message": f"{model.message[:1].upper()}{model.message[1:]}",
        "allowed": ", ".join(allowed),
        "experience": any(form.term.name == "experience" for form in model.forms),
        "rate": words.percent(
            model.failures / model.courses if model.courses else None
        ),
    }
