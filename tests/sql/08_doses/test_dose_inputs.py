"""What the comparison of doses takes from the build: fixed methods, and drones."""

from __future__ import annotations

import datetime as dt

import pytest
from by_hand import answers
from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.doses import ARM_CONTRASTS
from queen_outcomes.facts.exports.writing import write_rows
from station_tables import check, day, derived, insemination, station


def run(store, name, **given):
    return store.records(resources.read("sql", "08_doses", f"{name}.sql"), given)


@pytest.mark.parametrize(
    ("trial", "expected"), [(None, [("a", "adjusted")]), ("T", [("b", "stratified")])]
)
def test_only_the_primary_method_of_the_same_trial_is_taken_over(trial, expected):
    store = Store(threads=1)
    fixed = ((None, "a", "adjusted"), ("T", "b", "stratified"))
    rows = [
        {"trial": of, "reference": arm, "method": method, "primary": method == primary}
        for of, arm, primary in fixed
        for method in ("unadjusted", "stratified", "adjusted")
    ]
    write_rows(store, ARM_CONTRASTS, rows)
    found = run(store, "fixed_methods", trial=trial)
    assert [(row["reference"], row["method"]) for row in found] == expected


def test_drones_count_where_both_figures_of_a_batch_are_kept_and_it_is_collected():
    def batch(number, **known):
        return {"semen_batch": f"s{number}", "drones_handled": 10, **known}

    at = dt.datetime.combine(dt.date(2026, 5, 2), dt.time(8))
    midnight = dt.datetime.combine(at.date() + dt.timedelta(days=1), dt.time())
    store = station(
        semen=[
            batch(1, volume_ul=6.0, collected_at=at),
            batch(2, volume_ul=4.0, drones_yielding=7, collected_at=None),
            batch(3, volume_ul=50.0, collected_at=midnight),
            batch(4, drones_handled=0, volume_ul=50.0),
            batch(5, drones_handled=20, drones_yielding=3),
        ]
    )
    (row,) = run(store, "drone_yield", as_of=at.date())
    assert (row["volume_ul"], row["volume_drones"], row["loads"]) == (10.0, 20, 2)
    assert (row["yielding"], row["yield_drones"]) == (10, 30)


def at(number, hour=10, minute=0):
    return dt.datetime.combine(day(number), dt.time(hour, minute))


def test_what_was_known_when_the_first_dose_was_given():
    """Q has two doses, on days 0 and 2: her own day 0 is the second of them."""
    meant = {"trial": "T", "block": "b1", "protocol": "p", "semen_batch": "s"}
    doses = [
        insemination(0, minutes=3.0, dose_ul=4.0, dose_meant_ul=4.5, **meant),
        insemination(2, minutes=4.0, dose_ul=4.0, dose_meant_ul=4.5, **meant),
        insemination(0, "R", minutes=3.0),
        insemination(2, "R"),
    ]
    looks = [check(number) for number in (-1, 1, 2, 9, 30, 31)]
    store = derived(
        queens=[{"queen_id": "Q", "emerged_on": day(-9)}],
        semen=[{"semen_batch": "s", "diluent": "d"}],
        inseminations=doses,
        checks=looks,
        until="looks",
    )
    q, r = run(store, "arm_courses", until=28)
    assert q == {
        "course_id": "Q/1", "trial": "T", "block": "b1", "protocol": "p", "doses": 2.0,
        "diluent": "d", "dose_meant": 9.0, "dose_given": 8.0, "queen_age": 9.0,
        "first_on": "2025-06-01", "day_of_year": 152.0, "bench_minutes": 7.0,
        "visits": 3.0, "co2_before": "none before",
    }  # fmt: skip
    blank = ("trial", "block", "protocol", "diluent")
    assert [r[name] for name in blank] == [""] * 4
    assert (r["bench_minutes"], r["visits"], r["queen_age"]) == (None, 0.0, None)


@pytest.mark.parametrize(
    ("given", "known"),
    [
        (at(-5), "one before"),
        (at(-6), "none before"),
        (at(-1, 0), "one before"),
        (at(0, 7, 59), "one before"),
        # within two hours it is the insemination's own; on its day, without a time, too
        (at(0, 8), "none before"),
        (at(0, 0), "none before"),
        (at(0, 12, 30), "none before"),
        (at(1), "none before"),
    ],
)
def test_an_exposure_counts_beforehand_where_it_came_before_the_dose_s_own(given, known):
    store = derived(
        inseminations=[insemination(0), insemination(2), insemination(0, "R")],
        co2=[{"queen_id": "Q", "given_at": given}],
        until="looks",
    )
    assert [row["co2_before"] for row in run(store, "arm_courses", until=28)] == [
        known,
        "none before",
    ]


def test_the_curve_is_the_main_model_s_over_doses_in_their_order():
    columns = "model TEXT, factor TEXT, outcome TEXT, window_days INT, value DOUBLE, "
    columns += "probability DOUBLE, low DOUBLE, high DOUBLE, courses_near INT"
    own = ("main", "dose", "laying", 21)
    rows = [
        (*own, 12.0, 0.8, 0.7, 0.9, 3),
        (*own, 8.0, 0.6, 0.5, 0.7, 4),
        (*own, None, 0.1, 0.1, 0.1, 9),
        ("onset", *own[1:], 9.0, 0.1, 0.1, 0.1, 9),
        ("main", "queen_age", *own[2:], 9.0, 0.1, 0.1, 0.1, 9),
        ("main", "dose", "lost", 21, 9.0, 0.1, 0.1, 0.1, 9),
        ("main", "dose", "laying", 28, 9.0, 0.1, 0.1, 0.1, 9),
    ]
    asked = {"outcome": "laying", "window_days": 21}
    assert answers("08_doses", "dose_curve", asked, adjusted=(columns, rows)) == [
        (8.0, 0.6, 0.5, 0.7, 4),
        (12.0, 0.8, 0.7, 0.9, 3),
    ]
