"""One queen's whole trail: every record, what each look implies, what settled what.

Reads a finished build's tables and writes nothing.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes import derive
from queen_outcomes.outcomes.answers import own_files, union

SECTIONS = (
    ("Her courses", "courses_explained"),
    ("Every record about her", "trail"),
    ("What each look says of her own brood", "looks_explained"),
    ("What became of her", "outcomes_explained"),
)

TO_JOIN_BY = ("queen_id", "ref", "event", "until")
"""Columns that serve the queens page and add no word to the trail."""


def explain(
    store: Store, queen_id: str, *, settings: Settings, as_of: dt.date
) -> dict[str, Any]:
    """Give one queen's trail as sections of rows.

    Parameters
    ----------
    store : Store
        A finished build, opened to read.
    queen_id : str
        The queen's label, as in the records.
    settings : Settings
        For the stage lengths that the looks are read with.
    as_of : date
        The build's as-of day.

    Returns
    -------
    dict
        ``queen_id`` and ``sections``: each a title, the columns, and the rows.

    Raises
    ------
    UsageError
        No record names such a queen; the nearest label is suggested.
    """
    known = _known_queens(store)
    if queen_id not in known:
        close = nearest(queen_id, known)
        raise UsageError(
            "no record names this queen",
            found=f'"{queen_id}"',
            expected="a queen_id as the records write it",
            hint=f'did you mean "{close}"?' if close else "look her up in the records",
        )
    given = parameters(store, [queen_id], settings=settings, as_of=as_of)
    sections = [_section(store, title, name, given) for title, name in SECTIONS]
    return {"queen_id": queen_id, "sections": sections}


def parameters(
    store: Store, queens: list[str], *, settings: Settings, as_of: dt.date
) -> dict[str, Any]:
    """Give what the SQL files of a trail name, for one queen or for many."""
    given = derive.parameters(store, settings, as_of)
    return {"queens": queens, **given}


def statement(name: str) -> str:
    """Give the SELECT of a part of the trail, by the stem of its file."""
    text = resources.read("sql", "11_explain", f"{name}.sql")
    if name != "outcomes_explained":
        return text
    # the outcomes' own files once more, for these queens only, with their sentences
    facts = resources.read("sql", "11_explain", "window_facts_of_queens.sql")
    return (
        f"WITH window_facts AS (\n{facts}),\n{own_files()},\n"
        f"answers AS (\n{union(['state', 'why'])})\n{text}"
    )


def _section(
    store: Store, title: str, name: str, given: dict[str, Any]
) -> dict[str, Any]:
    rows = store.records(statement(name), given)
    columns = [name for name in rows[0] if name not in TO_JOIN_BY] if rows else []
    return {
        "title": title,
        "columns": columns,
        "rows": [[row[name] for name in columns] for row in rows],
    }


def _known_queens(store: Store) -> set[str]:
    tables = (
        "accepted_queens",
        "accepted_inseminations",
        "linked_checks",
        "accepted_placements",
        "accepted_exits",
        "accepted_co2",
        "accepted_lab",
    )
    union = " UNION ".join(f"SELECT queen_id FROM {name}" for name in tables)
    return {queen for (queen,) in store.rows(union) if queen is not None}
