"""What changed since the build before."""

from __future__ import annotations

import polars as pl
import pytest
from queen_outcomes.outcomes.changes import compare


@pytest.fixture
def changed(tmp_path, full_store):
    def run(before, now):
        if before is not None:
            (tmp_path / "tables").mkdir()
            earlier = full_store(outcomes=before).frame("SELECT * FROM outcomes")
            earlier.write_parquet(tmp_path / "tables" / "outcomes.parquet")
        store = full_store(outcomes=now)
        store.drop("changes")
        compare(store, tmp_path if before is not None else None)
        return store.rows('SELECT course_id, was, "is", because FROM changes')

    return run


def test_without_an_earlier_build_nothing_has_changed(changed, outcome):
    assert changed(None, [outcome()]) == []


def test_a_new_deciding_record_is_named(changed, outcome):
    before = outcome(state="undecided", settled_by=[])
    now = outcome(settled_by=["checks_2026.csv:17"])
    assert changed([before], [now]) == [
        ("Q1/1", "undecided", "yes", "record checks_2026.csv:17")
    ]


def test_the_same_state_is_no_change(changed, outcome):
    assert changed([outcome()], [outcome(settled_by=["other.csv:9"])]) == []


def test_a_corrected_record_is_told(changed, outcome):
    rows = changed([outcome(state="no")], [outcome(state="yes")])
    assert rows == [("Q1/1", "no", "yes", "records corrected")]


@pytest.mark.parametrize(
    ("before", "now", "because"),
    [
        (["a.csv:1"], ["b.csv:2", "a.csv:1"], "record b.csv:2"),
        (["a.csv:1"], ["b.csv:2"], "record b.csv:2"),
        (["a.csv:1"], ["a.csv:1", "b.csv:2"], "records corrected"),
        (["b.csv:2", "a.csv:1"], ["a.csv:1"], "records corrected"),
        ([], [], "records corrected"),
    ],
)
def test_the_first_record_that_decides_stands_for_all(changed, outcome, before, now, because):
    rows = changed([outcome(state="no", settled_by=before)], [outcome(settled_by=now)])
    assert rows == [("Q1/1", "no", "yes", because)]


def test_a_window_that_is_still_open_and_one_no_longer_asked_about_are_told(changed, outcome):
    before = outcome(state="undecided", closed=False, settled_by=[])
    other = outcome("Q2/1", window_days=30, settled_by=[])
    now = [outcome(closed=False, settled_by=[]), {**other, "course_id": "Q3/1", "state": "undecided"}]
    assert sorted(changed([before, {**other, "course_id": "Q1/1"}], now)) == [
        ("Q1/1", "undecided", "yes", "window still open"),
        ("Q1/1", "yes", None, "no longer asked of her"),
    ]


def test_a_record_taken_out_is_told(changed, outcome):
    rows = changed([outcome()], [outcome(state="undecided", settled_by=[])])
    assert rows[0][3] == "the record that settled it is gone or corrected"


def test_a_window_that_closed_is_told(changed, outcome):
    before = outcome(state="undecided", closed=False)
    assert changed([before], [outcome(state="no")])[0][3] == "window closed"


def test_a_course_gone_from_the_records_is_told(changed, outcome):
    rows = changed([outcome("Q2/1"), outcome()], [outcome()])
    gone = "the course is no longer in the records"
    assert rows == [("Q2/1", "yes", None, gone)]


def test_a_new_undecided_course_is_no_change(changed, outcome):
    assert changed([outcome()], [outcome(), outcome("Q2/1", state="undecided")]) == []


def test_an_earlier_table_of_another_form_is_passed_over(tmp_path, full_store, outcome):
    (tmp_path / "tables").mkdir()
    pl.DataFrame({"other": [1]}).write_parquet(tmp_path / "tables" / "outcomes.parquet")
    store = full_store(outcomes=[outcome()])
    store.drop("changes")
    assert compare(store, tmp_path) == 0
