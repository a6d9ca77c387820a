"""Puts together everything that is listed for a second look.

Reads listed_records (what each row says by itself) and course_findings (what only shows
once rows are linked), writes listed. The words of every reason stand in `reasons.py`.
"""

from __future__ import annotations

from queen_outcomes.base.store import Store, literal
from queen_outcomes.facts.reasons import REASONS, message_sql

COURSE_REASONS = (
    "queen_not_inseminated",
    "flat_disagrees",
    "derived_impossible",
    "derived_unusual",
    "sealed_contradicted",
    "older_brood",
    "onset_conflict",
    "later_exit",
    "exit_before_course",
    "exit_without_reason",
    "after_end",
)
"""Reasons that `course_findings.sql` gives."""

PARTS = {"column": '"column"', "value": "value", "other": "other"}


def write_listed(store: Store) -> None:
    """Write the table `listed`, one row a row and reason, in the order of the files."""
    messages = " ".join(
        f"WHEN {literal(code)} THEN {message_sql(code, PARTS)}"
        for code in COURSE_REASONS
    )
    severities = " ".join(
        f"WHEN {literal(code)} THEN {literal(REASONS[code].severity)}"
        for code in COURSE_REASONS
    )
    store.table(
        "listed",
        f"""
        SELECT source, line, "table", severity, reason, "column", value, message
        FROM listed_records
        UNION ALL
        SELECT
            sources.source,
            found.ref % 68719476736,
            found."table",
            CASE found.reason {severities} END,
            found.reason,
            found."column",
            found.value,
            CASE found.reason {messages} END
        FROM course_findings AS found
        INNER JOIN sources_read AS sources
            ON sources.source_no = found.ref // 68719476736
        ORDER BY ALL
        """,
    )
