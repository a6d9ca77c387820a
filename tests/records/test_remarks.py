"""Remarks that say how a queen ended: with the day of it, and without."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.facts.settings import parse
from queen_outcomes.records import remarks
from queen_outcomes.records.accept import accept_records
from reading import stage

BOOK = """Queen,Inseminated,Nuc,Look,Eggs,Remark
A,2025-06-01,1,2025-06-20,yes,sold
B,2025-06-01,2,2025-06-20,yes,"hive 4, died in winter"
C,2025-06-01,3,2025-06-20,yes,"inseminated again 25.6., sold to Ada"
D,2025-06-01,4,,,dead in her cage
E,2025-06-01,5,,,
F,2025-06-01,6,,,gentle
G,2025-06-01,7,2025-06-20,yes,sold 9.7.
H,2025-06-01,8,2025-06-20,yes,zorked
I,2025-06-01,9,2025-06-20,yes,zorked 9.7.
J,2025-06-01,10,2025-06-20,yes,calm; never was any sort of queen of whom it could be said that she was dead
K,2025-06-01,11,,yes,calm
"""
INSEMINATIONS = {"queen_id": "Queen", "inseminated_at": "Inseminated", "note": "Remark"}
CHECKS = {
    "queen_id": "Queen",
    "colony_id": "Nuc",
    "checked_on": "Look",
    "eggs": "Eggs",
    "note": "Remark",
}
WORDS = {"reason": {"culled_other": ["zorked"]}}


def given(inseminations):
    columns = {"inseminations": inseminations, "checks": CHECKS}
    rules = [{"from": "book.csv", "table": t, "columns": c} for t, c in columns.items()]
    return {"read": rules, "words": WORDS}


@pytest.fixture(params=[True, False], ids=["both read the remark", "looks read the remark"])
def looked(request, tmp_path):
    inseminations = {k: v for k, v in INSEMINATIONS.items() if request.param or k != "note"}
    settings = given(inseminations)
    files = {"book__csv": BOOK, "inseminations__csv": None, "checks__csv": None}
    store, staged = stage(tmp_path, settings, **files)
    accept_records(store, parse(settings), dt.date(2026, 1, 1), verified=False)
    return store, staged


def test_remarks_without_the_day_of_it_are_told_from_those_with_one(looked):
    store, staged = looked
    dated, dayless = remarks.telling(store, staged.sources, WORDS["reason"])
    assert dated.notes == {"sold 9.7.": 1, "zorked 9.7.": 1}
    assert dated.queens == ["G", "I"]
    assert dayless.notes == {
        "sold": 1,
        "hive 4, died in winter": 1,
        "inseminated again 25.6., sold to ada": 1,
        "dead in her cage": 1,
        "zorked": 1,
    }
    assert dayless.queens == ["A", "B", "C", "D", "H"]


@pytest.mark.parametrize("word", ["culled", "Removed", "entfernt", "imha", "poistettu", "dödad"])
def test_a_cull_without_its_reason_is_told_too(tmp_path, word):
    text = f"Queen,Inseminated,Remark\nA,2025-06-01,{word}\nB,2025-06-01,cage removed\nC,2025-06-01,{word}\n"
    rules = [{"from": "book.csv", "table": "inseminations", "columns": INSEMINATIONS}]
    gone = "queen_id,left_on,reason\nC,2025-07-01,culled_other\n"
    files = {"book__csv": text, "inseminations__csv": None, "exits__csv": gone}
    store, staged = stage(tmp_path, {"read": rules}, **files)
    accept_records(store, parse({"read": rules}), dt.date(2026, 1, 1), verified=False)
    dated, dayless = remarks.telling(store, staged.sources, {})
    assert not dated.notes
    assert (dayless.notes, dayless.queens) == ({word.casefold(): 1}, ["A"])


def test_a_row_with_a_remark_and_a_hive_alone_is_no_check(looked):
    store, _ = looked
    quarantined = store.rows("SELECT line, reason FROM quarantine")
    assert quarantined == [(12, "date_missing")]  # eggs were seen, and nobody knows when
    passed = "SELECT rows_read, accepted, passed_over FROM sources WHERE \"table\" = 'checks'"
    assert store.rows(passed) == [(11, 7, 3)]


def test_remarks_beside_looks_of_their_own_are_told_as_well(tmp_path):
    settings = given({"queen_id": "Queen", "inseminated_at": "Inseminated"})
    said = {"queen_id": "Queen", "checked_on": "Remark (day)", "findings": "Remark (words)"}
    only = {"Remark (words)": ["drone layer"]}
    settings["read"].append({"from": "book.csv", "table": "checks", "columns": said, "only": only})
    settings["files"] = {"book.csv": {"apart": {"Remark": 1}, "dates": "dmy", "year": 2025}}
    settings["words"] = {"findings": {"drone layer": {"drone_in_worker": "many"}}}
    book = BOOK + "L,2025-06-01,12,2025-06-20,yes,drone layer 9.7.\nM,2025-06-01,13,,,drone layer\n"
    files = {"book__csv": book, "inseminations__csv": None, "checks__csv": None}
    store, staged = stage(tmp_path, settings, **files)
    accept_records(store, parse(settings), dt.date(2026, 1, 1), verified=False)
    dated, dayless = remarks.telling(store, staged.sources, {})
    assert dated.queens == ["G"]
    assert dayless.queens == ["A", "B", "C", "D", "M"]
