"""What the bench measures say, and which looks make a pair of checkers."""

from __future__ import annotations

import pytest
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
