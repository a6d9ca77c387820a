"""The ledger: every row read is accepted or quarantined, for every source.

Counts the finished tables against each other and stops the build when they do not
add up. It mends nothing.
"""

from __future__ import annotations

from collections.abc import Collection

from queen_outcomes.base.errors import LedgerError, shorten
from queen_outcomes.base.store import Store, literal
from queen_outcomes.facts.column import LINE_BITS
from queen_outcomes.facts.dictionary import TABLES

REPORT = "this is a fault of the tool; please report it with these lines"


def write(store: Store) -> None:
    """Write the table `sources`: each source's rows and what became of them."""
    accepted = " UNION ALL ".join(
        f"SELECT ref >> {LINE_BITS} AS source_no, count(*) AS number "
        f"FROM accepted_{name} GROUP BY 1"
        for name in TABLES
    )
    store.table(
        "sources",
        f"""
        WITH accepted AS (
            SELECT source_no, sum(number) AS number FROM ({accepted}) GROUP BY 1
        ), quarantined AS (
            SELECT source, count(DISTINCT line) AS number FROM quarantine GROUP BY 1
        ), repeated AS (
            SELECT source, count(DISTINCT line) AS number FROM listed_records
            WHERE reason = 'repeated_row' GROUP BY 1
        )
        SELECT s.source, s."table", s.sha256, CAST(s.rows_read AS BIGINT) AS rows_read,
            CAST(coalesce(a.number, 0) + coalesce(r.number, 0) AS BIGINT) AS accepted,
            coalesce(q.number, 0) AS quarantined, coalesce(r.number, 0) AS repeated
        FROM sources_read AS s
        LEFT JOIN accepted AS a ON a.source_no = s.source_no
        LEFT JOIN quarantined AS q ON q.source = s.source
        LEFT JOIN repeated AS r ON r.source = s.source
        ORDER BY s.source
        """,
    )


def check(store: Store, sources: Collection[str] | None = None) -> None:
    """Make sure that no row was lost or counted twice.

    Parameters
    ----------
    store : Store
        Holds `sources`, `quarantine`, `listed_records`, and the staged and accepted
        tables.
    sources : collection of str or None
        The names of the sources that were opened, where the caller knows them.

    Raises
    ------
    LedgerError
        A source is missing, a source's rows do not add up, or a row is in neither or
        in both of accepted and quarantined.
    """
    _check_sources(store, sources)
    _check_counts(store)
    for name in TABLES:
        _check_rows(store, name)


def _check_sources(store: Store, sources: Collection[str] | None) -> None:
    known = {name for (name,) in store.rows("SELECT source FROM sources")}
    lost = sorted(set(sources or ()) - known)
    if lost:
        raise LedgerError(
            "a source that was opened is not in the ledger",
            found=shorten(lost),
            hint=REPORT,
        )


def _check_counts(store: Store) -> None:
    staged = " UNION ALL ".join(
        f"SELECT ref >> {LINE_BITS} AS source_no, count(*) AS number, "
        f"count(DISTINCT ref) AS lines FROM staged_{name} GROUP BY 1"
        for name in TABLES
    )
    wrong = store.rows(
        f"""
        WITH staged AS ({staged}), counted AS (
            SELECT s.source, s.rows_read, s.accepted, s.quarantined,
                coalesce(sum(t.number), 0) AS staged,
                coalesce(sum(t.lines), 0) AS lines
            FROM sources AS s JOIN sources_read AS r ON r.source = s.source
            LEFT JOIN staged AS t ON t.source_no = r.source_no GROUP BY ALL
        )
        SELECT source, rows_read, accepted, quarantined, staged, lines FROM counted
        WHERE rows_read <> accepted + quarantined OR rows_read <> staged
            OR rows_read <> lines
        ORDER BY source
        """
    )
    if wrong:
        raise LedgerError(
            "the rows read do not add up",
            found=shorten(
                [
                    f"{source}: {read} read, {accepted} accepted, {quarantined} "
                    f"quarantined, {staged} staged from {lines} lines"
                    for source, read, accepted, quarantined, staged, lines in wrong
                ]
            ),
            expected="rows read = accepted + quarantined, for every source",
            hint=REPORT,
        )


def _check_rows(store: Store, name: str) -> None:
    ref = f"(s.source_no::BIGINT << {LINE_BITS}) + q.line"
    by_name = f'q."table" = {literal(name)}'
    lost, doubled = store.rows(
        f"""
        WITH other AS (
            SELECT {ref} AS ref, 'quarantined' AS is_in FROM quarantine AS q
            JOIN sources_read AS s ON s.source = q.source WHERE {by_name}
            UNION
            SELECT {ref}, 'repeated' FROM listed_records AS q
            JOIN sources_read AS s ON s.source = q.source
            WHERE {by_name} AND q.reason = 'repeated_row'
        )
        SELECT
            (SELECT count(*) FROM staged_{name} AS s
             ANTI JOIN accepted_{name} AS a ON a.ref = s.ref
             WHERE s.ref NOT IN (SELECT ref FROM other)),
            (SELECT count(*) FROM accepted_{name}
             WHERE ref IN (SELECT ref FROM other))
            + (SELECT count(*) - count(DISTINCT ref) FROM other)
        """
    )[0]
    if lost or doubled:
        raise LedgerError(
            "a row is not in exactly one of accepted and quarantined",
            where=f"the table {name}",
            found=f"{lost} in neither, {doubled} in both",
            hint=REPORT,
        )
