"""What failing rows are told: a case for every reason, places, texts and repeats."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import queen_outcomes.records as package
from queen_outcomes.facts import reasons
from staged_tables import accepted, day, message, noon, reasons_of, row_text

A = {"queen_id": "A"}
DONE = {**A, "inseminated_at": noon(0)}
SEEN = {"checked_on": day(3)}
STAY = {**A, "colony_id": "C1", "placed_on": day(1)}
B_STAY = {**STAY, "queen_id": "B", "placed_on": day(2)}

QUARANTINED = [
    ("cells_missing", {"lab": [{"broken": "cells_missing"}]}, "fewer cells"),
    ("cells_extra", {"lab": [{"broken": "cells_extra"}]}, "more cells"),
    ("quote_open", {"lab": [{"broken": "quote_open"}]}, "never closed"),
    ("id_missing", {"exits": [{"left_on": day(1)}]}, "queen_id is empty"),
    ("neither_id", {"checks": [SEEN]}, "queen_id and colony_id"),
    ("date_missing", {"exits": [A]}, "left_on is empty"),
    ("date_unreadable", {"exits": [{**A, "left_on__unread": "soon"}]}, '"soon"'),
    ("in_the_future", {"exits": [{**A, "left_on": day(397)}]}, "2026-07-03"),
    ("removed_before_placed", {"placements": [{**STAY, "removed_on": day(0)}]}, "2025-06-01"),
    ("no_queen_in_colony", {"checks": [{**SEEN, "colony_id": "C9"}]}, "C9 on 2025-06-04"),
    ("two_queens_in_colony", {"placements": [STAY, B_STAY], "checks": [{**SEEN, "colony_id": "C1"}]}, "A (placed 2025-06-02) and B"),
    ("key_twice", {"queens": [{**A, "line": "x"}, {**A, "line": "y"}]}, "queens.csv:2, queens.csv:3"),
]  # fmt: skip

LISTED = [
    ("not_a_number", {"inseminations": [{**DONE, "dose_ul__unread": "8,,0"}]}, '"8,,0"'),
    ("unknown_finding", {"checks": [{**A, **SEEN, "findings__unread": "fine"}]}, '"fine" = {}'),
    ("not_a_known_word", {"inseminations": [{**DONE, "leak__unread": "lots"}]}, "none, some, most"),
    ("not_a_known_word", {"inseminations": [{**DONE, "leak": "lots"}]}, '"lots"'),
    ("not_a_known_word", {"checks": [{**A, **SEEN, "eggs__unread": "?"}]}, "yes, no"),
    ("not_a_date", {"queens": [{**A, "emerged_on__unread": "May"}]}, '"May"'),
    ("impossible_value", {"inseminations": [{**DONE, "dose_ul": 80.0}]}, "dose_ul is 80; it must be above 0 and at most 40 uL"),
    ("impossible_pair", {"semen": [{"semen_batch": "S", "drones_handled": 5, "drones_yielding": 9}]}, "drones_yielding is 9"),
    ("date_in_future", {"queens": [{**A, "emerged_on": day(397)}]}, "2026-07-03"),
    ("unusual_value", {"inseminations": [{**DONE, "dose_ul": 1.5}]}, "dose_ul is 1.5"),
    ("unusual_pair", {"semen": [{"semen_batch": "S", "drones_yielding": 2, "volume_ul": 5.0}]}, "at most 2 times the second"),
    ("after_as_of", {"exits": [{**A, "left_on": day(31)}]}, "2025-07-02, after 2025-07-01"),
    ("repeated_row", {"exits": [{**A, "left_on": day(1)}] * 2}, "repeats exits.csv:2"),
    ("ids_disagree", {"placements": [STAY], "checks": [{**SEEN, "queen_id": "B", "colony_id": "C1"}]}, "held A on 2025-06-04"),
    ("placements_overlap", {"placements": [STAY, B_STAY]}, "B (placements.csv:3)"),
    ("look_alike", {"queens": [{"queen_id": "Q-07"}, {"queen_id": "q7"}]}, "q7 differs from Q-07"),
    ("semen_unknown", {"semen": [{"semen_batch": "S1"}], "inseminations": [{**DONE, "semen_batch": "S2"}]}, "semen_batch S2"),
]  # fmt: skip


@pytest.mark.parametrize(("code", "rows", "words"), QUARANTINED)
def test_a_row_that_cannot_be_placed_is_quarantined(monkeypatch, code, rows, words):
    store = accepted(monkeypatch, **rows)
    assert {reason for _, _, reason, _ in reasons_of(store, "quarantine")} == {code}
    assert words in message(store, "quarantine")


@pytest.mark.parametrize(("code", "rows", "words"), LISTED)
def test_a_row_that_deserves_a_look_is_listed_and_kept(monkeypatch, code, rows, words):
    store = accepted(monkeypatch, **rows)
    assert {reason for _, _, reason, _ in reasons_of(store, "listed_records")} == {code}
    assert words in message(store, "listed_records")
    assert reasons_of(store, "quarantine") == []


@pytest.mark.parametrize(
    ("number", "told"),
    [(-(2**63), {"impossible_value"}), (2**63 - 1, set())],
    ids=["first", "last"],
)
def test_the_last_whole_numbers_there_are_stop_no_rule(monkeypatch, number, told):
    row = {"semen_batch": "S", "drones_yielding": number, "volume_ul": 5.0}
    store = accepted(monkeypatch, semen=[row])
    assert {r[2] for r in reasons_of(store, "listed_records")} == told


def test_every_reason_used_for_records_has_a_case():
    text = "".join(p.read_text() for p in Path(package.__path__[0]).glob("*.py"))
    shown = {code for code, _, _ in QUARANTINED + LISTED}
    used = {code for code in reasons.REASONS if f'"{code}"' in text}
    elsewhere = {"spelling_folded", "spelling_unsure"}  # tests/records/test_spellings.py
    elsewhere |= {"same_day_twice"}  # tests/records/test_repeats.py
    assert used == shown | elsewhere


def test_no_reason_stands_twice():
    text = Path(reasons.__file__).read_text(encoding="utf-8")
    written = re.findall(r'^    "(\w+)": ', text, re.M)
    assert sorted(written) == sorted(reasons.REASONS)


def test_a_part_that_a_sentence_needs_must_be_given():
    with pytest.raises(KeyError):
        reasons.message_sql("repeated_row", {})


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
