"""Rows read are accepted or quarantined, never both, never neither."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.base.errors import LedgerError
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records import accept, expectations, ledger
from staged_tables import AS_OF, accepted, day, staged

IDS = st.sampled_from([None, "A", "B", "a"])
DAYS = st.sampled_from([None, *map(day, (0, 1, 5, 40, 900))])
TORN = st.just({"broken": "cells_missing"})
LOOKS = st.fixed_dictionaries(
    {
        "queen_id": IDS,
        "colony_id": st.sampled_from([None, "C1"]),
        "checked_on": DAYS,
        "pattern_pct": st.sampled_from([None, 50.0, 120.0]),
    }
)
STAYS = st.fixed_dictionaries(
    {"queen_id": IDS, "colony_id": st.just("C1"), "placed_on": DAYS, "removed_on": DAYS}
)
QUEENS = st.fixed_dictionaries({"queen_id": IDS, "line": st.sampled_from(["x", "y"])})


def few(rows):
    return st.lists(rows | TORN, max_size=6)


@pytest.mark.slow
@given(checks=few(LOOKS), placements=few(STAYS), queens=few(QUEENS))
@settings(max_examples=15, deadline=None, derandomize=True, database=None)
def test_whatever_the_rows_they_add_up(checks, placements, queens):
    store = staged(checks=checks, placements=placements, queens=queens)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(expectations, "verify", lambda *_: None)
        accept.accept_records(store, Settings(), AS_OF)
    read, kept, out = store.rows(
        "SELECT sum(rows_read), sum(accepted), sum(quarantined) FROM sources"
    )[0]
    assert read == len(checks) + len(placements) + len(queens) == kept + out
    assert store.rows("SELECT * FROM linked_checks WHERE queen_id IS NULL") == []
    assert store.rows("SELECT * FROM quarantine WHERE row IS NULL") == []


@pytest.fixture
def store(monkeypatch):
    return accepted(
        monkeypatch, exits=[{"queen_id": "A", "left_on": day(1)}, {"queen_id": "B"}]
    )


def test_a_source_counts_what_became_of_its_rows(monkeypatch):
    row = {"queen_id": "A", "left_on": day(1)}
    store = accepted(monkeypatch, exits=[row, row, {"queen_id": "B"}])
    counted = store.rows(
        "SELECT rows_read, accepted, quarantined, repeated FROM sources "
        "WHERE \"table\" = 'exits'"
    )
    assert counted == [(3, 2, 1, 1)]


def test_a_row_lost_on_the_way_stops_the_build(store):
    store.execute("DELETE FROM accepted_exits")
    with pytest.raises(LedgerError, match="exactly one"):
        ledger.check(store)


def test_a_row_in_both_stops_the_build(store):
    store.execute("INSERT INTO accepted_exits (ref) SELECT max(ref) FROM staged_exits")
    with pytest.raises(LedgerError, match="exactly one"):
        ledger.check(store)


def test_a_row_read_and_not_staged_stops_the_build():
    store = staged(exits=[{"queen_id": "A", "left_on": day(1)}])
    store.execute("UPDATE sources_read SET rows_read = 2 WHERE \"table\" = 'exits'")
    with pytest.raises(LedgerError) as stopped:
        accept.accept_records(store, Settings(), AS_OF)
    assert "exits.csv (exits): 2 read, 1 accepted" in stopped.value.text()


def test_a_source_that_was_opened_and_forgotten_stops_the_build(store):
    with pytest.raises(LedgerError, match="not in the ledger"):
        ledger.check(store, ["exits.csv", "late.csv"])
