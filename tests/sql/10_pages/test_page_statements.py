"""What the pages ask of the tables, against counts made by hand from a few rows."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.dashboard import this_week
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.facts.settings import Settings
from station_tables import check, day, derived, insemination, leave

SETTINGS = Settings()
GRACE = SETTINGS.outcomes.grace_days


def failed(store, as_of: dt.date) -> list[tuple]:
    store.execute("CREATE TABLE IF NOT EXISTS quarantine (source TEXT, line BIGINT)")
    rows = this_week._failed(store, SETTINGS, as_of)
    return [(row["course_id"], row["on"], row["what"]) for row in rows]


def test_a_failure_is_told_once_and_in_the_registrys_words():
    """Q never lays and is seen without eggs; R lays and is culled for a fault."""
    store = derived(
        day(40),
        SETTINGS,
        inseminations=[insemination(0), insemination(1, queen_id="R")],
        checks=[
            check(24, eggs=False, larvae=False, sealed=False, queen_seen=True),
            check(12, queen_id="R", eggs=True),
        ],
        exits=[leave(26, "culled_fault", queen_id="R")],
    )
    close = day(21 + GRACE)
    assert failed(store, close) == [
        ("Q/1", close, "not laying by day 21"),
        ("R/1", day(26), "gone: culled for a fault"),
    ]
    # a week on neither is news; a day before the close one of them is not known yet
    assert failed(store, close + dt.timedelta(this_week.LATELY_DAYS)) == []
    assert [row[0] for row in failed(store, close - dt.timedelta(1))] == ["R/1"]


def test_courses_are_counted_by_how_they_stand():
    store = derived(
        day(60),
        SETTINGS,
        inseminations=[insemination(0), insemination(1, "R"), insemination(2, "S")],
        exits=[leave(26, "culled_fault", "R"), leave(30, "sold", "S")],
    )
    store.execute(
        "CREATE TABLE quarantine AS SELECT * FROM (VALUES "
        "('a.csv', 2, 'checks', NULL, 'x'), ('a.csv', 2, 'checks', NULL, 'y'), "
        "('b.csv', 2, 'checks', NULL, 'x')) AS t (source, line, \"table\", slot, reason)"
    )
    assert store.records(statement("standing_counts")) == [
        {"courses": 3, "observed": 1, "quarantined": 2}
    ]


def test_changes_of_one_kind_are_counted_together(full_store):
    change = {"outcome": "laying", "window_days": 21, "was": "undecided", "is": "yes"}
    made = [
        {**change, "course_id": f"Q{n}/1", "because": "a new record"} for n in (3, 1, 2)
    ]
    made.append({**change, "course_id": "R/1", "because": "other rules"})
    store = full_store(changes=made)
    both = store.records(statement("changes_counted"), {"most": 20})
    assert [(row["because"], row["courses"], row["example"]) for row in both] == [
        ("a new record", 3, "Q1/1"),
        ("other rules", 1, "R/1"),
    ]
    assert store.records(statement("changes_counted"), {"most": 1}) == both[:1]


def test_what_was_set_aside_stands_before_what_waits_for_its_day(full_store):
    place = {"source": "a.csv", "table": "checks", "message": ""}
    listed = [
        {**place, "reason": reason, "severity": severity, "line": line}
        for line, (reason, severity) in enumerate(
            [
                *[("after_as_of", "look")] * 4,
                *[("unusual_pair", "look")] * 3,
                ("impossible_pair", "set_aside"),
            ]
        )
    ]
    store = full_store(listed=listed, quarantine=[{**place, "reason": "id_missing"}])
    rows = store.records(statement("reasons_found"), {"most": 2})
    assert [(row["kind"], row["reason"], row["found"]) for row in rows] == [
        ("listed", "impossible_pair", 1),
        ("listed", "unusual_pair", 3),
        ("listed", "after_as_of", 4),
        ("quarantine", "id_missing", 1),
    ]
    assert [len(row["examples"]) for row in rows] == [1, 2, 2, 1]


@pytest.mark.parametrize("most", [1, 2])
def test_curves_are_given_of_the_levels_with_most_courses(full_store, most):
    rate = {"outcome": "laying", "window_days": 21, "grouping": "line"}
    sizes = {"a": 5, "b": 9, "c": 9, "(not recorded)": 50}
    curves = [
        {"grouping": "line", "level": level, "day": number}
        for level in sizes
        for number in (2, 1)
    ]
    rates = [{**rate, "level": level, "courses": n} for level, n in sizes.items()]
    store = full_store(rates=rates, onset_curves=curves)
    rows = store.records(statement("onset_levels"), {"grouping": "line", "most": most})
    kept = ["b", "c"][:most]
    assert [(row["level"], row["day"]) for row in rows] == [
        (level, number) for level in kept for number in (1, 2)
    ]


@pytest.mark.parametrize(
    ("seen", "shape"),
    [
        ({"queen_seen": True, "mark_seen": False, "eggs": True}, "another"),
        ({"sealed": True, "eggs": True, "drone_in_worker": "many"}, "drones"),
        ({"sealed": True, "eggs": True, "drone_in_worker": "few"}, "drones"),
        ({"sealed": True, "eggs": True, "drone_in_worker": "none"}, "brood"),
        ({"eggs": True}, "brood"),
        ({"queen_seen": False, "eggs": False}, "empty"),
        ({"eggs": False, "queen_seen": True}, "no_brood"),
        ({"queen_seen": True}, "queen"),
        ({}, "nothing"),
    ],
)
def test_a_look_is_drawn_as_the_most_telling_thing_it_says(seen, shape):
    with derived(
        day(60),
        queens=[{"queen_id": "Q", "marked": True}],
        inseminations=[insemination()],
        checks=[check(40, **seen)],
    ) as store:
        assert [row["shape"] for row in store.records(statement("queen_looks"))] == [
            shape
        ]


def test_only_checks_that_are_due_stand_among_the_queens(full_store):
    due = [
        {"queen_id": queen, "course_id": f"{queen}/1", "day": number, "status": status}
        for queen, number, status in [
            ("R", 14, "due"),
            ("Q", 14, "due"),
            ("Q", 7, "due"),
            ("Q", 21, "missed"),
        ]
    ]
    courses = [
        {"queen_id": queen, "course_id": f"{queen}/1", "course": 1} for queen in "QR"
    ]
    store = full_store(due=due, courses=courses)
    rows = store.records(statement("queen_due"), {"queens": ["Q", "R"]})
    assert [(row["queen_id"], row["day"]) for row in rows] == [
        ("Q", 7),
        ("Q", 14),
        ("R", 14),
    ]


def test_a_yard_is_walked_in_the_order_of_the_last_round(full_store):
    due = [
        {"queen_id": queen, "course_id": f"{queen}/1", "colony_id": colony, "day": 7}
        for queen, colony in [("Q", "C2"), ("R", "C1"), ("S", None), ("T", "C9")]
    ]
    store = full_store(due=due)
    store.execute(
        "CREATE OR REPLACE TABLE linked_checks AS SELECT * FROM (VALUES "
        "(11, 'C1', 'R', DATE '2025-06-01'), (12, 'C2', 'Q', DATE '2025-06-01'), "
        "(13, 'C1', 'R', DATE '2025-06-09'), (14, NULL, 'S', DATE '2025-06-08')) "
        "AS t (ref, colony_id, queen_id, checked_on)"
    )
    rows = store.records(statement("yard_round"))
    assert [(row["queen_id"], row["place"]) for row in rows] == [
        ("Q", 2),
        ("R", 4),
        ("S", 3),
        ("T", None),
    ]
