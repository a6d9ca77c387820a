"""How single cells of a page's tables are written."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from queen_outcomes.facts import words

LEAST_P, SMALL_P = 0.001, 0.1


def p_value(p: float | None) -> str:
    """Give a P with as many places as it carries; none is an empty cell."""
    if p is None:
        return ""
    if p < LEAST_P:
        return "< 0.001"
    return f"{p:.3f}" if p < SMALL_P else f"{p:.2f}"


def outcome(name: str) -> str:
    """Give an outcome in words; a name that is none stays as it is."""
    return words.OUTCOME_WORDS.get(name, name)


def thousands(number: int) -> str:
    """Write a count with its thousands apart."""
    return f"{number:,}"


def fragment(value: Any) -> str:
    """Write a name so that it can stand behind the # of an address, whatever it holds."""
    return quote(str(value), safe="")


FILTERS = {
    "thousands": thousands,
    "percent": words.percent,
    "plain": words.plain,
    "script_json": words.script_json,
    "p_value": p_value,
    "outcome": outcome,
    "fragment": fragment,
}
"""What templates write cells with; every template that takes the macros needs them."""
