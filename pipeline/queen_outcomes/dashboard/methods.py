"""The definitions, with this station's own settings in them."""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.how_sure import how_sure
from queen_outcomes.facts import words
from queen_outcomes.facts.dictionary import DERIVED_LIMITS, TABLES
from queen_outcomes.facts.settings import Settings


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `methods.html` shows."""
    del as_of
    return {
        "models": settings.models,
        "plan": settings.plan,
        "fixed": [
            {**row, "name": in_words(row["name"])}
            for row in _rows(store, "season_fixed", "name")
        ],
        "plan_changes": _rows(store, "season_changes", '"on", what'),
        **how_sure(),
        "rules": settings.outcomes,
        "windows": [
            {"outcome": outcome, "days": days, "question": words.QUESTIONS[outcome]}
            for outcome, days in settings.outcomes.windows
        ],
        "limits": [*_limits(settings), *_derived_limits(settings)],
        "charts": {},
    }


def in_words(name: str) -> str:
    """Name what a season's file holds, its outcome as the other pages call it."""
    for outcome, said in words.OUTCOME_WORDS.items():
        name = name.replace(f"{outcome} by day", f"{said} by day")
    return name


def _rows(store: Store, name: str, order: str) -> list[dict[str, Any]]:
    there = store.has(name)
    return store.records(f"SELECT * FROM {name} ORDER BY {order}") if there else []


def _limits(settings: Settings) -> list[dict[str, Any]]:
    found = []
    for table in TABLES.values():
        for column in table.columns:
            if column.flat:
                continue
            hard = settings.limit(table.name, column.name, "hard", column.hard)
            soft = settings.limit(table.name, column.name, "soft", column.soft)
            if hard or soft:
                found.append(_limit(table.name, column.name, column.unit, hard, soft))
    return found


def _derived_limits(settings: Settings) -> list[dict[str, Any]]:
    units = {"queen_age_days": "days", "drone_age_days": "days", "semen_age_h": "hours"}
    return [
        _limit(
            "derived",
            name,
            units[name],
            settings.limit("derived", name, "hard", hard),
            settings.limit("derived", name, "soft", soft),
        )
        for name, (hard, soft) in DERIVED_LIMITS.items()
    ]


def _limit(table: str, column: str, unit: str, hard: Any, soft: Any) -> dict[str, Any]:
    return {
        "table": table,
        "column": column,
        "hard": hard.words(unit) if hard else "",
        "soft": soft.words(unit) if soft else "",
        "why": "; ".join(
            dict.fromkeys(limit.why for limit in (hard, soft) if limit and limit.why)
        ),
    }
