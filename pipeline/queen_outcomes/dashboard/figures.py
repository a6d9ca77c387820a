"""What stands by a chart, titles that say what it shows, and how cells are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from queen_outcomes.facts import words

Row = dict[str, Any]


@dataclass(frozen=True)
class Numbers:
    """A table one click away.

    Attributes
    ----------
    columns : sequence of (str, str)
        Key and heading of each.
    rows : list of dict
    numbers : tuple of str
        Keys of the columns set to the right.
    summary : str
        What unfolds it.
    """

    columns: Sequence[tuple[str, str]]
    rows: list[Row]
    numbers: tuple[str, ...] = ()
    summary: str = "The same numbers as a table"


@dataclass(frozen=True)
class Figure:
    """A chart on a page.

    Attributes
    ----------
    chart : str
        Its name among the page's charts.
    title : str
        The finding or the question.
    alt : str
        What is to be seen, for those who do not see it.
    caption : str
        How to read it.
    table : Numbers or None
        Its numbers; None where they stand in a table that several charts share.
    """

    chart: str
    title: str
    alt: str
    caption: str = ""
    table: Numbers | None = None


TURNS = 0.02
"""How far a curve has to leave both its ends for its turn to be told."""


def curve_said(factor: str, rows: list[Row]) -> str:
    """Say where a curve begins and ends, and where it turns.

    Parameters
    ----------
    factor : str
        What runs along the axis.
    rows : list of dict
        label (the value with its unit), probability; in the order of the axis.
    """
    first, last = rows[0], rows[-1]
    ends = sorted((first["probability"], last["probability"]))
    top = max(rows, key=lambda row: row["probability"])
    low = min(rows, key=lambda row: row["probability"])
    told = [_at(first)]
    if top["probability"] > ends[1] + TURNS:
        told.append(f"most at {top['label']}, {words.percent(top['probability'])}")
    elif low["probability"] < ends[0] - TURNS:
        told.append(f"least at {low['label']}, {words.percent(low['probability'])}")
    return f"{factor[:1].upper()}{factor[1:]}: {'; '.join([*told, _at(last)])}"


def _at(row: Row) -> str:
    return f"{words.percent(row['probability'])} at {row['label']}"


def differences_said(rows: list[Row]) -> str:
    """Say how many differences have limits on one side of zero.

    Parameters
    ----------
    rows : list of dict
        name, low, high; None where there are no limits.
    """
    clear = [
        row["name"]
        for row in rows
        if None not in (row["low"], row["high"]) and (row["low"] > 0 or row["high"] < 0)
    ]
    if not clear:
        return f"The limits of all {len(rows)} differences include zero"
    verb = "has" if len(clear) == 1 else "have"
    told = f"{len(clear)} of {len(rows)} differences {verb} limits on one side of zero"
    return f"{told}: {', '.join(clear)}" if len(clear) <= 3 else told


LEAST_P, SMALL_P = 0.001, 0.1


def p_value(p: float | None) -> str:
    """Give a P with as many places as it carries; none is an empty cell."""
    if p is None:
        return ""
    if p < LEAST_P:
        return "< 0.001"
    return f"{p:.3f}" if p < SMALL_P else f"{p:.2f}"


def outcome_words(name: str) -> str:
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
    "outcome": outcome_words,
    "fragment": fragment,
}
"""What templates write cells with; every template that takes the macros needs them."""
