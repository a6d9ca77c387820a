"""Cells of single lines in which quotes stand: the few that need a closer look.

A cell that begins with a quote ends at the quote that closes it, two quotes inside
it are one; a quote inside any other cell is a quote (tip 5"). Works on texts only.
"""

from __future__ import annotations

from collections.abc import Sequence

MOST_LINES = 200
"""A cell may run over so many lines; beyond that its quote was never closed."""

OPEN = "open"
"""The text ends inside quotes; the next line may belong to it."""
STRAY = "stray"
"""Text follows a closing quote; no further line can mend that."""


def split(text: str, separator: str, *, lenient: bool = False) -> list[str] | str:
    """Give a record's cells, or OPEN or STRAY.

    Parameters
    ----------
    text : str
        One line, or several joined by line feeds.
    separator : str
        The separator, one character.
    lenient : bool
        Add text that follows a closing quote to the cell instead of refusing it.
    """
    cells: list[str] = []
    at = 0
    while True:
        end = text.find(separator, at)
        end = len(text) if end < 0 else end
        cell = text[at:end]
        if text.startswith('"', at):
            close = _closing(text, at + 1)
            if close < 0:
                return OPEN
            end = text.find(separator, close + 1)
            end = len(text) if end < 0 else end
            tail = text[close + 1 : end]
            if tail and (not lenient or '"' in tail):
                return STRAY
            cell = text[at + 1 : close].replace('""', '"') + tail
        cells.append(cell)
        if end == len(text):
            return cells
        at = end + 1


def _closing(text: str, start: int) -> int:
    while True:
        at = text.find('"', start)
        if at < 0 or not text.startswith('"', at + 1):
            return at
        start = at + 2


def join(lines: Sequence[str], separator: str) -> tuple[list[str] | str, int]:
    """Read the record that begins with the first of some lines.

    Parameters
    ----------
    lines : sequence of str
        That line and what follows it, `MOST_LINES` at most.
    separator : str
        The separator, one character.

    Returns
    -------
    cells : list of str, or OPEN or STRAY
    used : int
        How many lines the record took.
    """
    text = lines[0]
    cells = split(text.removesuffix("\r"), separator)
    for used in range(2, len(lines) + 1):
        if cells != OPEN:
            return cells, used - 1
        text = f"{text}\n{lines[used - 1]}"
        if '"' in lines[used - 1]:
            cells = split(text.removesuffix("\r"), separator)
    return cells, len(lines)
