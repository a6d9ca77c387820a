"""What stands by a chart, titles that say what it shows, and how cells are written."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from markupsafe import Markup, escape

from queen_outcomes.base import resources
from queen_outcomes.facts import words
from queen_outcomes.facts.outcomes import OUTCOMES

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
class PageFigure:
    """A chart on a page.

    Attributes
    ----------
    chart : str
        Its name among the page's charts.
    title : str
        The finding or the question.
    alt : str
        What is to be seen, for those who do not see it.
    table : Numbers or None
        Its numbers; None where they stand in a table that several charts share.
    """

    chart: str
    title: str
    alt: str
    table: Numbers | None = None


def statement(name: str) -> str:
    """Give a statement of `sql/10_pages`."""
    return resources.read("sql", "10_pages", f"{name}.sql")


def only(rows: Iterable[Row], keys: Sequence[str], digits: int = 4) -> list[Row]:
    """Keep of rows what a chart draws, their broken numbers rounded."""

    def short(value: Any) -> Any:
        return round(value, digits) if isinstance(value, float) else value

    return [{key: short(row[key]) for key in keys} for row in rows]


def grouped(rows: Iterable[Row], key: str = "operator") -> dict[str, list[Row]]:
    """Give rows by whom they are about, in their order; nobody else's are looked at again."""
    found: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        found[row[key]].append(row)
    return found


LEAST_P, SMALL_P = 0.001, 0.1


def p_value(p: float | None) -> str:
    """Give a P with as many places as it carries; none is an empty cell."""
    if p is None:
        return ""
    if p < LEAST_P:
        return "< 0.001"
    return f"{p:.3f}" if p < SMALL_P else f"{p:.2f}"


def outcome_label(name: str) -> str:
    """Give an outcome in words; a name that is none stays as it is."""
    return OUTCOMES[name].label if name in OUTCOMES else name


def fragment(value: Any) -> str:
    """Write a name so that it can stand behind the # of an address, whatever it holds."""
    return quote(str(value), safe="")


ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def days(text: str) -> Markup:
    """Write a text so that no day in it is torn apart at the end of a line."""
    return Markup(ISO_DAY.sub(r"<time>\g<0></time>", str(escape(text))))


FILTERS = {
    "days": days,
    "thousands": "{:,}".format,
    "percent": words.percent,
    "plain": words.plain,
    "script_json": words.script_json,
    "p_value": p_value,
    "outcome": outcome_label,
    "fragment": fragment,
}
"""What templates write cells with; every template that takes the macros needs them."""
