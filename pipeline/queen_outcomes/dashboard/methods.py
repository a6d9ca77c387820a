"""The definitions, with this station's own settings in them."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any

from queen_outcomes import resources
from queen_outcomes.dashboard import words
from queen_outcomes.records.dictionary import TABLES
from queen_outcomes.records.limits import DERIVED_LIMITS
from queen_outcomes.settings import Settings
from queen_outcomes.store import Store


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `methods.html` shows."""
    del as_of
    return {
        "models": settings.models,
        "plan": settings.plan,
        "fixed": _rows(store, "season_fixed", "name"),
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


def _rows(store: Store, name: str, order: str) -> list[dict[str, Any]]:
    there = store.has(name)
    return store.records(f"SELECT * FROM {name} ORDER BY {order}") if there else []


def how_sure() -> dict[str, Any]:
    """Give the kept tables of simulated stations: coverage, and false signals."""
    recovery = _kept("recovery.csv")
    shown = [
        {
            "what": f"{row['what']}: {row['question']}",
            "stations": row["stations"],
            "share": float(row["share"]),
            "nominal": float(row["nominal"]),
            "bias": f"{100 * float(row['bias']):+.1f}" if row["bias"] else "",
            "off": not float(row["band_low"])
            <= float(row["share"])
            <= float(row["band_high"]),
        }
        for row in recovery
    ]
    return {
        "recovery": shown,
        "recovery_said": f"{recovery[0]['command']}, {recovery[0]['made_on']}",
        "signals": [
            {**row, "signalled": f"{100 * float(row['signalled']):.1f} %"}
            for row in _kept("false_signals.csv")
        ],
    }


def _kept(name: str) -> list[dict[str, str]]:
    text = resources.read("reports", "text", name)
    return list(csv.DictReader(io.StringIO(text)))


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
