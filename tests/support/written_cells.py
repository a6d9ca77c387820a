"""Cells of a source that needs no file: texts, the rule they are read by, what comes out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import polars as pl
from queen_outcomes.base.store import Store, quote
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import CellRule
from queen_outcomes.records.cells import (
    CellReader,
    WrittenColumn,
    staged_columns,
)
from queen_outcomes.records.staging import provide_functions
from queen_outcomes.records.steps import CellForm


def read_rows(
    table: str,
    columns: Mapping[str, Sequence[str | None]],
    written: Mapping[str, WrittenColumn],
    form: CellForm | None = None,
    also: Mapping[str, Sequence[tuple[str, str]]] | None = None,
) -> list[dict]:
    """Read columns of texts as a table; give its staged rows in order."""
    store = _store()
    lines = list(range(2, 2 + len(next(iter(columns.values())))))
    frame = pl.DataFrame(
        {
            "source_line": pl.Series(lines, dtype=pl.Int64),
            **{name: pl.Series(texts, dtype=pl.String) for name, texts in columns.items()},
        }
    )
    types = {"source_line": "BIGINT", **dict.fromkeys(columns, "VARCHAR")}
    reader = CellReader(TABLES[table], form or CellForm())
    listed = ", ".join(
        f"{quote(c)} {t}" for c, t in staged_columns(TABLES[table]).items()
    )
    with store.lent("raw_1", frame):
        store.execute(f"CREATE TABLE staged_{table} ({listed})")
        query = reader.select(written, "raw_1", types, also)
        store.execute(f"INSERT INTO staged_{table} SELECT source_line, 1, * FROM ({query})")
        reader.read_again(store, written, "source_no = 1")
        rows = store.records(f"SELECT * FROM staged_{table} ORDER BY ref")
        store.drop(f"staged_{table}")
    return rows


@cache
def _store() -> Store:
    """Give the one store of all such tests: to open one takes longer than to read."""
    store = Store(threads=1)
    provide_functions(store)
    store.plan_plainly()
    return store


def read(
    table: str,
    column: str,
    texts: Sequence[str | None],
    rule: CellRule | None = None,
    form: CellForm | None = None,
) -> list[tuple]:
    """Read texts as one column; give value and unread text of each."""
    written = {column: WrittenColumn(("cell",), rule or CellRule())}
    rows = read_rows(table, {"cell": texts}, written, form)
    return [(row[column], row.get(f"{column}__unread")) for row in rows]


def values(table: str, column: str, texts: Sequence[str | None], **more) -> list:
    """Read texts as one column; give the values alone."""
    return [value for value, _ in read(table, column, texts, **more)]
