"""The staged tables as a whole, and Parquet's typed columns."""

import datetime as dt

import polars as pl
import pytest
from queen_outcomes.base.refs import IN_SOURCE_BITS
from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records.staging import stage_records
from reading import folder, stage


def stage_frame(path, **columns):
    """Stage checks from a Parquet file."""
    folder(path, checks__csv=None)
    pl.DataFrame(columns).write_parquet(path / "checks [1].parquet")
    store = Store()
    stage_records(store, path, Settings())
    return store.records("SELECT * FROM staged_checks ORDER BY ref")


def test_every_table_is_there_even_when_no_file_gives_it(tmp_path):
    store, _ = stage(tmp_path)
    for table in TABLES:
        assert store.columns(f"staged_{table}")["ref"] == "BIGINT"
    assert store.columns("staged_lab")["sperm_millions"] == "DOUBLE"
    assert "queen_id__unread" not in store.columns("staged_lab")
    assert store.rows("SELECT count(*) FROM staged_lab") == [(0,)]


def test_a_ref_is_the_source_and_the_line(tmp_path):
    store, read = stage(tmp_path)
    assert [source.name for source in read.sources] == [
        "checks.csv",
        "inseminations.csv",
    ]
    refs = store.rows("SELECT ref FROM staged_inseminations")
    assert refs == [(2 * 2**IN_SOURCE_BITS + 2,)]


def test_a_file_of_headings_alone_has_no_rows(tmp_path):
    store, _ = stage(tmp_path, checks__csv="queen_id,checked_on\n")
    assert store.rows("SELECT source, rows_read FROM sources_read LIMIT 1") == [
        ("checks.csv", 0)
    ]


def test_typed_columns_are_taken_as_they_are(tmp_path):
    rows = stage_frame(
        tmp_path,
        queen_id=[12.0, 7.5, None],
        colony_id=[1, 2, 3],
        checked_on=[dt.date(2025, 6, 20)] * 3,
        eggs=[True, False, None],
        larvae=[1, 0, 2],
        pattern_pct=[80.5, float("nan"), float("inf")],
        queen_cells=["Swarm", "none", "lots"],
    )
    assert [row["queen_id"] for row in rows] == ["12", "7.5", None]
    assert [row["colony_id"] for row in rows] == ["1", "2", "3"]
    assert [row["source_line"] for row in rows] == [1, 2, 3]
    assert [row["larvae"] for row in rows] == [True, False, None]
    assert rows[2]["larvae__unread"] == "2"
    assert [row["pattern_pct"] for row in rows] == [80.5, None, None]
    assert [row["pattern_pct__unread"] for row in rows] == [None, None, "inf"]
    assert [row["queen_cells"] for row in rows] == ["swarm", "none", None]


@pytest.mark.parametrize(
    ("value", "day"),
    [
        (dt.datetime.fromisoformat("2025-06-20T09:00:00"), dt.date(2025, 6, 20)),
        (dt.datetime.fromisoformat("1825-06-20"), None),
        (dt.datetime(2025, 6, 20, 9, tzinfo=dt.UTC), None),
        (20250620, dt.date(2025, 6, 20)),
        (2025062, None),
        (" 2025-06-20 ", dt.date(2025, 6, 20)),
    ],
)
def test_days_from_parquet(tmp_path, value, day):
    row = stage_frame(tmp_path, queen_id=["Q1"], checked_on=[value])[0]
    assert row["checked_on"] == day
    assert (row["checked_on__unread"] is None) == (day is not None)


def test_staging_twice_gives_the_same(tmp_path):
    folder(tmp_path, checks__csv='queen_id,checked_on\nQ1,2025-06-20\nQ2\n"\n')
    tables = []
    for _ in range(2):
        store = Store()
        stage_records(store, tmp_path, Settings())
        tables.append(store.rows("SELECT * FROM staged_checks ORDER BY ref"))
    assert tables[0] == tables[1]
    assert len(tables[0]) == 3
