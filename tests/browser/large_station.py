"""A made-up station of tens of thousands of courses with five looks each.

Its rows are arithmetic on their number, so that it is the same wherever it is made; what
lies in the records is derived by the package itself.
"""

from __future__ import annotations

import datetime as dt

from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import derive

AS_OF = dt.date(2026, 7, 19)
LINE = "({number} * 68719476736 + {line})"

ROWS = {
    "queens": """
        SELECT {ref} AS ref, queen_id, 'line ' || i % 7 AS line,
            'G' || lpad(CAST(i // 30 AS VARCHAR), 4, '0') AS graft_batch,
            d0 - 6 - CAST(i % 8 AS INTEGER) AS emerged_on, true AS marked,
            'white ' || i % 99 AS mark
        FROM made
    """,
    "semen": """
        SELECT {ref} AS ref, 'S' || lpad(CAST(i AS VARCHAR), 4, '0') AS semen_batch,
            CAST(DATE '2021-04-01' + CAST(i % 1800 AS INTEGER) AS TIMESTAMP)
                AS collected_at,
            'drones ' || i % 5 AS drone_line, 80 + i % 140 AS volume_ul,
            90 + i % 150 AS drones_yielding
        FROM made WHERE i < {courses} // 12
    """,
    "inseminations": """
        SELECT {ref} AS ref, queen_id,
            CAST(d0 AS TIMESTAMP) + to_minutes(540 + i % 300) AS inseminated_at,
            ['Alder', 'Birch', 'Hazel', 'Linden', 'Rowan', 'Willow'][1 + i % 6]
                AS operator,
            'S' || lpad(CAST(i // 12 AS VARCHAR), 4, '0') AS semen_batch,
            6 + (i * 7919) % 70 / 10 AS dose_ul, 8.0 AS dose_meant_ul,
            'single 8' AS protocol, 1 + i % 3 AS attempts,
            CASE WHEN i % 50 = 0 THEN 'said of queen ' || i END AS note
        FROM made
    """,
    "co2": """
        SELECT {ref} AS ref, queen_id, CAST(d0 - 1 AS TIMESTAMP) + to_minutes(600)
            AS given_at, 3 + i % 5 AS minutes
        FROM made
    """,
    "placements": """
        SELECT {ref} AS ref, queen_id, 'N' || lpad(CAST(i % 900 AS VARCHAR), 3, '0')
            AS colony_id, d0 + 1 AS placed_on, d0 + 80 + CAST(i % 60 AS INTEGER)
            AS removed_on, 'tube' AS method
        FROM made
    """,
    "checks": """
        SELECT {ref_of_looks} AS ref, queen_id,
            CASE WHEN i % 3 = 0 THEN 'N' || lpad(CAST(i % 900 AS VARCHAR), 3, '0') END
                AS colony_id,
            d0 + day + CAST((i + day) % 3 AS INTEGER) AS checked_on,
            (i * 31 + day) % 9 > 0 AS queen_seen,
            day > lays_from AS eggs, day > lays_from + 4 AS larvae,
            day > lays_from + 9 AS sealed,
            CASE WHEN day > 35 THEN 60 + (i * 17 + day) % 40 END AS pattern_pct,
            CASE WHEN day > 35 THEN 'none' END AS drone_in_worker
        FROM (
            SELECT *, unnest([7, 14, 21, 40, 62]) AS day, unnest([0, 1, 2, 3, 4]) AS turn,
                6 + (i * 7919) % 19 AS lays_from
            FROM made
        )
    """,
    "exits": """
        SELECT {ref} AS ref, queen_id, d0 + 25 + CAST(i % 70 AS INTEGER) AS left_on,
            ['dead', 'missing', 'sold', 'superseded'][1 + i // 9 % 4] AS reason
        FROM made WHERE i % 3 = 1
    """,
}
"""What stands in each table; `made` has a row a course: i, queen_id, d0."""


def make(courses: int) -> Store:
    """Make a station's accepted rows, as many courses as asked, and derive from them."""
    store = Store()
    store.table(
        "made",
        "SELECT i, 'Q' || lpad(CAST(i AS VARCHAR), 6, '0') AS queen_id, "
        "DATE '2021-04-01' + CAST(i * 1900 // $courses AS INTEGER) AS d0 "
        "FROM range($courses) AS t (i)",
        {"courses": courses},
    )
    named = ", ".join(
        f"({number}, '{name}.csv', '{name}')"
        for number, name in enumerate(TABLES, start=1)
    )
    store.table(
        "sources_read",
        f'SELECT * FROM (VALUES {named}) AS t (source_no, source, "table")',
    )
    for number, (name, table) in enumerate(TABLES.items(), start=1):
        kinds = {column.name: column.sql_type for column in table.columns}
        columns = ", ".join(f"{n} {kinds.get(n, 'BIGINT')}" for n in table.kept)
        store.execute(f"CREATE TABLE accepted_{name} (ref BIGINT, {columns})")
        if name not in ROWS:
            continue
        rows = ROWS[name].format(
            ref=LINE.format(number=number, line="i + 2"),
            ref_of_looks=LINE.format(number=number, line="i * 5 + turn + 2"),
            courses=courses,
        )
        store.execute(f"INSERT INTO accepted_{name} BY NAME {rows}")
    store.table("linked_checks", "SELECT * FROM accepted_checks")
    store.execute(
        'CREATE TABLE quarantine (source VARCHAR, line BIGINT, slot BIGINT, "table" VARCHAR, '
        'reason VARCHAR, message VARCHAR, "row" VARCHAR)'
    )
    derive(store, Settings(), AS_OF)
    return store
