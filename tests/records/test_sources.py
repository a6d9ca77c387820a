"""Which files are records, and which table each is."""

import subprocess
import sys

import pytest
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.facts.reading import Reading
from queen_outcomes.records import sources
from reading import CHECKS, folder, stage


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("checks.csv", "checks"),
        ("Checks 2026-05.csv", "checks"),
        ("checks_2025.csv", "checks"),
        ("checks/may.csv", "checks"),
        ("2025/Checks/may.csv", "checks"),
        ("lab.csv", "lab"),
        ("label.csv", None),
        ("checksum.csv", None),
        ("co2-2025.tsv", "co2"),
    ],
)
def test_a_file_is_the_table_its_name_begins_with(name, table):
    assert sources.table_of_file(name) == table


def test_hidden_and_lock_files_are_passed_over_in_silence(tmp_path):
    folder(tmp_path)
    for name in (".checks.csv", "~$checks.xlsx", ".~lock.checks.csv#"):
        (tmp_path / name).write_text("x")
    found = [file.name for file in sources.find(tmp_path)]
    assert found == ["checks.csv", "inseminations.csv"]


def test_names_are_told_without_importing_a_reader():
    code = (
        "import sys, queen_outcomes.records.sources; "
        "print([m for m in ('polars', 'duckdb', 'pyarrow', 'fastexcel') "
        "if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_a_pattern_in_the_settings_wins_over_the_name(tmp_path):
    _, read = stage(
        tmp_path,
        {"tables": {"checks": "exits*.csv"}},
        exits_old__csv=CHECKS,
    )
    assert {s.name: s.table for s in read.sources}["exits_old.csv"] == "checks"


def test_a_pattern_that_fits_nothing_is_refused_with_the_nearest_name(tmp_path):
    with pytest.raises(RecordsError, match="no file fits") as caught:
        stage(tmp_path, {"tables": {"checks": "cheks.csv"}})
    assert "checks.csv" in caught.value.hint


def test_several_files_make_one_table(tmp_path):
    store, _ = stage(tmp_path, checks___b__csv=CHECKS.replace("Q1", "Q2"))
    assert store.rows("SELECT source, rows_read FROM sources_read") == [
        ("checks.csv", 1),
        ("checks/b.csv", 1),
        ("inseminations.csv", 1),
    ]
    assert store.rows("SELECT count(*) FROM staged_checks") == [(2,)]


def test_files_that_are_no_records_are_noted(tmp_path):
    _, read = stage(tmp_path, chekcs__csv="x", old__xls="x", checks_copy__csv=CHECKS)
    notes = "\n".join(read.notes)
    assert "chekcs.csv: not read" in notes
    assert 'was "checks" meant?' in notes
    assert "save it as .xlsx" in notes
    assert "checks_copy.csv: the same file, byte for byte, as checks.csv" in notes


def test_a_missing_table_is_told_with_the_nearest_file(tmp_path):
    with pytest.raises(RecordsError, match='"checks" is missing') as caught:
        stage(tmp_path, checks__csv=None, chekcs__csv=CHECKS)
    assert "chekcs.csv" in caught.value.hint


def test_no_folder_and_an_empty_folder_are_told_apart(tmp_path):
    with pytest.raises(RecordsError, match="there is no folder"):
        stage_nothing(tmp_path / "none")
    with pytest.raises(RecordsError, match="is empty"):
        stage_nothing(tmp_path)


def stage_nothing(path):
    sources.take_in(path, Reading())
