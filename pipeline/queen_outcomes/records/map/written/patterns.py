"""Patterns for names and rows: those of a name alone, and of rows that are no records."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Container
from fnmatch import fnmatchcase

from queen_outcomes.records.map.seen.sheet import Sheet
from queen_outcomes.records.map.seen.words import fold, vocabulary


def escaped(name: str) -> str:
    """Write a name so that a pattern matches it alone."""
    return re.sub(r"([\[*?])", r"[\1]", name)


def pass_over(sheet: Sheet, but: Container[int] = ()) -> list[str]:
    """Give patterns for the rows that are no records, which match no record.

    ``but`` holds lines of rows that tell something of others, which are not to be passed over.
    """
    none = [row for row in (*sheet.passed, *sheet.groups) if not but or row.line not in but]
    firsts = [row.cells[row.filled[0]].text for row in none]
    told = [row for row in sheet.groups if but and row.line in but]
    records = {row.cells[row.filled[0]].text.casefold() for row in (*sheet.rows, *told)}
    starts = Counter(text.split()[0] for text in set(firsts) if len(text.split()) > 1)
    found: dict[str, str] = {}
    for text in firsts:
        if re.search(r"\d", text) and not re.search(r"[^\W\d_]", text):
            continue  # a record may begin with such a figure next week: better told than passed
        choices = [_general(text, starts), _without_figures(text), escaped(text)]
        for pattern in choices:
            if pattern and not any(_matches(record, pattern) for record in records):
                found.setdefault(pattern.casefold(), pattern)  # of two spellings, one
                break
    patterns = list(found.values())
    return [p for p in patterns if not any(o != p and _matches(p, o) for o in patterns)]


def _general(text: str, starts: Counter[str]) -> str:
    """Give a pattern for every row of the kind: "Total*", "Yard *"."""
    folded = fold(text)
    for phrase in sorted(vocabulary().rows, key=len, reverse=True):
        if folded == phrase or folded.startswith(f"{phrase} "):
            words = text.split()[: len(phrase.split())]
            return escaped(" ".join(words).rstrip(":.,;")) + "*"
    first = text.split(maxsplit=1)[0]
    return f"{escaped(first)} *" if starts[first] > 1 and not first.isdigit() else ""


def _without_figures(text: str) -> str:
    return (
        re.sub(r"\d+([.,]\d+)?", "*", escaped(text)) if re.search(r"\d", text) else ""
    )


def _matches(text: str, pattern: str) -> bool:
    return fnmatchcase(text.casefold(), pattern.casefold())
