"""Failing rows, found in one pass a table, and told in sentences.

Writes `findings` (a row x reason x column) and `repeats` (rows that repeat an
earlier one word for word). It decides nothing about what then happens to a row.
"""

from __future__ import annotations

from collections.abc import Iterable

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts import reasons
from queen_outcomes.facts.column import LINE_BITS, Table
from queen_outcomes.records.rules import Rule, key_rule

PLACE_SQL = (
    "(SELECT source FROM sources_read "
    f"WHERE source_no = ({{ref}}) >> {LINE_BITS}) || ':' || "
    f"(({{ref}}) & ((1::BIGINT << {LINE_BITS}) - 1))"
)
"""SQL of "source:line" for the ref put in its place."""


def place(ref: str) -> str:
    """Give SQL that writes a ref as "source:line"."""
    return PLACE_SQL.format(ref=ref)


def prepare(store: Store) -> None:
    """Make the empty tables of findings and repeats."""
    store.execute(
        'CREATE TABLE findings (ref BIGINT, "table" VARCHAR, severity VARCHAR, '
        'reason VARCHAR, "column" VARCHAR, value VARCHAR, message VARCHAR)'
    )
    store.execute('CREATE TABLE repeats (ref BIGINT, first BIGINT, "table" VARCHAR)')


def add(store: Store, selects: Iterable[str]) -> None:
    """Add the findings that some queries give."""
    queries = list(selects)
    if queries:
        store.execute("INSERT INTO findings " + " UNION ALL ".join(queries))


def written_columns(table: Table) -> list[str]:
    """Name all that a row says: its values, and the texts that were not read."""
    return [
        name
        for column in table.columns
        for name in (column.name, column.unread)
        if name
    ]


def find_failing(store: Store, table: Table, rules: list[Rule]) -> dict[str, int]:
    """Hold a table's rows against its row rules, in one pass.

    Returns
    -------
    dict of str to int
        For each rule_id, how many rows fail.
    """
    flags = ", ".join(
        f"CASE WHEN {rule.predicate} THEN {number} END"
        for number, rule in enumerate(rules)
    )
    anywhere = " OR ".join(f"coalesce({rule.predicate}, false)" for rule in rules)
    flagged = f"flagged_{table.name}"
    store.table(
        flagged,
        f"SELECT *, list_filter([{flags}], lambda x: x IS NOT NULL) AS failed_rules "
        f"FROM staged_{table.name} WHERE {anywhere}",
    )
    found = dict(
        store.rows(
            "SELECT rule, count(*) FROM "
            f"(SELECT unnest(failed_rules) AS rule FROM {flagged}) GROUP BY rule"
        )
    )
    told = [rule for number, rule in enumerate(rules) if number in found]
    for rule in told:
        add(store, _told(rule, flagged, rules.index(rule)))
    store.drop(flagged)
    return {rule.rule_id: found.get(number, 0) for number, rule in enumerate(rules)}


def _told(rule: Rule, flagged: str, number: int) -> list[str]:
    return [
        "SELECT "
        + reasons.finding_sql(
            rule.reason, rule.table, column=column, value=value, parts=rule.parts
        )
        + f" FROM {flagged} WHERE list_contains(failed_rules, {number})"
        + f" AND NOT coalesce(({rule.unless}), false)"
        for column, value in zip(rule.columns, rule.values, strict=True)
    ]


def find_repeats(store: Store, table: Table) -> None:
    """Find the rows that say exactly what an earlier row of the table says.

    A hash over all cells picks the few rows that could, then the cells decide.
    """
    cells = ", ".join(quote(name) for name in written_columns(table))
    staged = f"staged_{table.name}"
    store.execute(
        f"""
        INSERT INTO repeats
        WITH shared AS (
            SELECT hash({cells}) AS h FROM {staged} WHERE broken IS NULL
            GROUP BY h HAVING count(*) > 1
        ), alike AS (
            SELECT list(ref) AS refs, min(ref) AS first FROM {staged}
            WHERE broken IS NULL AND hash({cells}) IN (SELECT h FROM shared)
            GROUP BY {cells} HAVING count(*) > 1
        )
        SELECT ref, first, {literal(table.name)}
        FROM (SELECT unnest(refs) AS ref, first FROM alike)
        WHERE ref <> first
        """
    )


def find_double_keys(store: Store, table: Table) -> tuple[Rule, int] | None:
    """Find keys held by rows that differ; needs the table's repeats.

    Returns
    -------
    (Rule, int) or None
        The rule and how many rows fail it; None for a table without a key.
    """
    if not table.key:
        return None
    rule = key_rule(table)
    key, over, staged = quote(table.key), rule.over, f"staged_{table.name}"
    store.table(
        over,
        f"SELECT ref, {key} FROM {staged} WHERE broken IS NULL "
        f'AND ref NOT IN (SELECT ref FROM repeats WHERE "table" = '
        f"{literal(table.name)})",
    )
    failed = store.rows(f"SELECT count(*) FROM {over} WHERE {rule.predicate}")[0][0]
    if failed:
        _tell_double_keys(store, rule, key, staged)
    return rule, failed


def _tell_double_keys(store: Store, rule: Rule, key: str, staged: str) -> None:
    """Tell it of every row with such a key, repeats of one included."""
    parts = {"rows": "CAST(number AS VARCHAR)", "places": "places"}
    finding = reasons.finding_sql(
        rule.reason, rule.table, column=rule.columns[0], value=key, parts=parts
    )
    store.execute(
        f"""
        INSERT INTO findings
        WITH twice AS (
            SELECT {key}, count(*) AS number, list(ref ORDER BY ref)[:3] AS refs
            FROM {rule.over} WHERE {key} IS NOT NULL
            GROUP BY {key} HAVING count(*) > 1
        ), named AS (
            SELECT {key}, any_value(number) AS number,
                string_agg({place("one")}, ', ' ORDER BY one)
                || CASE WHEN any_value(number) > 3 THEN ', ...' ELSE '' END AS places
            FROM (SELECT {key}, number, unnest(refs) AS one FROM twice) GROUP BY {key}
        )
        SELECT {finding} FROM {staged} JOIN named USING ({key})
        """
    )


def accept(
    store: Store, table: Table, rules: list[Rule], counts: dict[str, int]
) -> None:
    """Write `accepted_<table>`: what is neither quarantined nor a repeat."""
    emptied: dict[str, list[str]] = {}
    for rule in rules:
        # an unread cell is empty already
        if rule.severity == "set_aside" and counts[rule.rule_id]:
            for column in rule.columns:
                emptied.setdefault(column, []).append(
                    f"coalesce({rule.predicate}, false)"
                )
    cells = []
    for name in table.names:
        wrong = " OR ".join(emptied.get(name, []))
        cell = quote(name)
        cells.append(
            f"CASE WHEN {wrong} THEN NULL ELSE {cell} END AS {cell}" if wrong else cell
        )
    name = literal(table.name)
    store.table(
        f"accepted_{table.name}",
        f"SELECT ref, {', '.join(cells)} FROM staged_{table.name} "
        f'WHERE ref NOT IN (SELECT ref FROM repeats WHERE "table" = {name} '
        f"UNION SELECT ref FROM findings WHERE severity = 'quarantine' "
        f'AND "table" = {name})',
    )
