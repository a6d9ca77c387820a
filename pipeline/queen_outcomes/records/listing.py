"""The list of accepted rows that deserve a second look.

A quarantined row is told of in the quarantine alone, and a repeated row only as
repeated: the row it repeats carries the rest.
"""

from __future__ import annotations

from queen_outcomes.base.store import Store, literal
from queen_outcomes.facts.column import LINE_BITS
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reasons import finding_sql
from queen_outcomes.records import findings

QUARANTINED = "(SELECT ref FROM findings WHERE severity = 'quarantine')"


def write(store: Store) -> None:
    """Write the table `listed_records` from the findings and the repeats."""
    store.execute(f"DELETE FROM repeats WHERE ref IN {QUARANTINED}")
    store.execute(
        "DELETE FROM findings WHERE severity <> 'quarantine' "
        f"AND (ref IN {QUARANTINED} OR ref IN (SELECT ref FROM repeats))"
    )
    findings.add(store, [_repeated(name) for name in TABLES])
    store.table(
        "listed_records",
        f"""
        SELECT DISTINCT s.source,
            f.ref & ((1::BIGINT << {LINE_BITS}) - 1) AS line, f."table",
            f.severity, f.reason, nullif(f."column", '') AS "column", f.value,
            f.message
        FROM findings AS f
        JOIN sources_read AS s ON s.source_no = f.ref >> {LINE_BITS}
        WHERE f.severity <> 'quarantine'
        ORDER BY s.source, line, f.reason, "column", f.message
        """,
    )


def _repeated(table: str) -> str:
    finding = finding_sql(
        "repeated_row",
        table,
        column="",
        value="CAST(NULL AS VARCHAR)",
        parts={"first": findings.place("r.first")},
    )
    return f'SELECT {finding} FROM repeats AS r WHERE "table" = {literal(table)}'
