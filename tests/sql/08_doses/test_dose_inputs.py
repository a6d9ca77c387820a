"""What the comparison of doses takes from the build: fixed methods, and drones."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.doses import ARM_CONTRASTS
from queen_outcomes.facts.exports.writing import write_rows
from station_tables import station


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
