"""What must hold of the derived tables whatever the records say."""

import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import count_rates
from random_stations import cut, some_day, stations
from station_tables import day, derived

pytestmark = pytest.mark.slow

TABLES = {
    "courses": "*",
    "onset": "*",
    "ends": "*",
    "outcomes": "* EXCLUDE (settled_by)",
    "due": "*",
    "rates": "*",
}
LATE = day(600)

quick = settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=True,
)


def tables(store, only_closed=False):
    where = "WHERE closed" if only_closed else ""
    if only_closed:
        return set(store.rows(f"SELECT * EXCLUDE (settled_by) FROM outcomes {where}"))
    count_rates(store, Settings())
    return {
        name: sorted(store.rows(f"SELECT {columns} FROM {name}"), key=str)
        for name, columns in TABLES.items()
    }


@quick
@given(stations, st.integers(0, 2**32))
def test_the_order_of_rows_changes_nothing_but_lines(records, seed):
    shuffled = {name: list(rows) for name, rows in records.items()}
    for name in sorted(shuffled):
        random.Random(seed).shuffle(shuffled[name])
    with derived(day(80), **records) as one, derived(day(80), **shuffled) as other:
        assert tables(one) == tables(other)


@quick
@given(stations, some_day(20, 110))
def test_records_after_a_close_never_change_its_answer(records, then):
    with derived(then, **cut(records, then)) as before:
        answered = tables(before, only_closed=True)
    with derived(LATE, **records) as later:
        assert answered <= tables(later, only_closed=True)


@quick
@given(stations, some_day(0, 110))
def test_a_past_as_of_day_equals_the_records_as_they_stood(records, then):
    with derived(then, **records) as whole, derived(then, **cut(records, then)) as part:
        assert tables(whole) == tables(part)


@quick
@given(stations)
def test_what_holds_of_every_station_whatever_it_wrote(records):
    with derived(LATE, **records) as store:  # dear to derive, so asked everything at once
        intervals_run_forwards_and_states_are_exhaustive(store)
        every_settled_answer_names_a_row(store)
        yes_to_lost_and_yes_to_established_exclude_each_other(store)


def intervals_run_forwards_and_states_are_exhaustive(store):
    onset = store.rows('SELECT "after", "by" FROM onset')
    ends = store.rows('SELECT "after", "by" FROM ends')
    states = store.rows("SELECT DISTINCT state FROM outcomes WHERE closed")
    rows = store.rows("SELECT count(*), count(DISTINCT course_id) FROM courses")
    laying = store.rows("SELECT count(*) FROM outcomes WHERE outcome = 'laying'")
    assert all(after >= 0 and (by is None or by > after) for after, by in onset)
    assert all(-1 <= after < by for after, by in ends)
    assert {state for (state,) in states} <= {"yes", "no", "undecided", "left"}
    assert rows[0][0] == rows[0][1] == laying[0][0]


def every_settled_answer_names_a_row(store):
    rows = store.rows(
        "SELECT state, len(settled_by), len(list_distinct(settled_by)) FROM outcomes"
    )
    for state, named, different in rows:
        assert named == different <= 5
        assert (named == 0) == (state == "undecided")


def yes_to_lost_and_yes_to_established_exclude_each_other(store):
    both = store.rows(
        "SELECT lost.course_id FROM outcomes AS lost INNER JOIN outcomes AS working "
        "USING (course_id) WHERE lost.outcome = 'lost' AND lost.state = 'yes' "
        "AND working.outcome = 'established' AND working.state = 'yes'"
    )
    assert both == []
