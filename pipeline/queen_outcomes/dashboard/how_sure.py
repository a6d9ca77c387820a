"""How often limits and signals are right, from kept tables of simulated stations."""

from __future__ import annotations

import csv
import io
import re
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.facts import words

FAR = 0.015
"""From the share that was promised: further off is an exception, and is named."""
WHY = {
    "estimate: superseded 365": "an end is also written down without a look, while a "
    "survivor is known from looks alone, so that ends come to light more often",
    "test of a term without effect": "a semen batch holds about seven courses, too few "
    "to show how far such batches differ",
}
"""Reasons, as far as they are known, of what the tables show to be off."""
PLAIN = "rate"
"""Plain rates are measured against a truth that they do not aim at."""


def how_sure() -> dict[str, Any]:
    """Give coverage, what lies far off in it and why, and false signals."""
    recovery = _kept("recovery.csv")
    return {
        "recovery": [_shown(row) for row in recovery],
        "recovery_said": f"{recovery[0]['command']}, {recovery[0]['made_on']}",
        "exceptions": [said for row in recovery if (said := exception(row))],
        "signals": [
            {**row, "signalled": f"{100 * float(row['signalled']):.1f} %"}
            for row in _kept("false_signals.csv")
        ],
    }


def exception(row: dict[str, str]) -> str:
    """Say how far a figure is off and why; nothing where it is near, or a plain rate."""
    share, nominal = float(row["share"]), float(row["nominal"])
    if abs(share - nominal) <= FAR or row["what"].startswith(PLAIN):
        return ""
    name = _name(row)
    why = (
        WHY.get(f"{row['what']}: {row['question']}")
        or WHY.get(row["what"])
        or "the reason is not known"
    )
    bias = f", {_points(row['bias'])} points off on average" if row["bias"] else ""
    return f"{name}: {100 * share:.1f} % in place of {100 * nominal:.0f} %{bias}; {why}"


def _shown(row: dict[str, str]) -> dict[str, Any]:
    share = float(row["share"])
    return {
        "what": _name(row),
        "stations": row["stations"],
        "share": share,
        "nominal": float(row["nominal"]),
        "bias": _points(row["bias"]) if row["bias"] else "",
        "off": not float(row["band_low"]) <= share <= float(row["band_high"]),
    }


def _name(row: dict[str, str]) -> str:
    """Name a figure in words: `laying 21` is the kept tables' short form."""
    outcome, days, *rest = re.split(r"[ ,]", row["question"], maxsplit=2)
    asked = f"{words.OUTCOME_WORDS.get(outcome, outcome)} by day {days}"
    more = f", {rest[0].strip().replace('_', ' ')}" if rest else ""
    return f"{row['what']}: {asked}{more}"


def _points(bias: str) -> str:
    return f"{100 * float(bias):+.1f}"


def _kept(name: str) -> list[dict[str, str]]:
    text = resources.read("reports", "text", name)
    return list(csv.DictReader(io.StringIO(text)))
