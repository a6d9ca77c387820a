"""Rules come from the dictionary, and from the settings where the station set one."""

from __future__ import annotations

import pytest
from queen_outcomes.facts.column import Limits
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records.rules import row_rules
from staged_tables import AS_OF, accepted, day, noon, reasons_of

DONE = {"queen_id": "A", "inseminated_at": noon(0)}


def test_every_rule_has_its_own_name():
    names = [
        rule.rule_id
        for table in TABLES.values()
        for rule in row_rules(table, Settings(), AS_OF)
    ]
    assert len(names) > 100
    assert len(names) == len(set(names))


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_every_limit_of_the_dictionary_becomes_a_rule(table):
    rules = row_rules(table, Settings(), AS_OF)
    limited = {c.name for c in table.columns if c.hard}
    found = {r.columns[0] for r in rules if r.reason == "impossible_value"}
    assert found == limited


def test_the_lower_end_of_a_dose_is_open_and_the_upper_closed(monkeypatch):
    doses = [
        {**DONE, "insemination_id": str(d), "dose_ul": d} for d in (0.0, 40.0, 40.5)
    ]
    store = accepted(monkeypatch, inseminations=doses)
    found = [
        r for r in reasons_of(store, "listed_records") if r[2] == "impossible_value"
    ]
    assert [line for _, line, _, _ in found] == [2, 4]


def test_a_value_outside_the_hard_limit_is_not_called_unusual_too(monkeypatch):
    store = accepted(monkeypatch, inseminations=[{**DONE, "dose_ul": 80.0}])
    assert [r[2] for r in reasons_of(store, "listed_records")] == ["impossible_value"]


def test_the_stations_own_limit_takes_the_dictionarys_place(monkeypatch):
    own = Settings(limits={"inseminations": {"dose_ul": {"hard": Limits(0, 100)}}})
    store = accepted(monkeypatch, own, inseminations=[{**DONE, "dose_ul": 80.0}])
    assert [r[2] for r in reasons_of(store, "listed_records")] == ["unusual_value"]
    assert store.rows("SELECT dose_ul FROM accepted_inseminations") == [(80.0,)]


def test_a_cell_set_aside_is_empty_and_its_row_used(monkeypatch):
    row = {**DONE, "dose_ul": 80.0, "operator": "x"}
    store = accepted(monkeypatch, inseminations=[row])
    assert store.rows("SELECT dose_ul, operator FROM accepted_inseminations") == [
        (None, "x")
    ]


def test_both_cells_of_an_impossible_pair_are_emptied(monkeypatch):
    semen = {"semen_batch": "S", "drones_handled": 5, "drones_yielding": 9}
    store = accepted(monkeypatch, semen=[{**semen, "volume_ul": 50.0}])
    columns = "drones_handled, drones_yielding, volume_ul"
    assert store.rows(f"SELECT {columns} FROM accepted_semen") == [(None, None, 50.0)]
    # the pair with the volume is not told of a cell that is set aside
    assert {r[2] for r in reasons_of(store, "listed_records")} == {"impossible_pair"}


def test_the_last_minute_of_the_last_day_is_not_in_the_future(monkeypatch):
    late = noon(396).replace(hour=23, minute=59)
    rows = [{"queen_id": "A", "inseminated_at": late}]
    store = accepted(monkeypatch, inseminations=rows)
    assert [r[2] for r in reasons_of(store, "listed_records")] == ["after_as_of"]


def test_a_check_of_today_is_not_after_the_as_of_day(monkeypatch):
    store = accepted(monkeypatch, checks=[{"queen_id": "A", "checked_on": day(30)}])
    assert reasons_of(store, "listed_records") == []
