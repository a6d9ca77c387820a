"""Staged rows become accepted rows, and quarantined rows with their reasons.

The order of the work is here and nowhere else; each part writes tables. Nothing is
ever dropped silently: the ledger is checked at the end.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

from queen_outcomes.base.errors import RecordsError, shorten
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.base.workers import Workers
from queen_outcomes.facts.column import Table
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records import (
    expectations,
    findings,
    ledger,
    linking,
    repeats,
    spellings,
)
from queen_outcomes.records.expectations import SecondCount
from queen_outcomes.records.rules import Rule, row_rules

LINKS = ("placements", "exits")
"""Accepted first: checks are linked by them."""


def accept_records(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    sources: Collection[str] | None = None,
    *,
    verified: bool = True,
    workers: Workers | None = None,
) -> SecondCount | None:
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
    verified : bool
        Have the expectations count the failing rows too, which takes seconds.
    workers : Workers or None
        Who counts them beside what the build does next; None: they are counted here.

    Returns
    -------
    SecondCount or None
        That second count, to be asked for; None where it is over, or was not wanted.

    Raises
    ------
    LedgerError
        An expectation did not answer or counts otherwise than the SQL, or the rows
        do not add up.
    """
    by_table = {
        name: row_rules(table, settings, as_of) for name, table in TABLES.items()
    }
    rules = [rule for table in by_table.values() for rule in table]
    findings.prepare(store)
    spellings.fold(store, settings.reading)
    counts: dict[str, int] = {}
    filled = store.filled(f"staged_{name}" for name in TABLES)
    for name, table in TABLES.items():
        if f"staged_{name}" in filled:
            counts |= findings.find_failing(store, table, by_table[name])
            findings.find_repeats(store, table)
            repeats.look_closer(store, table, settings.reading)
        else:
            counts |= dict.fromkeys((rule.rule_id for rule in by_table[name]), 0)
        if table.key:
            rule, failed = findings.find_double_keys(store, table)
            rules.append(rule)
            counts[rule.rule_id] = failed
    for name in LINKS:
        _accept(store, TABLES[name], by_table[name], counts)
    counts |= linking.link_colonies(store, as_of, settings.reading.next_placement)
    for name, table in TABLES.items():
        if name not in LINKS:
            _accept(store, table, by_table[name], counts)
    store.step(findings.FOLDER, "linked_checks", {"as_of": as_of})
    linking.tell_disagreements(store)
    linking.tell_look_alikes(store)
    counts[linking.SEMEN_RULE.rule_id] = linking.tell_unknown_semen(store)
    rules += [*linking.COLONY_RULES, linking.SEMEN_RULE]
    findings.write_quarantine(store)
    findings.write_listed(store)
    ledger.write(store)
    ledger.check(store, sources)
    ordered = list(TABLES)
    rules.sort(key=lambda rule: ordered.index(rule.table))
    verdict = None
    if verified and workers is not None and workers.count > 1:
        verdict = expectations.begin(store, rules, counts, workers)
    elif verified:
        expectations.verify(store, rules, counts)
    expectations.write(store, rules, counts)
    keyed = [f"keyed_{name}" for name, table in TABLES.items() if table.key]
    for name in ("findings", "colony_checks", "stays", repeats.CELLS_READ, *keyed):
        store.drop(name)
    return verdict


def useless(
    store: Store, unread: Collection[str], as_of: dt.date
) -> RecordsError | None:
    """Give why no build can be made of the records; None where one can.

    Parameters
    ----------
    store : Store
        Holds `sources` and the accepted tables.
    unread : collection of str
        Files and sheets that nothing reads.
    as_of : date
        The day the build speaks of.

    Notes
    -----
    Blank records are no fault: a station begins with them.
    """
    ((read, rows, quarantined),) = store.rows(
        "SELECT coalesce(sum(rows_read), 0)::BIGINT, coalesce(sum(rows_read) FILTER "
        """("table" = 'inseminations'), 0)::BIGINT, coalesce(sum(quarantined) FILTER """
        """("table" = 'inseminations'), 0)::BIGINT FROM sources"""
    )
    ((used, first),) = store.rows(
        "SELECT count(*), CAST(min(inseminated_at) AS DATE) FROM accepted_inseminations"
    )
    if not used and (read or unread):
        parts = [f"{read} rows read, none of them an insemination"]
        if rows:
            parts = [f"{rows} inseminations read, {quarantined} of them in quarantine"]
        parts += [f"not read: {shorten(list(unread), ', ')}"] if unread else []
        return RecordsError(
            "no insemination can be used, so there is nothing to build on",
            where="records/",
            found="; ".join(parts),
            expected="at least one insemination with a queen and a day",
            hint="`queen-outcomes check` says what is wrong with each row, and "
            "`check --mapping` how each sheet is read",
        )
    if first is not None and as_of < first:
        return RecordsError(
            "the as-of day lies before the first insemination",
            where="records/",
            found=f"as of {as_of}, first insemination on {first}",
            expected=f"a day from {first} on",
            hint="give another --as-of, or mend as_of in station.toml; or the order of "
            "dates there, if the records' days are read wrongly",
        )
    return None


def _accept(
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
    for name in table.kept:
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
