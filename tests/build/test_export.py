"""The exported tables: same bytes, promised columns, their description."""

from __future__ import annotations

import csv
import datetime as dt
import json

import polars as pl
import pytest
from queen_outcomes.base.errors import LedgerError, UsageError
from queen_outcomes.build import export
from queen_outcomes.facts import exports as contract


def exported(store, dest, form="csv"):
    export.export(store, dest, form, as_of="2026-07-01")
    return json.loads((dest / "datapackage.json").read_text(encoding="utf-8"))


@pytest.mark.slow
def test_one_and_two_threads_give_the_same_bytes(tmp_path, full_store):
    hashes = []
    for threads in (1, 2):
        store = full_store(threads=threads)
        store.execute(
            "INSERT INTO outcomes SELECT hash(i)::VARCHAR, 'laying', 21, 'yes', true, "
            "i % 20, i % 21, ['checks.csv:' || i] FROM range(300000) made(i)"
        )
        hashes.append(export.write_tables(store, tmp_path / str(threads)))
    assert hashes[0] == hashes[1]


def test_rows_are_ordered_by_the_key_whatever_order_they_came_in(
    tmp_path, full_store, outcome
):
    store = full_store(outcomes=[outcome("B/1"), outcome("A/1")])
    export.write_tables(store, tmp_path)
    frame = pl.read_parquet(tmp_path / "outcomes.parquet")
    assert frame["course_id"].to_list() == ["A/1", "B/1"]


def test_columns_of_the_builds_own_are_not_exported(tmp_path, full_store):
    store = full_store()
    store.execute("ALTER TABLE courses ADD COLUMN next_on DATE")
    export.write_tables(store, tmp_path)
    names = pl.read_parquet_schema(tmp_path / "courses.parquet")
    assert list(names) == [c.name for c in contract.TABLES["courses"].columns]


def test_a_broken_promise_stops_the_build(tmp_path, full_store):
    store = full_store()
    store.execute("ALTER TABLE onset DROP COLUMN conflict")
    with pytest.raises(LedgerError) as refused:
        export.write_tables(store, tmp_path)
    assert "onset.conflict is missing" in refused.value.found


def test_no_text_of_a_csv_is_a_formula_and_parquet_keeps_it(tmp_path, full_store, outcome):
    names = ["=1+1", "+49", "-x", "@a", "\tb", "'c", "d=e", ""]
    courses = [
        {"course_id": f"Q{n}/1", "operator": name} for n, name in enumerate(names)
    ]
    store = full_store(courses=courses)
    exported(store, tmp_path / "csv")
    with (tmp_path / "csv" / "courses.csv").open(encoding="utf-8", newline="") as file:
        found = [row["operator"] for row in csv.DictReader(file)]
    assert found == ["'=1+1", "'+49", "'-x", "'@a", "'\tb", "''c", "d=e", ""]
    exported(store, tmp_path / "parquet", "parquet")
    kept = pl.read_parquet(tmp_path / "parquet" / "courses.parquet")
    assert kept.sort("course_id")["operator"].to_list() == names


def test_csv_has_iso_times_json_lists_and_empty_nulls(tmp_path, full_store, outcome):
    course = {
        "course_id": "A/1",
        "inseminated_at": dt.datetime.fromisoformat("2026-06-01T09:05"),
    }
    made = outcome("A/1", settled_by=["a.csv:2", "b,c.csv:3"], after=None)
    store = full_store(courses=[course], outcomes=[made])
    exported(store, tmp_path / "out")
    with (tmp_path / "out" / "courses.csv").open(encoding="utf-8", newline="") as file:
        assert next(csv.DictReader(file))["inseminated_at"] == "2026-06-01T09:05:00"
    with (tmp_path / "out" / "outcomes.csv").open(encoding="utf-8", newline="") as file:
        row = next(csv.DictReader(file))
    assert json.loads(row["settled_by"]) == ["a.csv:2", "b,c.csv:3"]
    assert row["after"] == ""


@pytest.mark.parametrize("form", export.FORMATS)
def test_the_description_names_every_file_with_its_size(tmp_path, full_store, form):
    package = exported(full_store(), tmp_path / "out", form)
    assert [part["name"] for part in package["resources"]] == list(contract.TABLES)
    for part in package["resources"]:
        assert (tmp_path / "out" / part["path"]).stat().st_size == part["bytes"]
        assert part["hash"].startswith("sha256:")


def test_a_field_carries_type_unit_and_what_empty_means(tmp_path, full_store):
    package = exported(full_store(), tmp_path / "out")
    courses = next(p for p in package["resources"] if p["name"] == "courses")
    dose = next(f for f in courses["schema"]["fields"] if f["name"] == "dose_ul")
    assert (dose["type"], dose["unit"]) == ("number", "uL")
    assert "; empty: " in dose["description"]
    assert courses["schema"]["missingValues"] == [""]


def test_an_earlier_export_is_replaced_whole(tmp_path, full_store):
    exported(full_store(), tmp_path / "out", "csv")
    exported(full_store(), tmp_path / "out", "parquet")
    assert not list((tmp_path / "out").glob("*.csv"))


def test_a_folder_with_other_files_is_refused_untouched(tmp_path, full_store):
    exported(full_store(), tmp_path / "out")
    (tmp_path / "out" / "thesis.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match="holds something else") as refused:
        exported(full_store(), tmp_path / "out", "parquet")
    assert refused.value.found == "thesis.txt"
    assert (tmp_path / "out" / "courses.csv").exists()
