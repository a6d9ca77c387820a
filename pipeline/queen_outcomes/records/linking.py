"""Checks find their queens through the colonies they were placed in.

Needs the accepted placements and exits. Tells of checks of a colony with no queen
or two, of checks whose two ids disagree, and of placements that overlap.
"""

from __future__ import annotations

import datetime as dt

from queen_outcomes.base.store import Store
from queen_outcomes.facts.reasons import finding_sql
from queen_outcomes.records import findings
from queen_outcomes.records.rules import Expectation, Rule

FOLDER = "01_records"
NO_QUEEN = "own_id IS NULL AND queens = 0"
TWO_QUEENS = "own_id IS NULL AND queens = 2"
MOST_COMPARED = 20_000_000
"""Pairs of colony labels compared, at most, to suggest the one that was meant."""


_NEAREST = f"""
    WITH alone AS (
        SELECT DISTINCT colony_id, checked_on FROM colony_checks WHERE {NO_QUEEN}
    ), nearest AS (
        SELECT a.colony_id, a.checked_on, arg_min(
            {{'queen_id': s.queen_id, 'placed_on': s.placed_on,
              'last_on': s.last_on}},
            (CASE WHEN s.placed_on > a.checked_on THEN s.placed_on - a.checked_on
             ELSE a.checked_on - s.last_on END, s.ref)) AS near
        FROM alone AS a JOIN stays AS s USING (colony_id) GROUP BY ALL
    ), strange AS (
        SELECT DISTINCT colony_id FROM alone
        WHERE colony_id NOT IN (SELECT colony_id FROM stays)
        ORDER BY colony_id LIMIT $most
    ), labels AS (SELECT DISTINCT colony_id AS label FROM stays),
    alike AS (
        SELECT colony_id, arg_max(label, (likeness, label)) AS label
        FROM (SELECT colony_id, label, jaro_winkler_similarity(
                lower(colony_id), lower(label)) AS likeness
              FROM strange CROSS JOIN labels)
        WHERE likeness >= 0.85 GROUP BY colony_id
    )
"""
"""SQL of the nearest stay in a colony, and of the nearest label of a colony."""


def _rule(code: str, says: str, predicate: str, bounds: dict[str, int]) -> Rule:
    return Rule(
        rule_id=f"checks.colony_id.{code}",
        table="checks",
        reason=code,
        says=says,
        predicate=predicate,
        expectation=Expectation(
            "ExpectColumnValuesToBeBetween", {"column": "queens", **bounds}, ("own_id",)
        ),
        columns=("colony_id",),
        values=("colony_id",),
        over="colony_checks",
    )


RULES = (
    _rule(
        "no_queen_in_colony",
        "a check of a colony finds a queen placed there that day",
        NO_QUEEN,
        {"min_value": 1},
    ),
    _rule(
        "two_queens_in_colony",
        "a check of a colony finds one queen only placed there that day",
        TWO_QUEENS,
        {"max_value": 1},
    ),
)


def resolve(store: Store, as_of: dt.date) -> dict[str, int]:
    """Give the checks of colonies their queens; tell where there is none, or two.

    Returns
    -------
    dict of str to int
        For each rule_id of ``RULES``, how many checks without a queen_id fail it.
    """
    for name in ("stays", "colony_checks"):
        store.step(FOLDER, name, {"as_of": as_of})
    counts = {
        rule.rule_id: store.rows(
            f"SELECT count(*) FROM colony_checks WHERE {rule.predicate}"
        )[0][0]
        for rule in RULES
    }
    none, two = counts.values()
    if none:
        _tell_no_queen(store)
    if two:
        _tell_two_queens(store)
    return counts


def _tell_no_queen(store: Store) -> None:
    known, unknown = store.rows(
        f"""
        SELECT (SELECT count(DISTINCT colony_id) FROM stays),
            count(DISTINCT colony_id) FROM colony_checks WHERE {NO_QUEEN}
        """
    )[0]
    finding = finding_sql(
        "no_queen_in_colony",
        "checks",
        column="colony_id",
        value="colony_id",
        parts={
            "day": "CAST(checked_on AS VARCHAR)",
            "nearest": """coalesce(
                'the nearest placement there is ' || near.queen_id || ' from '
                    || near.placed_on
                    || coalesce(' to ' || near.last_on, ''),
                'the colony stands in no placement, but ' || alike.label || ' does',
                'the colony stands in no placement')""",
        },
    )
    most = min(unknown, MOST_COMPARED // max(known, 1))
    store.execute(
        f"""
        INSERT INTO findings
        {_NEAREST}
        SELECT {finding} FROM colony_checks
        LEFT JOIN nearest USING (colony_id, checked_on)
        LEFT JOIN alike USING (colony_id)
        WHERE {NO_QUEEN}
        """,
        {"most": most},
    )


def _tell_two_queens(store: Store) -> None:
    finding = finding_sql(
        "two_queens_in_colony",
        "checks",
        column="colony_id",
        value="colony_id",
        parts={"day": "CAST(checked_on AS VARCHAR)", "queens": "names"},
    )
    store.execute(
        f"""
        INSERT INTO findings
        WITH days AS (
            SELECT DISTINCT colony_id, checked_on FROM colony_checks WHERE {TWO_QUEENS}
        ), there AS (
            SELECT d.colony_id, d.checked_on, s.queen_id,
                min(s.placed_on) AS placed_on
            FROM days AS d JOIN stays AS s ON s.colony_id = d.colony_id
                AND s.placed_on <= d.checked_on
                AND (s.last_on IS NULL OR s.last_on >= d.checked_on)
            GROUP BY ALL
        ), named AS (
            SELECT colony_id, checked_on, string_agg(
                queen_id || ' (placed ' || placed_on || ')', ' and '
                ORDER BY placed_on, queen_id) AS names
            FROM there GROUP BY ALL
        )
        SELECT {finding} FROM colony_checks JOIN named USING (colony_id, checked_on)
        WHERE {TWO_QUEENS}
        """
    )


def tell_looks(store: Store) -> None:
    """Tell of ids that disagree and of placements that overlap; nothing is dropped."""
    finding = finding_sql(
        "ids_disagree",
        "checks",
        column="queen_id",
        value="own_id",
        parts={
            "colony": "colony_id",
            "other": "queen_id",
            "day": "CAST(checked_on AS VARCHAR)",
        },
    )
    findings.add(
        store, [f"SELECT {finding} FROM colony_checks WHERE own_id <> queen_id"]
    )
    _tell_overlaps(store)


def _tell_overlaps(store: Store) -> None:
    """Tell of both; the day on which one queen follows another is no overlap."""
    finding = finding_sql(
        "placements_overlap",
        "placements",
        column="colony_id",
        value="colony_id",
        parts={
            "queen": "queen_id",
            "placed": "CAST(placed_on AS VARCHAR)",
            "other": "other.queen_id",
            "place": findings.place("other.ref"),
        },
    )
    findings.add(
        store,
        [
            f"""
            SELECT {finding} FROM (
                SELECT a.ref, a.colony_id, a.queen_id, a.placed_on, arg_min(
                    {{'queen_id': b.queen_id, 'ref': b.ref}}, b.ref) AS other
                FROM stays AS a JOIN stays AS b
                    ON a.colony_id = b.colony_id AND a.queen_id <> b.queen_id
                    AND (a.placed_on = b.placed_on
                        OR (a.placed_on < b.placed_on
                            AND (a.last_on IS NULL OR a.last_on > b.placed_on))
                        OR (b.placed_on < a.placed_on
                            AND (b.last_on IS NULL OR b.last_on > a.placed_on)))
                GROUP BY ALL)
            """
        ],
    )
