"""Ids across tables: checks find their queens, and ids that no other table explains.

Needs the accepted placements and exits, later all accepted tables. Only points out
what looks wrong: an id is never changed here, nor are two taken for one.
"""

from __future__ import annotations

import datetime as dt

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records import findings
from queen_outcomes.records.findings import FOLDER
from queen_outcomes.records.rules import Expectation, Rule, free

MOST_COMPARED = 20_000_000
"""Pairs of colony labels compared, at most, to suggest the one that was meant."""


def _colony_rule(code: str, says: str, queens: int, bounds: dict[str, int]) -> Rule:
    return Rule(
        rule_id=f"checks.colony_id.{code}",
        table="checks",
        reason=code,
        says=says,
        predicate=f"own_id IS NULL AND queens = {queens}",
        expectation=Expectation(
            "ExpectColumnValuesToBeBetween", {"column": "queens", **bounds}, ("own_id",)
        ),
        columns=("colony_id",),
        values=("colony_id",),
        over="colony_checks",
    )


COLONY_RULES = (
    _colony_rule(
        "no_queen_in_colony",
        "a check of a colony finds a queen placed there that day",
        0,
        {"min_value": 1},
    ),
    _colony_rule(
        "two_queens_in_colony",
        "a check of a colony finds one queen only placed there that day",
        2,
        {"max_value": 1},
    ),
)

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
    expectation=free(_UNKNOWN),
    columns=("semen_batch",),
    values=("semen_batch",),
    over="accepted_inseminations",
    beside=("accepted_semen",),
)


def _count(store: Store, rule: Rule) -> int:
    return store.rows(f"SELECT count(*) FROM {rule.over} WHERE {rule.predicate}")[0][0]


def link_colonies(
    store: Store, as_of: dt.date, next_placement: str = "open"
) -> dict[str, int]:
    """Give the checks of colonies their queens; tell where there is none, or two.

    Parameters
    ----------
    store : Store
    as_of : datetime.date
    next_placement : str
        As the setting of this name.

    Returns
    -------
    dict of str to int
        For each rule_id of ``COLONY_RULES``, how many checks without a queen_id fail it.
    """
    for name in ("stays", "colony_checks"):
        said = {"as_of": as_of, "next_ends": next_placement == "ends"}
        store.step(FOLDER, name, said)
    counts = {rule.rule_id: _count(store, rule) for rule in COLONY_RULES}
    none, two = counts.values()
    if none:
        _tell_no_queen(store)
    if two:
        _tell_two_queens(store)
    return counts


def _tell_no_queen(store: Store) -> None:
    store.step(FOLDER, "colonies_without_queen", {"most_pairs": MOST_COMPARED})
    findings.add(
        store,
        "no_queen_in_colony",
        "checks",
        "colonies_without_queen",
        column="colony_id",
        value="colony_id",
        parts={
            "day": "CAST(checked_on AS VARCHAR)",
            "nearest": "coalesce('the nearest placement there is ' || near_queen "
            "|| ' from ' || near_from || coalesce(' to ' || near_to, ''), "
            "'the colony stands in no placement, but ' || alike || ' does', "
            "'the colony stands in no placement')",
        },
    )
    store.drop("colonies_without_queen")


def _tell_two_queens(store: Store) -> None:
    store.step(FOLDER, "colonies_with_two_queens", {})
    findings.add(
        store,
        "two_queens_in_colony",
        "checks",
        "colonies_with_two_queens",
        column="colony_id",
        value="colony_id",
        parts={"day": "CAST(checked_on AS VARCHAR)", "queens": "queens"},
    )
    store.drop("colonies_with_two_queens")


def tell_disagreements(store: Store) -> None:
    """Tell of a check whose two ids disagree and of placements that overlap."""
    if not store.filled(["accepted_placements"]):
        return  # a check has a second id, and a colony two queens, by placements alone
    findings.add(
        store,
        "ids_disagree",
        "checks",
        "colony_checks WHERE own_id <> queen_id",
        column="queen_id",
        value="own_id",
        parts={
            "colony": "colony_id",
            "other": "queen_id",
            "day": "CAST(checked_on AS VARCHAR)",
        },
    )
    store.step(FOLDER, "overlapping_placements", {})
    findings.add(
        store,
        "placements_overlap",
        "placements",
        "overlapping_placements",
        column="colony_id",
        value="colony_id",
        parts={
            "queen": "queen_id",
            "placed": "CAST(placed_on AS VARCHAR)",
            "other": "other_queen",
            "place": findings.place("other_ref"),
        },
    )
    store.drop("overlapping_placements")


def tell_look_alikes(store: Store) -> None:
    """Tell once of each id that looks like a commoner one, at its first record."""
    filled = store.filled(f"accepted_{name}" for name in TABLES)
    holders: dict[str, list[str]] = {}
    for table in TABLES.values():
        for column in table.columns:
            if column.kind == "id" and f"accepted_{table.name}" in filled:
                holders.setdefault(column.name, []).append(table.name)
    for column, tables in holders.items():
        name = quote(column)
        uses = " UNION ALL ".join(
            f'SELECT {name} AS id, {literal(table)} AS "table", min(ref) AS ref, '
            f"count(*) AS uses FROM accepted_{table} WHERE {name} IS NOT NULL GROUP BY 1"
            for table in tables
        )
        store.execute(f"CREATE OR REPLACE TEMP VIEW id_uses AS {uses}")
        store.step(FOLDER, "look_alike_ids", {})
        alike = {t for (t,) in store.rows('SELECT DISTINCT "table" FROM look_alike_ids')}
        for table in [table for table in tables if table in alike]:
            findings.add(
                store,
                "look_alike",
                table,
                f'look_alike_ids WHERE "table" = {literal(table)}',
                column=column,
                value="id",
                parts={"others": "others"},
            )
        store.drop("look_alike_ids")


def tell_unknown_semen(store: Store) -> int:
    """Tell of inseminations whose semen has no row; give how many there are."""
    rule = SEMEN_RULE
    findings.add(
        store,
        rule.reason,
        rule.table,
        f"{rule.over} WHERE {rule.predicate}",
        column=rule.columns[0],
        value=rule.values[0],
        parts={},
    )
    return _count(store, rule)
