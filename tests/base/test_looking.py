"""A store that others look into meanwhile."""

from __future__ import annotations

import duckdb
import pytest
from queen_outcomes.base.store import Store
from queen_outcomes.base.workers import Workers


def ask(look, sql):
    """Look into a store, in whichever process."""
    with look() as store:
        return store.rows(sql)


def test_others_look_into_a_store_while_nobody_writes(tmp_path):
    counted = "SELECT sum(n)::BIGINT FROM numbers"
    with Store(tmp_path / "s.duckdb", threads=2, memory="500MB") as store, Workers(2) as workers:
        store.provide("twice", lambda text: 2 * text)
        store.table("numbers", "SELECT unnest([3, 4]) AS n")
        with store.looked_at() as look:
            task = workers.submit(ask, look, counted)
            assert task._future.result() == store.rows(counted) == ask(look, counted) == [(7,)]
            with pytest.raises(duckdb.InvalidInputException):
                store.execute("INSERT INTO numbers VALUES (5)")
        store.execute("INSERT INTO numbers VALUES (5)")
        store.provide("twice", lambda text: 2 * text)
        assert store.rows("SELECT twice('ab'), sum(n)::BIGINT FROM numbers") == [("abab", 12)]


def test_a_store_is_written_to_again_though_looking_failed(tmp_path):
    with Store(tmp_path / "s.duckdb", spill=tmp_path / "spill") as store:
        with pytest.raises(ZeroDivisionError), store.looked_at():
            raise ZeroDivisionError
        store.table("numbers", "SELECT 1 AS n")
        place = "SELECT current_setting('temp_directory')"
        assert store.rows(place) == [(str(tmp_path / "spill"),)]
