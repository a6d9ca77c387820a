"""Which courses a plan counts: those whose window has closed, asked or not."""

from __future__ import annotations

import datetime as dt

import pytest
from planned_station import D0, course, planned_store
from queen_outcomes.base import resources


@pytest.mark.parametrize(("late", "counted"), [(0, 3), (-1, 0)])
def test_a_course_counts_from_the_day_its_window_closes(full_store, late, counted):
    made = [
        course(1, "yes", protocol="a", dose_meant_ul=8.0),
        course(2, "no", dose_meant_ul=12.5),
        course(3, None),
    ]
    store = planned_store(full_store, made)
    given = {"outcome": "laying", "window_days": 21, "grace_days": 7}
    as_of = D0 + dt.timedelta(days=28 + late)
    sql = resources.read("sql", "09_trial", "planned_courses.sql")
    rows = store.records(sql, {**given, "as_of": as_of})
    assert len(rows) == counted
    if counted:
        assert [row["state"] for row in rows] == ["yes", "no", None]
        assert [row["arm"] for row in rows] == ["a", "12.5", None]


def test_a_season_s_queens_and_the_drones_of_the_semen_it_used(full_store):
    """A batch used twice counts once in a season; where nothing was counted there is none."""
    semen = [
        {"ref": ref, "semen_batch": batch, "drones_handled": drones}
        for ref, (batch, drones) in enumerate([("a", 40), ("b", 30), ("c", None), ("unused", 99)])
    ]
    used = [("2026", "a"), ("2026", "a"), ("2026", "b"), ("2027", "a"), ("2027", "c"), ("2025", "c"), ("2024", None)]
    courses = [
        course(n, None, season=season, semen_batch=batch) for n, (season, batch) in enumerate(used)
    ]
    store = planned_store(full_store, courses, semen=semen)
    rows = store.rows(resources.read("sql", "09_trial", "seasons.sql"))
    assert rows == [("2024", 1, None), ("2025", 1, None), ("2026", 3, 70), ("2027", 2, 40)]
