"""The quarantine: rows that cannot be used, every reason, and their text as read.

Takes the text from the raw tables, only for the lines concerned. It judges nothing.
"""

from __future__ import annotations

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.column import LINE_BITS

RAW_EXTRAS = ("broken", "broken_text")
"""What a raw table has besides the source's own columns and the line."""


def write(store: Store) -> None:
    """Write the table `quarantine` from the findings and the raw tables."""
    store.execute("CREATE TABLE quarantined_text (ref BIGINT, row VARCHAR)")
    numbers = store.rows(
        f"SELECT DISTINCT ref >> {LINE_BITS} AS number FROM findings "
        "WHERE severity = 'quarantine' ORDER BY number"
    )
    for (number,) in numbers:
        _keep_text(store, number)
    store.table(
        "quarantine",
        f"""
        SELECT s.source, f.ref & ((1::BIGINT << {LINE_BITS}) - 1) AS line, f."table",
            f.reason, nullif(f."column", '') AS "column", f.value, f.message, t.row
        FROM findings AS f
        JOIN sources_read AS s ON s.source_no = f.ref >> {LINE_BITS}
        LEFT JOIN quarantined_text AS t ON t.ref = f.ref
        WHERE f.severity = 'quarantine'
        ORDER BY s.source, line, f.reason, f."column"
        """,
    )
    store.drop("quarantined_text")


def _keep_text(store: Store, number: int) -> None:
    raw = f"raw_{number}"
    columns = store.columns(raw)
    line = "source_line" if "source_line" in columns else "line"
    own = [name for name in columns if name not in (line, *RAW_EXTRAS)]
    cells = ", ".join(
        f"{literal(name)}, CAST({quote(name)} AS VARCHAR)" for name in own
    )
    text = f"CAST(json_object({cells}) AS VARCHAR)"
    if "broken" in columns:
        text = (
            "CASE WHEN broken IS NOT NULL THEN "
            f"CAST(json_object('line', broken_text) AS VARCHAR) ELSE {text} END"
        )
    store.execute(
        f"INSERT INTO quarantined_text SELECT "
        f"({number}::BIGINT << {LINE_BITS}) + {quote(line)}, {text} FROM {raw} "
        f"WHERE ({number}::BIGINT << {LINE_BITS}) + {quote(line)} IN "
        "(SELECT ref FROM findings WHERE severity = 'quarantine')"
    )
