"""Staged rows become accepted rows, and quarantined rows with their reasons.

The order of the work is here and nowhere else; each part writes tables. Nothing is
ever dropped silently: the ledger is checked at the end.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records import (
    expectations,
    findings,
    ledger,
    linking,
    listing,
    lookalikes,
    quarantine,
)
from queen_outcomes.records.row_rules import all_row_rules
from queen_outcomes.records.rules import Rule


def accept_records(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    sources: Collection[str] | None = None,
) -> None:
    """Check every staged row, and write what became of it.

    Parameters
    ----------
    store : Store
        Holds ``staged_<table>`` for every table, `sources_read` and ``raw_<no>``.
    settings : Settings
        The station's own limits.
    as_of : date
        The day the build speaks of.
    sources : collection of str or None
        The names of the sources that were opened; each must be in the ledger.

    Raises
    ------
    LedgerError
        An expectation did not answer or counts otherwise than the SQL, or the rows
        do not add up.
    """
    by_table = all_row_rules(settings, as_of)
    counts = _find(store, by_table)
    rules = [rule for table in by_table.values() for rule in table]
    rules += _find_double_keys(store, counts)
    rules += _link_and_accept(store, by_table, counts, as_of)
    quarantine.write(store)
    listing.write(store)
    ledger.write(store)
    ledger.check(store, sources)
    ordered = list(TABLES)
    rules.sort(key=lambda rule: ordered.index(rule.table))
    expectations.verdict(store, rules, counts)
    _tidy(store)


def _find(store: Store, by_table: dict[str, list[Rule]]) -> dict[str, int]:
    findings.prepare(store)
    counts: dict[str, int] = {}
    for name, table in TABLES.items():
        counts |= findings.find_failing(store, table, by_table[name])
        findings.find_repeats(store, table)
    return counts


def _find_double_keys(store: Store, counts: dict[str, int]) -> list[Rule]:
    found = [findings.find_double_keys(store, table) for table in TABLES.values()]
    held = [pair for pair in found if pair]
    counts |= {rule.rule_id: failed for rule, failed in held}
    return [rule for rule, _ in held]


def _link_and_accept(
    store: Store,
    by_table: dict[str, list[Rule]],
    counts: dict[str, int],
    as_of: dt.date,
) -> list[Rule]:
    """Accept placements and exits first: checks are linked by them."""
    first = ("placements", "exits")
    for name in first:
        findings.accept(store, TABLES[name], by_table[name], counts)
    counts |= linking.resolve(store, as_of)
    for name in TABLES:
        if name not in first:
            findings.accept(store, TABLES[name], by_table[name], counts)
    store.step(linking.FOLDER, "linked_checks", {"as_of": as_of})
    linking.tell_looks(store)
    lookalikes.tell_look_alikes(store)
    counts[lookalikes.SEMEN_RULE.rule_id] = lookalikes.tell_unknown_semen(store)
    return [*linking.RULES, lookalikes.SEMEN_RULE]


def _tidy(store: Store) -> None:
    keyed = [f"keyed_{table.name}" for table in TABLES.values() if table.key]
    for name in (
        "findings",
        "repeats",
        "colony_days",
        "colony_checks",
        "stays",
        *keyed,
    ):
        store.drop(name)
