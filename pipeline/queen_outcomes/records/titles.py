"""Facts of a whole sheet that stand in the rows above its headings: "hatched 28.5. - mother B14"."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

Rows = Sequence[Sequence[str]]
"""Rows above the headings, each the texts of its filled cells."""
_PARTED = re.compile(r"\s+[-–—|/•·]\s+|\s*[;|\n]\s*|,\s+")
"""What parts one fact from the next; a sign between blanks, for "25/5" and "B-14" are whole."""
_SIGNS = ":= \t"


def parts(text: str) -> list[str]:
    """Cut a title into its facts."""
    return [part for one in _PARTED.split(text) if (part := " ".join(one.split()))]


def behind(rows: Rows, word: str) -> list[str]:
    """Give what stands behind a word above the headings: up to the next sign that parts facts.

    Where nothing is left of the cell, the row's next one is meant.

    Parameters
    ----------
    rows : sequence of sequences of str
    word : str
        One word or several, in capitals or not.

    Returns
    -------
    list of str
        The different texts, in their order; one where the fact is plain.
    """
    spaced = r"\s+".join(map(re.escape, word.split()))
    begins = re.compile(rf"(?:^|(?<=\W)){spaced}(?!\w)(.*)$", re.IGNORECASE)
    found = []
    for row in rows:
        cells = [parts(cell) for cell in row if cell.strip()]
        for at, facts in enumerate(cells):
            for place, fact in enumerate(facts):
                match = begins.search(fact)
                if match is None:
                    continue
                rest = match[1].strip(_SIGNS) or number(fact[: match.start()])
                last = place + 1 == len(facts) and at + 1 < len(cells)
                found.append(rest or (" ".join(cells[at + 1][:1]) if last else ""))
    return list(dict.fromkeys(text for text in found if text))


def number(text: str) -> str:
    """Give the number that a text is, which stands before a word: "3" of "3. series"; else nothing."""
    found = re.fullmatch(r"(\d{1,3}|[IVX]+)(?:[.)]|st|nd|rd|th)?", text.strip())
    return found[1] if found else ""


def filled(rows: Iterable[Iterable[str | None]]) -> tuple[tuple[str, ...], ...]:
    """Give rows without the cells that hold nothing, and without rows of none."""
    kept = (tuple(" ".join(t.split()) for t in row if t and t.strip()) for row in rows)
    return tuple(row for row in kept if row)
