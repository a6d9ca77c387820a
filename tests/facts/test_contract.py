"""The promise about the exported tables."""

from __future__ import annotations

import pytest
from queen_outcomes.facts import exports as contract
from queen_outcomes.facts.exports.exported import ExportColumn

TABLES = list(contract.TABLES.values())


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_key_columns_come_first(table):
    names = [column.name for column in table.columns]
    if table.name != "due":  # she is looked up by colony between course and day
        assert tuple(names[: len(table.key)]) == table.key
    assert set(table.key) <= set(names)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_every_column_says_what_it_means(table):
    assert table.grain
    assert all(column.meaning for column in table.columns)


def test_a_kept_promise_has_no_differences(full_store):
    store = full_store()
    found = {name: store.columns(name) for name in contract.TABLES}
    assert contract.differences(found) == []


def test_a_wrong_type_is_named():
    made = {c.name: c.sql_type for c in contract.TABLES["onset"].columns}
    problems = contract.differences({"onset": made | {"by": "VARCHAR"}})
    assert "onset.by is VARCHAR, promised is BIGINT" in problems


def test_any_whole_number_may_be_written_as_an_integer():
    assert ExportColumn("n", "integer", "a count").takes("HUGEINT")
    assert not ExportColumn("n", "integer", "a count").takes("DOUBLE")
