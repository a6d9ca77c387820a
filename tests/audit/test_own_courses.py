"""An operator's own courses beside colleagues': lists and counts by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from closed_courses import closed_courses
from queen_outcomes.audit.cases import batch_parts
from queen_outcomes.audit.own_courses import (
    around_signal,
    beside_said,
    by_tool,
    failed_queens,
    said,
)
from queen_outcomes.audit.part import levelled
from two_hands import DAY, LOAD, OPERATOR
from two_hands import two_hands as cases

BENCH = [
    {"course_id": "01", "queen_id": "Q1", "tip": "t1", "instrument": None},
    {"course_id": "05", "queen_id": "Q5", "tip": "t1", "instrument": "i1"},
    {"course_id": "06", "queen_id": "Q6", "tip": "t2", "instrument": "i1"},
]


def test_failed_queens_are_listed_the_latest_first_beside_colleagues(full_store):
    store = full_store(courses=[{"course_id": "02", "queen_id": "Q2", "dose_ul": 7.5}])
    rows = failed_queens(store, cases(), ["A"])["A"]
    assert [(row["d0"].day, row["semen_batch"]) for row in rows] == [
        *((3, ""), (2, "s2"), (1, "s1"))
    ]
    assert [(r["queen_id"], r["dose_ul"]) for r in rows] == [
        *((None, None), ("Q2", 7.5), (None, None))
    ]
    # of B two decided courses on the first day and of its load, one on the second
    assert [(r["day_courses"], r["day_failed"]) for r in rows] == [
        *((0, 0), (1, 1), (2, 1))
    ]
    assert [(r["load_courses"], r["load_failed"]) for r in rows] == [
        *((0, 0), (0, 0), (2, 1))
    ]
    told = [said(row) for row in rows]
    assert [(t["day"], t["dose"], t["of_day"], t["of_load"]) for t in told] == [
        ("2026-06-03", "", "", ""),
        ("2026-06-02", "7.5", "1 of 1", ""),
        ("2026-06-01", "", "1 of 2", "1 of 2"),
    ]


def test_courses_of_a_day_are_listed_by_time_and_id(full_store):
    stamps = np.full(11, "2026-06-01T10")
    stamps[0] = "2026-06-01T11"
    made = closed_courses(
        np.append(np.ones(4), np.zeros(7)),
        np.full(11, 0.2),
        np.full(11, DAY),
        stamps,
        course_id=np.char.zfill(np.arange(11).astype(str), 2),
        operator=OPERATOR,
        graft_batch=np.char.add("g", np.arange(11).astype(str)),
        semen_batch=LOAD,
    )
    rows = failed_queens(full_store(), made, ["A"])["A"]
    assert [row["graft_batch"] for row in rows] == ["g0", "g3", "g2", "g1"]


def test_colleagues_are_told_of_on_the_days_and_with_the_loads_of_failures():
    """A failed on three days, with s1, s2 and an unknown load; B's third is undecided."""
    expected = 0.15 + 0.16
    assert beside_said(cases(), "A") == [
        "On the days of these failures colleagues did 3 courses: 2 failed, "
        f"{expected + 0.19:.1f} expected.",
        "With the loads of these failures colleagues did 2 courses: 1 failed, "
        f"{expected:.1f} expected.",
    ]
    assert beside_said(cases(operator=np.full(11, "A")), "A") == []


def test_results_by_tool_stand_beside_colleagues(full_store):
    rows = by_tool(full_store(courses=BENCH), cases(), "A")
    # the tip of her second course only; of the instrument nothing is recorded of hers
    assert [(row["tool"], row["level"]) for row in rows] == [
        *(("tip", "not recorded"), ("tip", "t1"))
    ]
    bare, t1 = rows
    assert (t1["courses"], t1["failures"]) == (1, 0)
    assert t1["expected"] == pytest.approx(0.11)
    assert (t1["others_courses"], t1["others_failures"]) == (1, 1)
    assert t1["others_expected"] == pytest.approx(0.15)
    assert (bare["courses"], bare["failures"]) == (4, 3)
    assert bare["expected"] == pytest.approx(0.10 + 0.12 + 0.14 + 0.20)
    assert (bare["others_courses"], bare["others_failures"]) == (1, 1)  # B's last


def test_a_season_is_told_before_and_since_a_signal():
    signal = {
        "inseminated_at": dt.datetime.fromisoformat("2026-06-02T09"),
        "known_on": dt.date(2026, 6, 3),
    }
    before, since, after = around_signal(cases(), "A", signal)
    # the first course is of the season before, the fourth is undecided
    assert [
        (row["courses"], row["failures"], round(row["expected"], 2))
        for row in (before, since, after)
    ] == [(2, 1, 0.23), (2, 1, 0.34), (1, 0, 0.2)]
    assert before["when"] == "this season up to 2026-06-02"
    assert after["when"] == "of these, done after it was known (2026-06-03)"
    signal["inseminated_at"] = dt.datetime.fromisoformat(
        "2026-07-11T09"
    )  # her last, alone that day
    assert [row["courses"] for row in around_signal(cases(), "A", signal)] == [4, 0, 0]
    signal["inseminated_at"] = dt.datetime.fromisoformat(
        "2026-05-02T09"
    )  # no course of that day
    assert [row["courses"] for row in around_signal(cases(), "A", signal)] == [0, 0, 0]


def test_an_excess_is_parted_by_batch_the_largest_first():
    rows = batch_parts(cases(), "A")
    # without the undecided: g1 five of nine named; s1 two of four, s2 and s3 hers alone
    assert [
        (r["kind"], r["batch"], r["courses"], r["failures"], r["alone"]) for r in rows
    ] == [
        ("graft_batch", "g1", 5, 3, False),
        ("semen_batch", "s2", 1, 1, True),
        ("semen_batch", "s1", 2, 1, False),
        ("semen_batch", "s3", 1, 0, True),
    ]
    assert [r["expected"] for r in rows] == pytest.approx([0.67, 0.12, 0.21, 0.2])
    assert [r["excess"] for r in rows] == pytest.approx([2.33, 0.88, 0.79, -0.2])
    assert batch_parts(cases(), "C") == []
    assert [r["operator"] for r in batch_parts(cases())] == ["A"] * 4 + ["B"] * 2


def test_ties_of_an_excess_are_ordered_by_kind_and_name():
    n = 4
    made = closed_courses(
        np.zeros(n),
        np.full(n, 0.2),
        np.full(n, DAY),
        course_id=np.array(list("1234")),
        operator=np.full(n, "A"),
        graft_batch=np.array(["b", "a", "", ""]),
        semen_batch=np.array(["", "", "z", ""]),
    )
    rows = batch_parts(made)
    assert [row["batch"] for row in rows] == ["a", "b", "z"]


def test_risks_of_a_part_are_moved_until_they_add_up_to_its_failures():
    made = cases().with_risk(np.append(np.full(10, 0.2), np.nan))
    found = levelled(made)
    # of nine at risk and of known risk six failed in the one filling
    assert found.risk[:10] == pytest.approx(np.full(10, 6 / 8))
    assert np.isnan(found.risk[10])
    none = made.some(np.array([1, 6]))  # none failed: there is nothing to agree with
    assert levelled(none) is none
    every = made.some(np.array([0, 2]))
    assert levelled(every) is every
