"""Failing rows, found in one pass a table, and told in sentences.

Writes `findings` (a row x reason x column) and `repeats` (rows that repeat an earlier
one word for word), and at the end what the station is shown of them: `quarantine` and
`listed_records`. It decides nothing about what then happens to a row.
"""

from __future__ import annotations

from collections.abc import Mapping

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts import reasons
from queen_outcomes.facts.column import Table
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.cells import FINDINGS_UNREAD
from queen_outcomes.records.rules import NOTHING, Rule, key_rule

FOLDER = "01_records"
"""Where the room's statements lie."""
RAW_EXTRAS = ("source_line", "broken", "broken_text")
"""What a raw table has besides the source's own columns."""
_QUARANTINED = "(SELECT ref FROM findings WHERE severity = 'quarantine')"


def place(ref: str) -> str:
    """Give SQL that writes a ref as "source:line" or "source:line/slot"."""
    return (
        f"(SELECT source FROM sources_read WHERE source_no = ref_source({ref}))"
        f" || ':' || ref_in_source({ref})"
    )


def prepare(store: Store) -> None:
    """Make the empty tables of findings and repeats."""
    store.execute(
        'CREATE TABLE findings (ref BIGINT, "table" VARCHAR, severity VARCHAR, '
        'reason VARCHAR, "column" VARCHAR, value VARCHAR, message VARCHAR)'
    )
    store.execute('CREATE TABLE repeats (ref BIGINT, first BIGINT, "table" VARCHAR, differs VARCHAR)')


def add(
    store: Store,
    code: str,
    table: str,
    source: str,
    *,
    column: str,
    value: str,
    parts: Mapping[str, str],
) -> None:
    """Add the findings of one reason.

    Parameters
    ----------
    store : Store
        Holds `findings`.
    code : str
        The reason's code.
    table : str
        The table of the records that the rows belong to.
    source : str
        SQL after FROM: what gives the rows, with a column ``ref``.
    column : str
        The column concerned; empty text means the whole row.
    value : str
        SQL of the value to show.
    parts : mapping of str to str
        SQL of what else the reason's sentence names.
    """
    found = reasons.finding_sql(code, table, column=column, value=value, parts=parts)
    store.execute(f"INSERT INTO findings SELECT {found} FROM {source}")


def written_columns(table: Table) -> list[str]:
    """Name all that a row says: its values, and the texts that were not read."""
    names = [
        name
        for column in table.columns
        for name in (column.name, column.unread, column.parts)
        if name
    ]
    return [*names, FINDINGS_UNREAD] if table.findings else names


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
    for number in sorted(found):
        _tell(store, rules[number], flagged, number)
    store.drop(flagged)
    return {rule.rule_id: found.get(number, 0) for number, rule in enumerate(rules)}


def _tell(store: Store, rule: Rule, flagged: str, number: int) -> None:
    source = (
        f"{flagged} WHERE list_contains(failed_rules, {number}) "
        f"AND NOT coalesce(({rule.unless}), false)"
    )
    for column, value in zip(rule.columns, rule.values, strict=True):
        add(
            store,
            rule.reason,
            rule.table,
            source,
            column=column,
            value=value,
            parts=rule.parts,
        )


def find_repeats(store: Store, table: Table) -> None:
    """Find the rows that say exactly what an earlier row of the table says.

    A hash over all cells picks the few rows that could, then the cells decide. Records of
    one row of a sheet repeat none of each other: a dose given in two halves stands there
    as two that are alike. The second of them repeats the second of another row. What has
    a key of its own is one thing wherever it stands.
    """
    cells = ", ".join(quote(name) for name in written_columns(table))
    staged = f"staged_{table.name}"
    keyed = f"{quote(table.key)} IS NOT NULL" if table.key else "false"
    store.execute(
        f"""
        INSERT INTO repeats (ref, first, "table")
        WITH shared AS (
            SELECT hash({cells}) AS h FROM {staged} WHERE broken IS NULL
            GROUP BY h HAVING count(*) > 1
        ), told_apart AS (
            SELECT ref, {cells}, CASE WHEN {keyed} THEN 1 ELSE row_number() OVER (
                PARTITION BY source, ref_line(ref), {cells} ORDER BY ref
            ) END AS in_row
            FROM {staged} JOIN sources_read USING (source_no)
            WHERE broken IS NULL AND hash({cells}) IN (SELECT h FROM shared)
        ), alike AS (
            SELECT list(ref) AS refs, min(ref) AS first FROM told_apart
            GROUP BY {cells}, in_row HAVING count(*) > 1
        )
        SELECT ref, first, {literal(table.name)}
        FROM (SELECT unnest(refs) AS ref, first FROM alike)
        WHERE ref <> first
        """
    )


def find_double_keys(store: Store, table: Table) -> tuple[Rule, int]:
    """Find keys held by rows that differ; needs a table with a key, and its repeats.

    Returns
    -------
    rule : Rule
    failed : int
        How many rows fail it, repeats not counted.
    """
    rule = key_rule(table)
    key, over, staged = quote(rule.columns[0]), rule.over, f"staged_{table.name}"
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
    named = f"""
        {staged} JOIN (
            SELECT {key}, any_value(number) AS number,
                string_agg({place("one")}, ', ' ORDER BY one)
                || CASE WHEN any_value(number) > 3 THEN ', ...' ELSE '' END AS places
            FROM (
                SELECT {key}, number, unnest(refs) AS one FROM (
                    SELECT {key}, count(*) AS number, list(ref ORDER BY ref)[:3] AS refs
                    FROM {rule.over} WHERE {key} IS NOT NULL
                    GROUP BY {key} HAVING count(*) > 1
                )
            ) GROUP BY {key}
        ) USING ({key})
    """
    add(
        store,
        rule.reason,
        rule.table,
        named,
        column=rule.columns[0],
        value=key,
        parts={"rows": "CAST(number AS VARCHAR)", "places": "places"},
    )


def write_quarantine(store: Store) -> None:
    """Write `quarantine`: rows that cannot be used, every reason, their text as read."""
    store.execute("CREATE TABLE quarantined_text (ref BIGINT, row VARCHAR)")
    numbers = store.rows(
        "SELECT DISTINCT ref_source(ref) AS number FROM findings "
        "WHERE severity = 'quarantine' ORDER BY number"
    )
    for (number,) in numbers:
        _keep_text(store, number)
    store.step(FOLDER, "quarantine", {})
    store.drop("quarantined_text")


def _keep_text(store: Store, number: int) -> None:
    """Take the text from a raw table, only for the lines concerned.

    A line that holds several records is kept whole for each of them.
    """
    raw = f"raw_{number}"
    columns = store.columns(raw)
    cells = ", ".join(
        f"{literal(name)}, CAST(r.{quote(name)} AS VARCHAR)"
        for name in columns
        if name not in RAW_EXTRAS
    )
    text = f"CAST(json_object({cells}) AS VARCHAR)"
    if "broken" in columns:
        text = (
            "CASE WHEN r.broken IS NOT NULL THEN "
            f"CAST(json_object('line', r.broken_text) AS VARCHAR) ELSE {text} END"
        )
    store.execute(
        f"INSERT INTO quarantined_text SELECT q.ref, {text} FROM {raw} AS r "
        f"JOIN (SELECT DISTINCT ref FROM findings WHERE severity = 'quarantine' "
        f"AND ref_source(ref) = {number}) AS q ON ref_line(q.ref) = r.source_line"
    )


def write_listed(store: Store) -> None:
    """Write `listed_records`: accepted rows that deserve a second look.

    A quarantined row is told of in the quarantine alone, and a repeated row only as
    repeated: the row it repeats carries the rest.
    """
    store.execute(f"DELETE FROM repeats WHERE ref IN {_QUARANTINED}")
    store.execute(
        "DELETE FROM findings WHERE severity <> 'quarantine' "
        f"AND (ref IN {_QUARANTINED} OR ref IN (SELECT ref FROM repeats))"
    )
    how = (
        "coalesce('in all that is read of it for ' || r.\"table\" || ' (it differs in ' || "
        "r.differs || ')', 'word for word')"
    )
    do = (
        "CASE WHEN r.differs IS NULL THEN 'delete it, or correct it if it was meant to differ' "
        "ELSE 'leave it if that is told of the same queen, or correct the id if it is another' END"
    )
    repeated = {table for (table,) in store.rows('SELECT DISTINCT "table" FROM repeats')}
    for table in [table for table in TABLES if table in repeated]:
        add(
            store,
            "repeated_row",
            table,
            f'repeats AS r WHERE "table" = {literal(table)}',
            column="",
            value=NOTHING,
            parts={"first": place("r.first"), "how": how, "do": do},
        )
    store.step(FOLDER, "listed_records", {})
