"""The definitions, with this station's own settings in them."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts import words
from queen_outcomes.facts.dictionary import DERIVED_LIMITS, TABLES
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.fit import MOST_SHIFT

DERIVED_UNITS = {
    "queen_age_days": "days",
    "drone_age_days": "days",
    "semen_age_h": "hours",
}
FAR = 0.015
"""From the share that was promised: further off is an exception, and is named."""
WHY = {
    "test of a term without effect": "a semen batch holds about seven courses, too few "
    "to show how far such batches differ",
}
"""Reasons, as far as they are known, of what the tables show to be off."""
PLAIN, BY_BATCH = "rate", "rate, limits by batch"
"""Plain rates are measured against a truth that they do not aim at: said, not listed."""


def show(store: Store, settings: Settings, _as_of: dt.date) -> dict[str, Any]:
    """Give what the page `methods.html` shows."""
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
            {"outcome": outcome, "days": days, "question": OUTCOMES[outcome].question}
            for outcome, days in settings.outcomes.windows
        ],
        "limits": _limits(settings),
    }


def in_words(name: str) -> str:
    """Name what a season's file holds, its outcome as the other pages call it."""
    for outcome in OUTCOMES.values():
        name = name.replace(f"{outcome.name} by day", f"{outcome.label} by day")
    return name


def _rows(store: Store, name: str, order: str) -> list[dict[str, Any]]:
    there = store.has(name)
    return store.records(f"SELECT * FROM {name} ORDER BY {order}") if there else []


def _limits(settings: Settings) -> list[dict[str, Any]]:
    """Give every column that has limits, with this station's own where it sets any."""
    declared = [
        (
            table.name,
            column.name,
            column.unit,
            {"hard": column.hard, "soft": column.soft},
        )
        for table in TABLES.values()
        for column in table.columns
        if not column.flat
    ]
    declared += [
        ("derived", name, DERIVED_UNITS[name], {"hard": hard, "soft": soft})
        for name, (hard, soft) in DERIVED_LIMITS.items()
    ]
    rows = []
    for table, column, unit, usual in declared:
        own = {
            kind: limit
            for kind, one in usual.items()
            if (limit := settings.limit(table, column, kind, one))
        }
        if own:
            row = {"table": table, "column": column, "hard": "", "soft": ""}
            row |= {kind: limit.words(unit) for kind, limit in own.items()}
            whys = dict.fromkeys(limit.why for limit in own.values() if limit.why)
            rows.append({**row, "why": "; ".join(whys)})
    return rows


def how_sure() -> dict[str, Any]:
    """Give coverage, what lies far off in it and why, false signals, and false P."""
    recovery, agreement = _kept("recovery.csv"), _asked("agreement.csv")
    plain = [row for row in recovery if row["what"].startswith(PLAIN)]
    return {
        "recovery": [_coverage(row) for row in recovery if row not in plain],
        "plain": [
            f"{words.outcome_by_day(*_asked_of(row))} {_points(row['bias'])}"
            for row in plain
            if row["what"] == BY_BATCH
        ],
        "recovery_said": f"{recovery[0]['command']}, {recovery[0]['made_on']}",
        "exceptions": [said for row in recovery if (said := exception(row))],
        "signals": _found("false_signals.csv"),
        "type_one": _found("type_one.csv"),
        "foreign": _asked("foreign_truth.csv"),
        "hands": _asked("foreign_hands.csv"),
        "agreement": agreement,
        "shifted": sorted(
            {r["asked"] for r in agreement if float(r["largest_shift"]) > MOST_SHIFT}
        ),
        "most_shift": MOST_SHIFT,
    }


def _asked(name: str) -> list[dict[str, str]]:
    """Give a kept table's rows with their outcome and generator as words."""
    return [
        {
            **row,
            "asked": words.outcome_by_day(row["outcome"], int(row["window_days"])),
            "generator": row.get("generator", "").replace("_", " "),
            **{n: f"{float(row[n]):.2f}" for n in ("bias", "spread") if row.get(n)},
        }
        for row in _kept(name)
    ]


def _found(name: str) -> list[dict[str, str]]:
    """Give a kept table's rows with their share and limits as words."""
    return [
        {**row, "found": "{:.1f} % ({:.1f}-{:.1f})".format(*_hundredths(row))}
        for row in _kept(name)
    ]


def _hundredths(row: dict[str, str]) -> list[float]:
    return [100 * float(row[name]) for name in ("share", "low", "high")]


def exception(row: dict[str, str]) -> str:
    """Say how far a figure is off and why; nothing where it is near, or a plain rate."""
    share, nominal = float(row["share"]), float(row["nominal"])
    if abs(share - nominal) <= FAR or row["what"].startswith(PLAIN):
        return ""
    name = _figure_name(row)
    why = (
        WHY.get(f"{row['what']}: {row['question']}")
        or WHY.get(row["what"])
        or "the reason is not known"
    )
    bias = f", {_points(row['bias'])} points off on average" if row["bias"] else ""
    return f"{name}: {100 * share:.1f} % in place of {100 * nominal:.0f} %{bias}; {why}"


def _coverage(row: dict[str, str]) -> dict[str, Any]:
    share = float(row["share"])
    return {
        "what": _figure_name(row),
        "stations": row["stations"],
        "share": share,
        "nominal": float(row["nominal"]),
        "bias": _points(row["bias"]) if row["bias"] else "",
        "off": not float(row["band_low"]) <= share <= float(row["band_high"]),
    }


def _figure_name(row: dict[str, str]) -> str:
    """Name a figure in words: `laying 21` is the kept tables' short form."""
    asked = words.outcome_by_day(*_asked_of(row))
    rest = re.split(r"[ ,]", row["question"], maxsplit=2)[2:]
    more = f", {rest[0].strip().replace('_', ' ')}" if rest else ""
    return f"{row['what']}: {asked}{more}"


def _asked_of(row: dict[str, str]) -> tuple[str, int]:
    outcome, days = re.split(r"[ ,]", row["question"])[:2]
    return outcome, int(days)


def _points(bias: str) -> str:
    return f"{100 * float(bias):+.1f}"


def _kept(name: str) -> list[dict[str, str]]:
    text = resources.read("reports", "text", name)
    return list(csv.DictReader(io.StringIO(text)))
