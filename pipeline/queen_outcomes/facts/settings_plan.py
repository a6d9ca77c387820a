"""The part of `station.toml` that is the season's plan: factors, question, limits."""

from __future__ import annotations

from typing import Any

from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings_fields import (
    SHARE,
    Field,
    choice,
    counts_by_name,
    read_texts,
    whole,
)

MAIN_TERMS = (
    *("dose", "drone_age", "queen_age", "semen_age", "doses", "co2_schedule"),
    *("experience", "line", "drone_line", "year", "season"),
)
"""The factors of the models, in the default order of priority."""
BENDING = ("dose", "drone_age", "queen_age")
"""Factors that may bend, so that their form can be fixed."""
KNOTS = {"line": 0, "3 knots": 3, "4 knots": 4}


def _terms(value: Any) -> tuple[str, ...] | None:
    named = read_texts(value)
    fits = named is not None and len(set(named)) == len(named)
    return named if named and fits and set(named) <= set(MAIN_TERMS) else None


def by_name(section: str, example: str = "Anna") -> Field:
    """Make a field for a section of whole numbers by name."""
    return Field(counts_by_name, f"[{section}] with lines such as {example} = 120")


TERMS = Field(_terms, "a list, each once, of " + ", ".join(MAIN_TERMS))
MODELS: dict[str, Any] = {
    "terms": TERMS,
    "adjust_for": TERMS,
    "forms": dict.fromkeys(BENDING, choice(*KNOTS)),
}
PLAN: dict[str, Any] = {
    "outcome": choice(*OUTCOMES),
    "days": whole(1, 3650),
    "margin": SHARE,
    "false_alarm_chance": SHARE,
    "fewest_cases": whole(1, 10_000),
}
