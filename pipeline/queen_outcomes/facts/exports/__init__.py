"""The exported tables: column, type, unit, meaning, and what an empty cell means.

Names, order and types are a promise to whoever reads the tables: `export` describes
them from here and the build holds them. Nothing here makes or reads a table.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from queen_outcomes.base.errors import LedgerError, shorten
from queen_outcomes.facts.exports.audit import AUDIT
from queen_outcomes.facts.exports.doses import DOSES
from queen_outcomes.facts.exports.exported import ExportTable
from queen_outcomes.facts.exports.models import MODELS
from queen_outcomes.facts.exports.outcomes import (
    ATTENTION,
    CHANGES,
    COURSES,
    DUE,
    ENDS,
    EXPECTATIONS,
    INCIDENCE,
    INCIDENCE_TESTS,
    LISTED,
    ONSET,
    ONSET_CURVES,
    ONSET_TESTS,
    OUTCOMES,
    QUARANTINE,
    RATES,
    SOURCES,
)

TABLES: dict[str, ExportTable] = {
    table.name: table
    for table in (
        *(SOURCES, QUARANTINE, LISTED, EXPECTATIONS, COURSES, ONSET, ENDS),
        *(OUTCOMES, RATES, ONSET_CURVES, ONSET_TESTS, INCIDENCE, INCIDENCE_TESTS),
        *(*MODELS, *AUDIT, *DOSES, DUE, CHANGES, ATTENTION),
    )
}
"""Every exported table, in the order they are described."""


def differences(found: Mapping[str, Mapping[str, str]]) -> list[str]:
    """Say where made tables differ from the promise.

    Parameters
    ----------
    found : mapping
        table -> its columns and DuckDB types, in order; empty when there is none.

    Returns
    -------
    list of str
        One sentence for each difference; empty when the promise is kept. Columns
        beyond the promised ones are the build's own and are not exported.
    """
    problems = []
    for table in TABLES.values():
        made = found.get(table.name, {})
        for column in table.columns:
            sql_type = made.get(column.name, "missing")
            if not column.takes(sql_type):
                problems.append(
                    f"{table.name}.{column.name} is {sql_type}, "
                    f"promised is {column.sql_type}"
                )
    return problems


def refuse(problems: Iterable[str]) -> None:
    """Stop the build when a table does not keep the promise.

    Raises
    ------
    LedgerError
        There is at least one difference.
    """
    listed = list(problems)
    if listed:
        raise LedgerError(
            "the tables are not the ones promised",
            found=shorten(listed),
            expected="the names and types of the contract",
        )
