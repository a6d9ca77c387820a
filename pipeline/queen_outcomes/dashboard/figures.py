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


KEPT = {
    *("queen_id", "colony_id", "course_id", "on", "useful_until", "iso_week", "source"),
    "adjusted",
}
"""Columns whose cells are not torn apart at the end of a line."""
SHARES = {"share", "low", "high", "rate"}
TESTS = {"p", "p_holm", "homogeneity_p"}
QUEENS = {"queen_id", "course_id", "example"}
QUEEN = Markup('<a href="queens.html#{}">{}</a>')


def cells(
    row: Row, columns: Iterable[tuple[str, str]], numbers: Sequence[str]
) -> Markup:
    """Write the cells of a table's row; in a template they took most of a page's time."""
    written = [
        f"<td{_kind(key, numbers)}>{escape(cell(row, key))}</td>" for key, _ in columns
    ]
    return Markup("".join(written))


def _kind(key: str, numbers: Sequence[str]) -> str:
    if key in numbers:
        return ' class="number"'
    return ' class="kept"' if key in KEPT else ""


def cell(row: Row, key: str) -> str:
    """Give one cell as text, or as a link: a queen leads to her page."""
    value = row[key]
    if key in SHARES:
        return words.percent(value)
    if key in TESTS:
        return p_value(value)
    if key == "outcome":
        return outcome_label(value)
    if key in QUEENS and value:
        return QUEEN.format(fragment(row.get("course_id", value)), value)
    return words.plain(value).strip()


FILTERS = {
    "cells": cells,
    "days": days,
    "thousands": "{:,}".format,
    "percent": words.percent,
    "plain": words.plain,
    "script_json": words.script_json,
    "outcome": outcome_label,
    "fragment": fragment,
}
"""What templates write cells with; every template that takes the macros needs them."""
