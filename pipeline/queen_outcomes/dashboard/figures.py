"""A chart with all that has to stand by it: title, text alternative, caption, numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

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
