"""Small stations for tests: accepted tables from rows written out in the test."""

from __future__ import annotations

import datetime as dt

import polars as pl
from queen_outcomes.base.refs import IN_SOURCE_BITS
from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import STEPS, derive, parameters

D0 = dt.date(2025, 6, 1)


def day(number: int) -> dt.date:
    """Give the date that lies so many days after 1 June 2025."""
    return D0 + dt.timedelta(days=number)


def station(**rows: list[dict]) -> Store:
    """Make a store holding accepted_<table> and linked_checks from given rows.

    Tables stand in the dictionary's order as sources 1.. and rows are numbered from
    line 2, as in a file with a heading; `ref` may be given to place a row elsewhere.
    """
    store = Store(threads=1)
    store.table(
        "sources_read",
        "SELECT * FROM (VALUES "
        + ", ".join(
            f"({number}, '{name}.csv', '{name}')"
            for number, name in enumerate(TABLES, start=1)
        )
        + ') AS t (source_no, source, "table")',
    )
    for number, (name, table) in enumerate(TABLES.items(), start=1):
        kinds = {c.name: c.sql_type for c in table.columns}
        columns = ", ".join(f"{n} {kinds.get(n, 'BIGINT')}" for n in table.kept)
        store.execute(f"CREATE TABLE accepted_{name} (ref BIGINT, {columns})")
        given = [
            {"ref": (number << IN_SOURCE_BITS) + line, **row}
            for line, row in enumerate(rows.get(name, []), start=2)
        ]
        if given:
            frame = pl.DataFrame(given, infer_schema_length=None)
            with store.lent("given", frame):
                store.execute(
                    f"INSERT INTO accepted_{name} BY NAME SELECT * FROM given"
                )
    store.table("linked_checks", "SELECT * FROM accepted_checks")
    return store


def derived(
    as_of: dt.date = dt.date(2025, 10, 1),
    settings: Settings | None = None,
    *,
    until: str = "",
    **rows: list[dict],
) -> Store:
    """Make a small station and derive everything about it, or all up to one table."""
    store = station(**rows)
    settings = settings or Settings()
    if not until:
        derive(store, settings, as_of)
        return store
    given = parameters(store, settings, as_of)
    for folder, name in STEPS[: [name for _, name in STEPS].index(until) + 1]:
        store.step(folder, name, given)
    return store


def insemination(number: int = 0, queen_id: str = "Q", **more) -> dict:
    """Give an insemination so many days after 1 June."""
    at = dt.datetime.combine(day(number), dt.time(10))
    return {"queen_id": queen_id, "inseminated_at": at, **more}


def check(number: int, queen_id: str = "Q", **seen) -> dict:
    """Give a check so many days after 1 June."""
    return {"queen_id": queen_id, "checked_on": day(number), **seen}


def leave(number: int, reason: str | None, queen_id: str = "Q") -> dict:
    """Give an exit so many days after 1 June."""
    return {"queen_id": queen_id, "left_on": day(number), "reason": reason}


def states(store: Store, course_id: str = "Q/1") -> dict[tuple[str, int], str]:
    """Give the state of every outcome and window of one course."""
    return {
        (outcome, window): state
        for outcome, window, state in store.rows(
            "SELECT outcome, window_days, state FROM outcomes WHERE course_id = $id",
            {"id": course_id},
        )
    }
