"""What curves, fillings and rates are told of each course, worked out by hand."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from queen_outcomes.base import resources
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import parameters
from queen_outcomes.outcomes.signs import histories_given
from station_tables import check, day, derived, insemination, leave

AS_OF = day(122)
EMPTY = {"eggs": False, "larvae": False, "sealed": False}
SOUND = {"sealed": True, "drone_in_worker": "none", "queen_seen": True}
BEGUN = check(12, eggs=True, larvae=False, queen_seen=True)
CLEAN = check(30, **SOUND, mark_seen=True)
MANY = check(40, sealed=True, drone_in_worker="many")

FATES = {
    "nobody looked": (
        [],
        {"onset_after": 0, "onset_by": None, "unlaid_day": None, "begun_by": None}
        | {"end_by": None, "alive_day": None, "mark_day": None, "sound_day": None}
        | {"watched_days": 122, "first_days": 0, "drone_by": None, "drone_after": None},
    ),
    "sold, in hand until then": (
        [BEGUN, CLEAN, leave(50, "sold")],
        {"onset_after": 8, "onset_by": 12, "alive_day": 50, "mark_day": 50}
        | {"sound_day": 50, "exit_day": 50, "exit_reason": "sold", "end_by": None},
    ),
    "her colony was lost, in nobody's hand": (
        [BEGUN, CLEAN, leave(50, "colony_lost")],
        {"alive_day": 30, "mark_day": 30, "sound_day": 30, "exit_day": 50},
    ),
    "taken out for her drone brood, sound when last seen so": (
        [BEGUN, CLEAN, leave(50, "drone_layer")],
        {"drone_by": 50, "drone_after": 30, "end_by": 50, "end_behind": 49}
        | {"end_since": 30, "alive_day": 50, "end_reason": "drone_layer"},
    ),
    "seen with it before": (
        [BEGUN, CLEAN, MANY, leave(50, "drone_layer")],
        {"drone_by": 40, "drone_after": 30, "end_by": 50},
    ),
    "seen with it and with nothing before": (
        [BEGUN, MANY],
        {"drone_by": 40, "drone_after": 0, "sound_day": None, "end_by": None},
    ),
    "taken out for it, never looked at": (
        [leave(50, "drone_layer")],
        {"drone_by": 50, "drone_after": 0, "unlaid_day": 50, "begun_by": 25},
    ),
    "inseminated again, not looked at lately": (
        [check(9, eggs=False), insemination(20)],
        {"next_day": 20, "unlaid_day": 20, "begun_by": 20, "alive_day": 20}
        | {"mark_day": 20, "sound_day": None, "end_by": None, "onset_after": 9},
    ),
    "inseminated again, without brood a week before": (
        [check(13, **EMPTY), insemination(20)],
        {"next_day": 20, "unlaid_day": 20, "begun_by": None},
    ),
    "two doses": (
        [insemination(2), check(12, eggs=True)],
        {"first_days": 2, "watched_days": 120, "onset_by": 10},
    ),
    "looks that contradict each other": (
        [check(15, eggs=False), check(20, sealed=True)],
        {"onset_after": 0, "onset_by": 12},
    ),
    "looks that meet on one day": (
        [check(12, eggs=False), check(20, sealed=True)],
        {"onset_after": 0, "onset_by": 12},
    ),
    "looks that leave a day between": (
        [check(11, eggs=False), check(20, sealed=True)],
        {"onset_after": 11, "onset_by": 12},
    ),
    "missing, without brood a week before": (
        [check(23, **EMPTY), leave(30, "missing")],
        {"unlaid_day": 30, "begun_by": None, "end_by": 30, "end_behind": 0},
    ),
    "missing, without brood eight days before": (
        [check(22, **EMPTY), leave(30, "missing")],
        {"unlaid_day": 30, "begun_by": 15},
    ),
    "dead too early to lay": ([leave(5, "dead")], {"unlaid_day": 5, "begun_by": None}),
    "dead a day later": (
        [leave(6, "dead")],
        {"unlaid_day": 6, "begun_by": 3, "end_since": 0, "end_behind": 5},
    ),
    "dead on day 0": (
        [leave(0, "dead")],
        {"end_by": 0, "end_since": -1, "unlaid_day": 0, "begun_by": None},
    ),
    "missing, which nobody saw by looking": (
        [BEGUN, leave(60, "missing")],
        {"end_since": 12, "end_by": 60, "end_behind": 30, "unlaid_day": None},
    ),
    "missing, and looked for the day before": (
        [BEGUN, check(59, queen_seen=False), leave(60, "missing")],
        {"end_since": 12, "end_by": 60, "end_behind": 12},
    ),
    "missing, last looked for two days before": (
        [BEGUN, check(58, queen_seen=False), leave(60, "missing")],
        {"end_behind": 30},
    ),
    "missing soon after she was seen": (
        [BEGUN, check(45, queen_seen=True), leave(60, "missing")],
        {"end_since": 45, "end_behind": 45},
    ),
    "eggs on the day she was found dead": (
        [BEGUN, check(40, eggs=True), leave(40, "dead")],
        {"end_since": 37, "end_by": 40, "end_behind": 37},
    ),
    "another queen in her place": (
        [BEGUN, CLEAN, check(60, eggs=True), check(90, queen_seen=True, mark_seen=False)],
        {"end_reason": "superseded", "end_by": 90, "end_since": 30, "end_behind": 30},
    ),
    "another queen, her own mark never seen": (
        [BEGUN, check(60, eggs=True), check(90, queen_seen=True, mark_seen=False)],
        {"end_by": 90, "end_since": 12, "is_marked": True},
    ),
    "missing at two looks, an exit later": (
        [
            check(7, queen_seen=False, eggs=False),
            check(10, queen_seen=False, eggs=False),
            leave(30, "dead"),
        ],
        {"end_reason": "dead", "end_by": 7, "end_since": 0, "end_behind": 0}
        | {"unlaid_day": 7, "begun_by": None},
    ),
}
"""What is on record of a marked queen inseminated on day 0, and what follows."""


@pytest.fixture(scope="module")
def histories():
    names = {fate: f"Q{at:02}" for at, fate in enumerate(FATES)}
    rows = {"checks": [], "exits": [], "inseminations": []}
    for fate, name in names.items():
        rows["inseminations"].append(insemination(0, name))
        for row in FATES[fate][0]:
            table = "checks" if "checked_on" in row else "exits"
            table = "inseminations" if "inseminated_at" in row else table
            rows[table].append({**row, "queen_id": name})
    queens = [{"queen_id": name, "marked": True} for name in names.values()]
    store = derived(AS_OF, queens=queens, until="meant", **rows)
    store.step("05_rates", "course_groups", {})
    store.step("05_rates", "histories", histories_given())
    told = store.records("SELECT * FROM histories WHERE course_id LIKE '%/1'")
    by_queen = {row["course_id"].split("/")[0]: row for row in told}
    return {fate: by_queen[name] for fate, name in names.items()}


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
