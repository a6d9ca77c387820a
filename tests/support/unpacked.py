"""Reads what the queens page is given, written apart from what packs it."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"


def codes(text: str) -> list[int]:
    """Read the numbers that follow each other in a text."""
    found, digits = [], []
    for letter in text:
        digit = LETTERS.index(letter)
        digits.append(digit % 32)
        if digit < 32:
            found.append(sum(d * 32**place for place, d in enumerate(digits)))
            digits = []
    assert not digits, "the text ends within a number"
    return found


def numbers(text: str | None, rows: int) -> list[int | None]:
    """Read a column of whole numbers."""
    if text is None:
        return [None] * rows
    kind, found = text[0], codes(text[1:])

    def known(code: int) -> int:
        if kind in "uU":
            return code - 1
        return (code - 1) // 2 if code % 2 else -(code // 2)

    if kind in "us":
        return [known(code) if code else None for code in found]
    column: list[int | None] = [None] * rows
    row = -1
    for gap, code in zip(found[::2], found[1::2], strict=True):
        row += gap + 1
        column[row] = known(code)
    return column


def lists(packed: dict[str, str | None], rows: int) -> list[list[int]]:
    """Read a column of lists."""
    counts = numbers(packed["n"], rows)
    values = iter(numbers(packed["v"], 0))
    return [[next(values) for _ in range(count)] for count in counts]


def content(script: str) -> Any:
    """Give what a data script hands over."""
    start, end = "queens.take(", ");\n"
    assert script.startswith(start)
    assert script.endswith(end)
    return json.loads(f"[{script[len(start) : -len(end)]}]")[1]


def table(file: dict[str, Any], name: str) -> list[list[dict[str, Any]]]:
    """Give a file's table as rows, apart for each queen."""
    columns = dict(file[name])
    counts = numbers(columns.pop("rows"), 0)
    total = sum(counts)
    read = {
        column: numbers(text, total) if isinstance(text, str) else lists(text, total)
        for column, text in columns.items()
    }
    rows = iter([{c: read[c][row] for c in read} for row in range(total)])
    return [[next(rows) for _ in range(count)] for count in counts]


def day(first: dt.date, days: int | None) -> dt.date | None:
    """Give the date so many days later."""
    return None if days is None else first + dt.timedelta(days=days)
