"""What the bench measures say, and which looks make a pair of checkers."""

from __future__ import annotations

import numpy as np
import pytest
from by_hand import answers
from station_tables import check, derived, insemination, station


def test_backflow_is_a_share_and_what_is_not_recorded_takes_no_part():
    made = [
        insemination(at, f"Q{at}", operator="A" if at < 5 else "B", leak=leak)
        for at, leak in enumerate(
            ["none", "some", "most", "none", None, "none", "none"]
        )
    ]
    store = derived(inseminations=made, checks=[check(30, "Q0", eggs=True)])
    store.step("07_audit", "process_measures", {})
    rows = store.records("SELECT * FROM process_measures WHERE measure = 'leak'")
    told = {row["operator"]: (row["recorded"], row["mean"]) for row in rows}
    assert told == {"A": (4, 0.5), "B": (2, 0.0)}
    assert rows[0]["station_mean"] == pytest.approx(2 / 6)
    assert rows[0]["spread"] == pytest.approx(0.5)


def test_two_checkers_within_two_days_make_one_pair_in_one_order():
    looks = [
        check(30, "Q0", checker="Bea", eggs=True),
        check(32, "Q0", checker="Ada", eggs=False, pattern_pct=80.0),
        check(33, "Q0", checker="Cyd"),  # three days after Bea
        check(32, "Q0", checker="Ada"),  # nobody agrees with himself
        check(30, "Q1", checker="Ada"),  # another queen
        check(30, "Q0", checker=None),
    ]
    store = station(checks=looks)
    store.step("07_audit", "checker_pairs", {})
    rows = store.records("SELECT * FROM checker_pairs ORDER BY ALL")
    pairs = [(r["first_checker"], r["second_checker"]) for r in rows]
    assert pairs == [("Ada", "Bea"), ("Ada", "Bea"), ("Ada", "Cyd"), ("Ada", "Cyd")]
    scored = [(r["first_eggs"], r["second_eggs"]) for r in rows[:2]]
    assert (False, True) in scored
    assert {r["first_pattern_pct"] for r in rows} == {80.0, None}
    assert {r["second_pattern_pct"] for r in rows} == {None}


def test_bench_measures_have_their_mean_spread_and_quantiles():
    """Errors of 1, 2, 3 and 6 uL; two queens on one day, one of them twice, and one later."""
    errors = [1.0, 2.0, 3.0, 6.0]
    doses = [
        insemination(number, queen, operator="A", dose_ul=8.0 + error, dose_meant_ul=8.0)
        for (number, queen), error in zip(
            ((0, "P"), (0, "Q"), (0, "Q"), (3, "R")), errors, strict=True
        )
    ]
    doses.append(insemination(0, "S", operator="B", dose_ul=3.0, dose_meant_ul=8.0))
    doses.append(insemination(0, "T", dose_ul=99.0, dose_meant_ul=8.0))
    store = derived(inseminations=doses, until="courses")
    store.step("07_audit", "process_measures", {})
    rows = store.records("SELECT * FROM process_measures WHERE operator = 'A'")
    told = {row["measure"]: row for row in rows}
    assert told.keys() == {"dose_error", "queens_a_day"}
    error = told["dose_error"]
    assert (error["recorded"], error["mean"], error["median"]) == (4, 3.0, 2.5)
    assert error["spread"] == pytest.approx(np.std(errors))
    assert (error["low"], error["high"]) == pytest.approx(tuple(np.quantile(errors, [0.1, 0.9])))
    everybody = [*errors, -5.0]
    assert error["station_mean"] == pytest.approx(np.mean(everybody))
    edges = np.quantile(everybody, [0.1, 0.9])
    assert (error["station_low"], error["station_high"]) == pytest.approx(tuple(edges))
    queens = told["queens_a_day"]
    assert (queens["recorded"], queens["mean"]) == (2, 1.5)


def test_audited_courses_and_hands_are_those_of_the_question_asked():
    asked = {"outcome": "laying", "window_days": 21}
    courses = "course_id TEXT, operator TEXT, season TEXT, graft_batch TEXT, semen_batch TEXT, "
    courses += "operator_case INT, risk DOUBLE, outcome TEXT, window_days INT"
    row = ("A", "2026", "g", "s", 3, 0.2)
    rows = [("b", *row, "laying", 21), ("a", *row, "laying", 21), ("c", *row, "laying", 28), ("d", *row, "lost", 21)]
    found = answers("07_audit", "audited_courses", asked, audit_courses=(courses, rows))
    assert found == [("a", *row), ("b", *row)]
    groups = "outcome TEXT, window_days INT, model TEXT, grouping TEXT, level TEXT, "
    groups += "effect DOUBLE, low DOUBLE, high DOUBLE"
    own = ("laying", 21, "main", "operator")
    rows = [
        (*own, "B", 0.1, 0.0, 0.2), (*own, "A", 0.2, 0.1, 0.3), (*own, None, 0.4, 0.3, 0.5),
        ("lost", *own[1:], "A", 9, 9, 9), ("laying", 28, *own[2:], "A", 9, 9, 9),
        (*own[:2], "bench", "operator", "A", 9, 9, 9), (*own[:3], "graft_batch", "A", 9, 9, 9),
    ]  # fmt: skip
    found = answers("07_audit", "operator_intercepts", asked, model_groups=(groups, rows))
    assert found == [("A", 0.2, 0.1, 0.3), ("B", 0.1, 0.0, 0.2)]
