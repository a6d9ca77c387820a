"""Every outcome's own SQL file, put together as the registry orders them.

A file answers one outcome for every course and window from `window_facts`, and may lean
on the answers of the outcomes before it. So no shared statement knows an outcome by name.
"""

from __future__ import annotations

from collections.abc import Sequence

import duckdb

from queen_outcomes.base import resources
from queen_outcomes.base.errors import LedgerError
from queen_outcomes.base.store import Store, literal
from queen_outcomes.facts.outcomes import FOLDER, OUTCOMES, refuse_unknown

ANSWER = (
    *("course_no", "window_days", "closed"),
    *("state", '"after"', '"by"', "refs", "why"),
)
"""The columns that an outcome's own file gives."""


def own_files(until: str = "") -> str:
    """Give the outcomes' own files as a WITH clause.

    Parameters
    ----------
    until : str
        The last outcome taken; empty: all are.
    """
    parts = []
    for name, outcome in OUTCOMES.items():
        text = resources.read("sql", FOLDER, f"{outcome.statement}.sql")
        parts.append(f"{outcome.statement} AS (\n{text})")
        if name == until:
            break
    return ",\n".join(parts)


def union(columns: Sequence[str], where: str = "true") -> str:
    """Give the answers to all outcomes one below the other, from `own_files`.

    Parameters
    ----------
    columns : sequence of str
        Taken from each file, beside course_no, outcome and window_days.
    where : str
        A condition on the rows; "{setting}" stands for the name of the outcome's own
        windows, a parameter.
    """
    taken = ", ".join(columns)
    return "\nUNION ALL\n".join(
        f"SELECT course_no, {literal(outcome.name)} AS outcome, window_days, {taken} "
        f"FROM {outcome.statement} WHERE {where.format(setting=outcome.setting)}"
        for outcome in OUTCOMES.values()
    )


def write_answers(store: Store, parameters: dict[str, object]) -> None:
    """Write the table ``answers``: a course x outcome x window that the station asks.

    Parameters
    ----------
    store : Store
        Holds window_facts.
    parameters : dict
        As the SQL files name them, with every outcome's windows by its setting's name.

    Raises
    ------
    LedgerError
        An outcome's own file cannot be read as SQL, lacks a column, or gives a state
        that there is not; the message names the outcome.
    """
    columns = (
        *("closed", "state", '"after"', '"by"', "why"),
        # what is not settled was settled by nothing
        "CASE WHEN state <> 'undecided' THEN refs END AS refs",
    )
    asked = union(columns, "list_contains(${setting}, window_days)")
    select = f"WITH {own_files()}\nSELECT * EXCLUDE (why) FROM (\n{asked})"
    try:
        store.table("answers", select, parameters)
    except duckdb.Error:
        _refuse_unusable(store, parameters)
        raise
    refuse_unknown(store.rows("SELECT DISTINCT outcome, state FROM answers"))


def _refuse_unusable(store: Store, parameters: dict[str, object]) -> None:
    """Name the outcome whose own file does not give what it has to."""
    for name, outcome in OUTCOMES.items():
        select = f"SELECT {', '.join(ANSWER)} FROM {outcome.statement} LIMIT 0"
        try:
            store.rows(f"WITH {own_files(name)} {select}", parameters)
        except duckdb.Error as problem:
            raise LedgerError(
                "an outcome's SQL cannot be used",
                where=f"{name}, sql/{FOLDER}/{outcome.statement}.sql",
                found=str(problem).splitlines()[0],
                expected=f"one SELECT of {', '.join(ANSWER)}",
            ) from None
