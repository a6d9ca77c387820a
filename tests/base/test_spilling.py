"""What a store leaves beside its tables: nothing but what does not fit into memory, for a while."""

import subprocess
import sys

import duckdb
import pytest
from queen_outcomes.base.store import Store

ROWS = "SELECT range AS n, repeat('x', 60) || hash(range) AS t FROM range(2_000_000)"


def test_a_store_spills_where_it_is_told_and_leaves_nothing(tmp_path, monkeypatch):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    spill = tmp_path / "spill"
    with Store(memory="100MB", spill=spill, threads=1) as store:
        store.table("many", ROWS)
        assert store.rows("SELECT count(DISTINCT t) FROM many") == [(2_000_000,)]
        assert sum(path.stat().st_size for path in spill.iterdir()) > 50e6
    assert not spill.exists()
    assert list(elsewhere.iterdir()) == []


def test_a_store_without_a_folder_ends_with_a_word_and_writes_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with Store(memory="50MB", threads=1) as store, pytest.raises(duckdb.OutOfMemoryException):
        store.table("many", ROWS)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_drawn_in_a_process_that_runs_no_file():
    # as a spawned worker is one: DuckDB takes it for somebody at a prompt
    asked = "SELECT current_setting('enable_progress_bar')"
    told = subprocess.run(
        [
            sys.executable,
            "-c",
            "import duckdb; from queen_outcomes.base.store import Store; "
            f'asked = "{asked}"; '
            "print(duckdb.connect().execute(asked).fetchall(), Store().rows(asked))",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout.split() == ["[(True,)]", "[(False,)]"]
