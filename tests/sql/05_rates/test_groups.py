"""Every grouping of the rates stands under its own name, counted apart."""

from __future__ import annotations

from collections import Counter

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store

GROUPINGS = [
    *("all", "iso_week", "month", "operator", "protocol", "instrument", "tip", "line"),
    *("drone_line", "semen_batch", "graft_batch", "co2_schedule", "doses", "season"),
]
COURSES = [
    {"course_id": "A/1", "cluster": 1, "shared": "same"},
    {"course_id": "B/1", "cluster": 1, "shared": "same"},
    {"course_id": "C/1", "cluster": 2, "shared": "other"},
]
STATES = {"A/1": ("yes", True), "B/1": ("no", True), "C/1": ("undecided", False)}


def counted() -> list[dict]:
    """Count three courses whose level in each grouping bears the grouping's name."""
    with Store(threads=1) as store:
        levels = ", ".join(f'"{name}" TEXT' for name in GROUPINGS)
        store.execute(
            f"CREATE TABLE course_groups (course_id TEXT, cluster INT, {levels})"
        )
        store.execute(
            "CREATE TABLE outcomes (course_id TEXT, outcome TEXT, window_days INT, "
            "state TEXT, closed BOOLEAN)"
        )
        for course in COURSES:
            row = [course["course_id"], course["cluster"]]
            row += [f"{name}: {course['shared']}" for name in GROUPINGS]
            told = ", ".join(f"'{value}'" for value in row)
            store.execute(f"INSERT INTO course_groups VALUES ({told})")
            state, closed = STATES[course["course_id"]]
            store.execute(
                f"INSERT INTO outcomes VALUES ('{row[0]}', 'laying', 21, '{state}', {closed})"
            )
        return store.records(
            resources.read("sql", "05_rates", "cluster_counts.sql"),
            {"outcome": None, "window_days": None},
        )


def test_a_level_stands_under_the_grouping_it_is_of():
    found = Counter((row["grouping"], row["level"]) for row in counted())
    assert found == Counter(
        {
            (name, f"{name}: {level}"): 1
            for name in GROUPINGS
            for level in ("same", "other")
        }
    )


def test_courses_are_counted_by_state_and_open_ones_apart():
    names = ("open", "yes", "no", "undecided", "left")
    counts = {
        (row["level"], row["cluster"]): [row[name] for name in names] for row in counted()
    }
    assert counts["tip: same", 1] == [0, 1, 1, 0, 0]
    assert counts["tip: other", 2] == [1, 0, 0, 0, 0]
