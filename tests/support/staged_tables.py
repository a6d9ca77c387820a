"""Staged tables written out by hand, one source a table, and what became of them."""

from __future__ import annotations

import datetime as dt
import json

import polars as pl
from queen_outcomes.base.refs import IN_SOURCE_BITS
from queen_outcomes.base.store import Store, quote
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records import accept, expectations
from queen_outcomes.records.cells import staged_columns

AS_OF = dt.date(2025, 7, 1)
NUMBERS = {name: number for number, name in enumerate(TABLES, start=1)}


def day(number: int) -> dt.date:
    """Give the date that lies so many days after 1 June 2025."""
    return dt.date(2025, 6, 1) + dt.timedelta(days=number)


def noon(number: int) -> dt.datetime:
    return dt.datetime.combine(day(number), dt.time(12))


def staged(**rows: list[dict]) -> Store:
    """Make staged_<table>, raw_<no> and sources_read; rows stand from line 2 on."""
    store = Store(threads=1)
    stage(store, **rows)
    return store


def stage(store: Store, **rows: list[dict]) -> None:
    """Make them in a store."""
    store.execute(
        "CREATE TABLE sources_read (source_no INTEGER, source VARCHAR, "
        '"table" VARCHAR, sha256 VARCHAR, rows_read BIGINT)'
    )
    store.execute("CREATE TABLE passed_over (ref BIGINT, why VARCHAR)")
    for name in TABLES:
        _stage(store, name, rows.get(name, []))


def _stage(store: Store, name: str, rows: list[dict]) -> None:
    number = NUMBERS[name]
    columns = [f"{quote(c)} {t}" for c, t in staged_columns(TABLES[name]).items()]
    store.execute(f"CREATE TABLE staged_{name} ({', '.join(columns)})")
    store.execute(
        f"CREATE TABLE raw_{number} (source_line BIGINT, broken VARCHAR, "
        'broken_text VARCHAR, "Queen No." VARCHAR, "said" VARCHAR)'
    )
    store.con.execute(
        "INSERT INTO sources_read VALUES (?, ?, ?, 'abc', ?)",
        [number, f"{name}.csv", name, len(rows)],
    ).fetchall()
    for line, row in enumerate(rows, start=2):
        place = {"ref": (number << IN_SOURCE_BITS) + line, "source_line": line}
        values = {**place, "source_no": number, **row}
        names = ", ".join(quote(key) for key in values)
        marks = ", ".join("?" * len(values))
        store.con.execute(
            f"INSERT INTO staged_{name} ({names}) VALUES ({marks})",
            list(values.values()),
        ).fetchall()
        text = "torn, line" if row.get("broken") else None
        store.con.execute(
            f"INSERT INTO raw_{number} VALUES (?, ?, ?, ?, ?)",
            [line, row.get("broken"), text, row.get("queen_id"), f"line {line}"],
        ).fetchall()


def accepted(monkeypatch=None, settings: Settings | None = None, **rows) -> Store:
    """Accept hand-made rows; with `monkeypatch`, without the expectations."""
    store = staged(**rows)
    if monkeypatch:
        monkeypatch.setattr(expectations, "verify", lambda *_: None)
    accept.accept_records(store, settings or Settings(), AS_OF)
    return store


def reasons_of(store: Store, table: str) -> list[tuple]:
    """Give (table, line, reason, column) of `quarantine` or `listed_records`."""
    return store.rows(
        f'SELECT "table", line, reason, "column" FROM {table} '
        'ORDER BY "table", line, reason, "column"'
    )


def message(store: Store, table: str) -> str:
    (text,) = store.rows(f"SELECT string_agg(message, ' ') FROM {table}")[0]
    return text


def row_text(store: Store) -> dict:
    return json.loads(store.rows("SELECT row FROM quarantine LIMIT 1")[0][0])


def frame(store: Store, name: str) -> pl.DataFrame:
    return store.frame(f"SELECT * FROM {name} ORDER BY ALL")
