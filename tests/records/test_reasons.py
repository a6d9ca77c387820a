"""Every reason has a case, and its sentence names the value and what to do."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import queen_outcomes.records as package
from queen_outcomes.facts import reasons
from staged_tables import accepted, day, message, noon, reasons_of

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


def test_every_reason_used_for_records_has_a_case():
    text = "".join(p.read_text() for p in Path(package.__path__[0]).glob("*.py"))
    shown = {code for code, _, _ in QUARANTINED + LISTED}
    used = {code for code in reasons.REASONS if len(re.findall(rf'"{code}"', text)) > 1}
    assert used <= shown


def test_a_part_that_a_sentence_needs_must_be_given():
    with pytest.raises(KeyError):
        reasons.message_sql("repeated_row", {})
