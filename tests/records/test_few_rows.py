"""Few rows are read by plainly planned statements, many by others: they tell the same."""

import random

import fuzzed_sets
import polars as pl
import pytest
from queen_outcomes.base.store import Store
from queen_outcomes.records import staging


@pytest.mark.parametrize("number", [4, 8])
def test_a_check_says_the_same_however_its_statements_are_planned(
    command, tmp_path, monkeypatch, number
):
    station = fuzzed_sets.make(tmp_path / "station", random.Random(number)).station
    said = {}
    for most in (staging.FEW_ROWS, -1):
        monkeypatch.setattr(staging, "FEW_ROWS", most)
        done = command("check", station, "--json")
        said[most] = done.code, done.out
    few, many = said.values()
    assert few == many
    assert "quarantined" in few[1]


@pytest.mark.parametrize("form", ["csv", "parquet"])
@pytest.mark.parametrize("more", [0, 1])
def test_many_rows_are_planned_for_in_full_whatever_file_they_stand_in(
    command, station, monkeypatch, form, more
):
    ids = [f"Q{number}" for number in range(staging.FEW_ROWS + more)]
    rows = pl.DataFrame({"queen_id": ids, "inseminated_at": "2026-05-01"})
    (station / "records").mkdir(exist_ok=True)
    (station / "records" / "checks.csv").write_text("queen_id,checked_on\n")
    path = station / "records" / f"inseminations.{form}"
    rows.write_csv(path) if form == "csv" else rows.write_parquet(path)
    plain = []

    def noted(store):
        plain.append(store)

    monkeypatch.setattr(Store, "plan_plainly", noted)
    assert command("check", station).code == 0
    assert len(plain) == 1 - more


def test_plain_plans_are_taken_back_and_empty_tables_are_told_from_others():
    with Store() as store:
        store.execute("CREATE TABLE a (x INT)")
        store.execute("CREATE TABLE b AS SELECT 1 AS x")
        assert store.filled(["a", "b"]) == {"b"}
        known = "EXPLAIN SELECT 40 + 2 AS x FROM b"
        full = store.rows(known)
        store.plan_plainly()
        assert store.rows(known) != full
        store.plan_fully()
        assert store.rows(known) == full
