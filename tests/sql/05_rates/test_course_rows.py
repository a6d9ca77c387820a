"""What curves, fillings and rates are told of each course, worked out by hand."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from fates import AS_OF, FATES, known
from queen_outcomes.base import resources
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import parameters
from queen_outcomes.outcomes.signs import histories_given
from station_tables import check, day, derived, insemination

EMPTY = {"eggs": False, "larvae": False, "sealed": False}


@pytest.fixture(scope="module")
def histories():
    store, names = known()
    store.step("05_rates", "course_groups", {})
    store.step("05_rates", "histories", histories_given())
    told = {row["course_id"]: row for row in store.records("SELECT * FROM histories")}
    return {fate: told[name] for fate, name in names.items()}


@pytest.mark.parametrize("fate", FATES)
def test_the_history_of_a_course(histories, fate):
    expected = FATES[fate][1]
    assert {name: histories[fate][name] for name in expected} == expected


def test_what_each_look_says_of_her_state():
    """Eggs hatch in 3 days, are sealed after 8 and emerge after 21: common practice."""
    looks = [
        check(0, queen_seen=True),
        check(5, queen_seen=True, eggs=False),
        check(12, eggs=True, larvae=False),
        check(19, eggs=False, larvae=True, sealed=True, pattern_pct=70.0, drone_in_worker="none"),
        check(28, queen_seen=False, **EMPTY),
        check(35, eggs=True, sealed=True, drone_in_worker="few", pattern_pct=90.0),
        check(44, sealed=True, drone_in_worker="many", pattern_pct=60.0),
        check(50, larvae=True, queen_seen=True, mark_seen=True),
        check(55, pattern_pct=85.0),
    ]  # fmt: skip
    store = derived(
        queens=[{"queen_id": "Q", "marked": True}],
        inseminations=[insemination()],
        checks=looks,
        until="evidence",
    )
    given = parameters(store, Settings(), AS_OF)
    sql = resources.read("sql", "05_rates", "findings.sql")
    found = [tuple(row.values())[1:] for row in store.records(sql, given)]
    none = (None,) * 3
    # day, seen, mark, brood, older, fresh, young, drones, pattern
    assert found == [
        (0, True, None, None, *none, None, None),
        (5, True, None, 0, *none, None, None),
        (12, None, None, 1, 0, 3, 8, None, None),
        (19, None, None, 2, 8, 9, None, 0, 70.0),
        (28, False, None, 0, *none, None, None),
        (35, None, None, 1, 8, 3, None, 1, 90.0),
        (44, None, None, 1, 8, 21, None, 2, None),
        (50, True, True, 1, 3, 9, None, None, None),
        (55, None, None, 1, 8, 21, None, None, 85.0),
    ]


def at(number, hour):
    return dt.datetime.combine(day(number), dt.time(hour))


@pytest.fixture(scope="module")
def courses():
    """Q with all that may be recorded, R with nothing, and S of whom one thing is known."""
    full = {
        "operator": "Ann", "protocol": "p", "drone_line": "D", "leak": "some",
        "semen_batch": "S1", "instrument": "i", "tip": "t", "dose_ul": 9.5,
        "dose_meant_ul": 8.0, "attempts": 2, "minutes": 3.5,
        "collected_at": at(-1, 10), "drone_age_days": 18.0,
    }  # fmt: skip
    queens = [
        {"queen_id": "Q", "line": "L", "graft_batch": "G", "emerged_on": day(-9)},
        {"queen_id": "S", "graft_batch": "G"},
    ]
    store = derived(
        queens=queens,
        inseminations=[insemination(0, **full), insemination(1, "R"), insemination(2, "S", operator="Ann")],
        co2=[{"queen_id": "Q", "given_at": at(-1, 10)}, {"queen_id": "S", "given_at": at(2, 10)}],
        until="meant",
    )  # fmt: skip
    store.step("05_rates", "course_groups", {})
    return store


def test_a_course_s_groups_and_what_is_not_recorded(courses):
    q, r, s = courses.records("SELECT * FROM course_groups ORDER BY course_id")
    clusters = [row.pop("cluster") for row in (q, r, s)]
    assert q == {
        "course_id": "Q/1", "all": "all", "iso_week": "2025-W22", "month": "2025-06",
        "operator": "Ann", "protocol": "p", "line": "L", "instrument": "i", "tip": "t",
        "drone_line": "D", "semen_batch": "S1", "graft_batch": "G",
        "co2_schedule": "other before", "doses": "1", "season": "2025",
    }  # fmt: skip
    names = ("operator", "protocol", "line", "instrument", "tip", "drone_line")
    names += ("semen_batch", "graft_batch", "co2_schedule")
    assert {r[name] for name in names} == {"(not recorded)"}
    assert s["co2_schedule"] == "one exposure"
    # a batch is one cluster, a course without one stands alone
    assert clusters[0] == clusters[2] > 0 > clusters[1]


def test_what_may_go_with_a_course_s_fate(courses):
    sql = resources.read("sql", "05_rates", "course_factors.sql")
    q, r, s = courses.records(sql)
    turn = 2 * math.pi * 152 / 365.25  # 1 June
    assert q == {
        "course_id": "Q/1", "dose": 8.0, "doses": 1.0, "drone_age": 18.0,
        "queen_age": 9.0, "semen_age": pytest.approx(math.log(25)), "experience": 0.0,
        "co2_gap": 24.0, "season_sine": pytest.approx(math.sin(turn)),
        "season_cosine": pytest.approx(math.cos(turn)), "attempts": 2.0, "minutes": 3.5,
        "dose_error": 1.5, "bench_order": 1.0, "operator": "Ann", "protocol": "p",
        "line": "L", "drone_line": "D", "co2_schedule": "other before", "leak": "some",
        "year": "2025", "graft_batch": "G", "semen_batch": "S1",
    }  # fmt: skip
    assert [r[name] for name in ("operator", "protocol", "line", "drone_line", "leak")] == [""] * 5
    assert (r["graft_batch"], r["semen_batch"], r["dose"]) == ("R/1", "R/1", None)
    assert s["experience"] == pytest.approx(math.log(2))
