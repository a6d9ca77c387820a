"""The ledger: every row read is accepted, quarantined or passed over, for every source.

Counts the finished tables against each other and stops the build when they do not
add up. It mends nothing.
"""

from __future__ import annotations

from collections.abc import Collection

from queen_outcomes.base import resources
from queen_outcomes.base.errors import LedgerError, shorten
from queen_outcomes.base.store import Store, literal
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.findings import FOLDER

REPORT = "this is a fault of the tool; please report it with these lines"


def write(store: Store) -> None:
    """Write the table `sources`: each source's rows and what became of them."""
    _show_refs(store, "accepted")
    store.step(FOLDER, "sources", {})


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
    known = {name for (name,) in store.rows("SELECT source FROM sources")}
    lost = sorted(set(sources or ()) - known)
    if lost:
        raise LedgerError(
            "a source that was opened is not in the ledger",
            found=shorten(lost),
            hint=REPORT,
        )
    for kind in ("staged", "accepted"):
        _show_refs(store, kind)
    unbalanced = store.rows(resources.read("sql", FOLDER, "unbalanced_sources.sql"))
    if unbalanced:
        raise LedgerError(
            "the rows read do not add up",
            found=shorten(
                [
                    f"{source} ({table}): {read} read, {accepted} accepted, "
                    f"{quarantined} quarantined, {passed} passed over, {staged} staged "
                    f"from {lines} records"
                    for source, table, read, accepted, quarantined, passed, staged, lines in unbalanced
                ]
            ),
            expected="rows read = accepted + quarantined + passed over, for every source "
            "and table",
            hint=REPORT,
        )
    misplaced = store.rows(resources.read("sql", FOLDER, "misplaced_rows.sql"))
    if misplaced:
        raise LedgerError(
            "a row is not in exactly one of accepted and quarantined",
            found=shorten(
                [
                    f"the table {name}: {lost} in neither, {doubled} in both"
                    for name, lost, doubled in misplaced
                ]
            ),
            hint=REPORT,
        )


def _show_refs(store: Store, kind: str) -> None:
    """Show table and ref of every staged or accepted row as one view."""
    parts = " UNION ALL ".join(
        f'SELECT {literal(name)} AS "table", ref FROM {kind}_{name}' for name in TABLES
    )
    store.execute(f"CREATE OR REPLACE TEMP VIEW {kind}_refs AS {parts}")
