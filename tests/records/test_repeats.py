"""Rows that are read alike: repeats only where nothing in them tells two apart."""

from __future__ import annotations

import datetime as dt

from queen_outcomes.facts.settings import parse
from queen_outcomes.records.accept import accept_records
from reading import stage

HEAD = "Queen,Day,Dose,Nuc,Mark,Look,Eggs\n"
COLUMNS = {
    "inseminations": {"queen_id": "Queen", "inseminated_at": "Day", "dose_ul": "Dose"},
    "placements": {"queen_id": "Queen", "colony_id": "Nuc", "placed_on": "Day"},
    "checks": {"queen_id": "Queen", "checked_on": "Look", "eggs": "Eggs"},
}
RULES = [{"from": "book*.csv", "table": t, "columns": c} for t, c in COLUMNS.items()]
FIRST = "22/24,2024-05-11,8 uL,41,green 22,2024-05-22,yes\n"


def listed(path, book, habits=None, **more):
    """Accept a sheet, and give the store with what is listed: table, line, reason, sentence."""
    given = {"read": RULES} | ({"files": {"book*": habits}} if habits else {})
    files = {"book__csv": HEAD + book, "inseminations__csv": None, "checks__csv": None}
    store, _ = stage(path, given, **files, **more)
    accept_records(store, parse(given), dt.date(2026, 1, 1), verified=False)
    told = store.rows(
        'SELECT "table", line, reason, message FROM listed_records '
        "WHERE reason IN ('repeated_row', 'same_day_twice') ORDER BY ALL"
    )
    return store, told


def doses(store):
    return store.rows("SELECT queen_id, dose_ul FROM accepted_inseminations ORDER BY ref")


def test_a_number_typed_twice_makes_no_repeat_of_the_next_queen(tmp_path):
    slip = "22/24,2024-05-11,8,40,green 23,2024-05-22,no\n"
    store, told = listed(tmp_path, FIRST + slip)
    assert doses(store) == [("22/24", 8.0)] * 2
    ((table, line, reason, said),) = told
    assert (table, line, reason) == ("inseminations", 3, "same_day_twice")
    assert "another insemination of 2024-05-11 in book.csv:2" in said
    for cells in ('Mark ("green 22" there, "green 23" here)', 'Nuc ("41" there, "40" here)'):
        assert cells in said


def test_a_row_pasted_twice_repeats_it_and_the_other_is_told_once(tmp_path):
    slip = "22/24,2024-05-11,8,40,green 23,2024-05-22,no\n"
    store, told = listed(tmp_path, FIRST + slip + slip)
    assert doses(store) == [("22/24", 8.0)] * 2
    own = [(line, reason) for table, line, reason, _ in told if table == "inseminations"]
    assert own == [(3, "same_day_twice"), (4, "repeated_row")]
    pasted = next(said for table, line, _, said in told if (table, line) == ("inseminations", 4))
    assert pasted == (
        "This row repeats book.csv:3 word for word and counts once; delete it, or correct it "
        "if it was meant to differ."
    )


def test_a_ditto_mark_is_the_cell_above_it(tmp_path):
    store, told = listed(tmp_path, FIRST + '22/24,do.,do.,do.,do.,do.,do.\n', {"ditto": ["do."]})
    assert doses(store) == [("22/24", 8.0)]
    assert [(table, reason) for table, _, reason, _ in told] == [
        (table, "repeated_row") for table in ("checks", "inseminations", "placements")
    ]
    assert all("word for word" in said for *_, said in told)


def test_a_sheet_exported_twice_counts_once_whatever_no_rule_reads(tmp_path):
    other = HEAD + FIRST.replace("8 uL", "8").replace("green", "gr.")
    store, told = listed(tmp_path, FIRST, book2__csv=other)
    assert doses(store) == [("22/24", 8.0)]
    assert {reason for _, _, reason, _ in told} == {"repeated_row"}


def test_an_insemination_told_in_every_row_of_looks_counts_once(tmp_path):
    store, told = listed(tmp_path, FIRST + FIRST.replace("2024-05-22,yes", "2024-06-01,no"))
    assert doses(store) == [("22/24", 8.0)]
    assert store.rows("SELECT count(*) FROM accepted_checks") == [(2,)]
    said = {table: said for table, _, _, said in told}["inseminations"]
    assert 'it differs in Look ("2024-05-22" there, "2024-06-01" here)' in said
    assert "word for word" not in said


def test_times_tell_two_doses_of_one_day_apart(tmp_path):
    book = FIRST.replace("-11,", "-11 09:00,", 1)
    store, told = listed(tmp_path, book + book.replace("09:00", "15:00"))
    assert doses(store) == [("22/24", 8.0)] * 2
    assert [one for one in told if one[0] == "inseminations"] == []
