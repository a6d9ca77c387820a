"""A quarantined row keeps its place, its text and every reason."""

from __future__ import annotations

from staged_tables import accepted, day, noon, reasons_of, row_text


def test_every_reason_of_a_row_is_told(monkeypatch):
    store = accepted(monkeypatch, inseminations=[{"inseminated_at": noon(900)}])
    assert [r[2] for r in reasons_of(store, "quarantine")] == [
        "id_missing",
        "in_the_future",
    ]


def test_the_row_is_kept_as_it_was_read_under_its_own_headings(monkeypatch):
    store = accepted(monkeypatch, exits=[{"queen_id": "A"}])
    assert list(row_text(store).items()) == [("Queen No.", "A"), ("said", "line 2")]


def test_a_torn_line_is_kept_whole_and_told_of_once(monkeypatch):
    store = accepted(monkeypatch, exits=[{"broken": "cells_extra"}] * 2)
    assert row_text(store) == {"line": "torn, line"}
    assert [r[2] for r in reasons_of(store, "quarantine")] == ["cells_extra"] * 2


def test_a_quarantined_row_is_in_no_other_list(monkeypatch):
    row = {"inseminated_at": noon(0), "dose_ul": 80.0}
    store = accepted(monkeypatch, inseminations=[row])
    assert reasons_of(store, "listed_records") == []
    assert store.rows("SELECT * FROM accepted_inseminations") == []


def test_a_repeated_row_counts_once_and_its_first_carries_the_rest(monkeypatch):
    row = {"queen_id": "A", "inseminated_at": noon(0), "dose_ul": 80.0}
    store = accepted(monkeypatch, inseminations=[row, row, row])
    listed = [
        (line, reason) for _, line, reason, _ in reasons_of(store, "listed_records")
    ]
    assert listed == [(2, "impossible_value"), (3, "repeated_row"), (4, "repeated_row")]
    assert store.rows("SELECT count(*) FROM accepted_inseminations") == [(1,)]


def test_rows_that_differ_only_in_an_unread_text_are_no_repeats(monkeypatch):
    row = {"queen_id": "A", "left_on": day(1)}
    exits = [{**row, "reason__unread": text} for text in ("gone", "fled")]
    store = accepted(monkeypatch, exits=exits)
    assert store.rows("SELECT count(*) FROM accepted_exits") == [(2,)]


def test_a_key_repeated_word_for_word_is_no_key_twice(monkeypatch):
    store = accepted(monkeypatch, queens=[{"queen_id": "A"}, {"queen_id": "A"}])
    assert reasons_of(store, "quarantine") == []
    assert store.rows("SELECT queen_id FROM accepted_queens") == [("A",)]


def test_all_rows_of_a_key_held_twice_are_quarantined_repeats_too(monkeypatch):
    rows = [{"queen_id": "A", "line": line} for line in ("x", "x", "y")]
    store = accepted(monkeypatch, queens=[*rows, {"queen_id": "B"}])
    assert [r[1] for r in reasons_of(store, "quarantine")] == [2, 3, 4]
    assert store.rows("SELECT queen_id FROM accepted_queens") == [("B",)]


def test_inseminations_without_an_id_do_not_share_a_key(monkeypatch):
    rows = [{"queen_id": queen, "inseminated_at": noon(0)} for queen in "AB"]
    store = accepted(monkeypatch, inseminations=rows)
    assert reasons_of(store, "quarantine") == []


def test_the_odd_one_of_several_spellings_is_listed(monkeypatch):
    checks = [{"queen_id": "Q-7", "checked_on": day(n)} for n in (1, 2)]
    rows = {"queens": [{"queen_id": "q 07"}], "checks": checks}
    store = accepted(monkeypatch, **rows)
    assert reasons_of(store, "listed_records") == [
        ("queens", 2, "look_alike", "queen_id")
    ]
