"""Ids that are written nearly alike, and ids that no table explains.

Only points them out: an id is never changed here, nor are two taken for one.
"""

from __future__ import annotations

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reasons import finding_sql
from queen_outcomes.records import findings
from queen_outcomes.records.rules import Expectation, Rule

FOLD = r"""
    lower(regexp_replace(
        regexp_replace(id, '(^|[^0-9])0+([0-9])', '\1\2', 'g'), '[\s\-‐-―]+', '', 'g'))
"""
"""SQL of an id without case, blanks, hyphens and leading zeros of its numbers."""


def _id_columns() -> dict[str, list[str]]:
    """Give, for each id column, the tables that hold it."""
    found: dict[str, list[str]] = {}
    for table in TABLES.values():
        for column in table.columns:
            if column.kind == "id":
                found.setdefault(column.name, []).append(table.name)
    return found


def tell_look_alikes(store: Store) -> None:
    """Tell once of each id that looks like a commoner one, at its first record."""
    for column, tables in _id_columns().items():
        _tell(store, column, tables)


def _tell(store: Store, column: str, tables: list[str]) -> None:
    name = quote(column)
    distinct = " UNION ".join(
        f"SELECT DISTINCT {name} AS id FROM accepted_{table} WHERE {name} IS NOT NULL"
        for table in tables
    )
    store.table(
        "alike_ids",
        f"SELECT id, {FOLD} AS fold FROM ({distinct}) "
        "QUALIFY count(*) OVER (PARTITION BY fold) > 1",
    )
    if store.rows("SELECT 1 FROM alike_ids LIMIT 1"):
        _tell_odd(store, column, tables)
    store.drop("alike_ids")


def _tell_odd(store: Store, column: str, tables: list[str]) -> None:
    """Take the commonest spelling for the usual one, the earliest on a tie."""
    name = quote(column)
    uses = " UNION ALL ".join(
        f"SELECT {name} AS id, {literal(table)} AS place, min(ref) AS ref, "
        f"count(*) AS uses FROM accepted_{table} "
        f"WHERE {name} IN (SELECT id FROM alike_ids) GROUP BY 1"
        for table in tables
    )
    store.table(
        "odd_ids",
        f"""
        WITH used AS (
            SELECT id, min(ref) AS ref, arg_min(place, ref) AS place,
                sum(uses) AS uses
            FROM ({uses}) GROUP BY id
        ), alike AS (
            SELECT fold, list(id ORDER BY uses DESC, ref) AS spellings
            FROM used JOIN alike_ids USING (id) GROUP BY fold
        )
        SELECT u.ref, u.place, u.id, array_to_string(
            list_filter(a.spellings, lambda x: x <> u.id)[:5], ', ') AS others
        FROM used AS u JOIN alike_ids AS i USING (id) JOIN alike AS a USING (fold)
        WHERE u.id <> a.spellings[1]
        """,
    )
    told = {
        table: finding_sql(
            "look_alike", table, column=column, value="id", parts={"others": "others"}
        )
        for table in tables
    }
    findings.add(
        store,
        [
            f"SELECT {finding} FROM odd_ids WHERE place = {literal(table)}"
            for table, finding in told.items()
        ],
    )
    store.drop("odd_ids")


_UNKNOWN = (
    "semen_batch NOT IN (SELECT semen_batch FROM accepted_semen) "
    "AND EXISTS (SELECT 1 FROM accepted_semen)"
)

SEMEN_RULE = Rule(
    rule_id="inseminations.semen_batch.semen_unknown",
    table="inseminations",
    reason="semen_unknown",
    says="semen_batch stands in semen, where that table is kept",
    predicate=_UNKNOWN,
    expectation=Expectation(
        "UnexpectedRowsExpectation",
        {"unexpected_rows_query": f"SELECT ref FROM {{batch}} WHERE {_UNKNOWN}"},
    ),
    columns=("semen_batch",),
    values=("semen_batch",),
    over="accepted_inseminations",
)


def tell_unknown_semen(store: Store) -> int:
    """Tell of inseminations whose semen has no row; give how many there are."""
    rule = SEMEN_RULE
    source = f"FROM {rule.over} WHERE {rule.predicate}"
    finding = finding_sql(
        rule.reason, rule.table, column=rule.columns[0], value=rule.values[0], parts={}
    )
    findings.add(store, [f"SELECT {finding} {source}"])
    return store.rows(f"SELECT count(*) {source}")[0][0]
