"""Which files are records, and which table each is."""

import datetime as dt
import hashlib
import os
import subprocess
import sys

import polars as pl
import pytest
import xlsxwriter
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.commands.failures import exit_code
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


def test_hidden_files_are_passed_over_in_silence_and_lock_files_named(tmp_path):
    folder(tmp_path)
    for name in (
        ".checks.csv",
        "~$checks.xlsx",
        ".~lock.checks.csv#",
        "checks.csv.tmp",
    ):
        (tmp_path / name).write_text("x")
    files, notes, _ = sources.look_through(tmp_path)
    assert [file.name for file in files] == ["checks.csv", "inseminations.csv"]
    told = [note.partition(":")[0] for note in notes]
    assert told == [".~lock.checks.csv#", "checks.csv.tmp", "~$checks.xlsx"]
    assert '"checks.csv" is open' in notes[0]
    assert '"checks.xlsx" is open' in notes[2]


def test_pipes_and_links_that_lead_nowhere_are_named_and_not_opened(tmp_path):
    folder(tmp_path)
    os.mkfifo(tmp_path / "exits.csv")
    (tmp_path / "lab.csv").symlink_to(tmp_path / "gone.csv")
    store, read = stage(tmp_path)
    assert store.rows("SELECT DISTINCT source FROM sources_read ORDER BY 1") == [
        ("checks.csv",),
        ("inseminations.csv",),
    ]
    told = "\n".join(read.notes)
    assert "exits.csv: not read, since it is no file but a pipe" in told
    assert "lab.csv: not read, since it is a link that leads nowhere" in told


def test_a_file_of_two_names_is_read_once(tmp_path):
    folder(tmp_path)
    (tmp_path / "checks2.csv").symlink_to(tmp_path / "checks.csv")
    os.link(tmp_path / "checks.csv", tmp_path / "checks3.csv")
    (tmp_path / "again").symlink_to(tmp_path)
    files, notes, _ = sources.look_through(tmp_path)
    assert [file.name for file in files] == ["checks.csv", "inseminations.csv"]
    assert notes == [
        f"{name}: not read, since it is another name of checks.csv"
        for name in ("checks2.csv", "checks3.csv")
    ]


def test_links_that_lead_round_and_out_give_each_file_once(tmp_path):
    """Loops inside, a way out to the folder above, and one from outside back in."""
    records, outside = tmp_path / "records", tmp_path / "outside"
    for place in (records / "a", records / "b", outside):
        place.mkdir(parents=True)
    folder(records)
    (records / "a" / "exits.csv").write_text("queen_id,left_on\n")
    (outside / "lab.csv").write_text("queen_id,sampled_on\n")
    (records / "a" / "round").symlink_to(records / "b")
    (records / "b" / "round").symlink_to(records / "a")
    (records / "b" / "itself").symlink_to(records / "b")
    (records / "up").symlink_to(tmp_path)
    (records / "out").symlink_to(outside)
    (records / "co2.csv").symlink_to(outside / "lab.csv")
    (outside / "back").symlink_to(records)
    for loop in ("one", "two"):
        other = "two" if loop == "one" else "one"
        (records / loop).symlink_to(records / other)
    inside = ["a/exits.csv", "checks.csv", "inseminations.csv"]
    files, notes, out = sources.look_through(records)
    assert [file.name for file in files] == inside
    assert out == ["co2.csv", "out", "up"]
    assert [note.partition(":")[0] for note in notes] == ["one", "two"]
    files, notes, out = sources.look_through(records, "all")
    assert [file.name for file in files if file.name in inside] == inside
    (further,) = [file.name for file in files if file.name not in inside]
    assert further == "co2.csv"
    assert out == []
    assert any("another name of co2.csv" in note for note in notes)


def test_an_ignored_file_is_not_opened(tmp_path):
    folder(tmp_path, checks_broken__xlsx=b"PK no workbook")
    with pytest.raises(RecordsError, match="damaged"):
        stage(tmp_path)
    _, read = stage(tmp_path, {"records": {"ignore": ["*broken.xlsx"]}})
    assert len(read.sources) == 2


def test_a_file_that_grows_between_hash_and_read_is_read_as_hashed(
    tmp_path, monkeypatch
):
    """One more check is written as soon as the files have been hashed."""
    taken = sources.take_in

    def then_grow(*arguments):
        found = taken(*arguments)
        with (tmp_path / "checks.csv").open("a") as file:
            file.write("Q2,2025-06-21\n")
        return found

    monkeypatch.setattr(sources, "take_in", then_grow)
    store, _ = stage(tmp_path)
    hashed = hashlib.sha256(CHECKS.encode()).hexdigest()
    read = "SELECT sha256, rows_read FROM sources_read WHERE source = 'checks.csv'"
    assert store.rows(read) == [(hashed, 1)]


def test_a_parquet_file_that_changes_meanwhile_stops_the_build(tmp_path, monkeypatch):
    folder(tmp_path, checks__csv=None)
    frame = pl.DataFrame({"queen_id": ["Q1"], "checked_on": [dt.date(2025, 6, 20)]})
    frame.write_parquet(tmp_path / "checks.parquet")
    taken = sources.take_in

    def then_write(*arguments):
        found = taken(*arguments)
        pl.concat([frame, frame]).write_parquet(tmp_path / "checks.parquet")
        return found

    monkeypatch.setattr(sources, "take_in", then_write)
    with pytest.raises(RecordsError, match="changed while it was read") as caught:
        stage(tmp_path, checks__csv=None)
    assert exit_code(caught.value) == 3


def test_a_file_that_is_written_while_it_is_read_stops_the_build(tmp_path, monkeypatch):
    folder(tmp_path)
    path, told = tmp_path / "checks.csv", os.fstat

    def then_grow(number):
        before = told(number)
        if before.st_ino == path.stat().st_ino:
            with path.open("a") as file:
                file.write("Q2,2025-06-21\n")
        return before

    monkeypatch.setattr(sources.os, "fstat", then_grow)
    with pytest.raises(RecordsError, match="changed while it was read") as caught:
        sources.read_whole(path, "checks.csv")
    assert exit_code(caught.value) == 3


def test_names_are_told_without_importing_a_reader():
    code = (
        "import sys, queen_outcomes.records.sources; "
        "print([m for m in ('polars', 'duckdb', 'fastexcel') if m in sys.modules])"
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
    assert {s.name: s.table.name for s in read.sources}["exits_old.csv"] == "checks"


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
    assert 'was "chekcs.csv" for checks meant?' in caught.value.hint


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("checks.xls", b"x", "checks.xls: not read, since it is a .xls file; save it as .xlsx; "),
        ("checks", CHECKS.encode(), "checks: not read, since it has no ending; add .csv to its name"),
        ("checks.pdf", b"x", "checks.pdf: not read, since a .pdf file is no table; name it under "),
    ],
)
def test_of_a_file_with_the_name_of_a_missing_table_it_is_told_what_is_wrong(
    tmp_path, name, content, told
):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(RecordsError, match='"checks" is missing') as caught:
        stage(tmp_path, checks__csv=None)
    assert caught.value.hint.startswith(told)
    assert "meant" not in caught.value.hint


def test_a_workbook_of_charts_alone_is_told_and_its_reader_says_nothing(tmp_path, capfd, caplog):
    with xlsxwriter.Workbook(tmp_path / "checks.xlsx") as book:
        chart = book.add_chart({"type": "line"})
        chart.add_series({"values": "={1,2}"})
        book.add_chartsheet("Curve").set_chart(chart)
    with pytest.raises(RecordsError) as caught:
        stage(tmp_path, checks__csv=None)
    assert "checks.xlsx#Curve: not read, since the sheet is empty" in caught.value.hint
    assert (capfd.readouterr(), caplog.records) == (("", ""), [])


def test_a_name_that_is_no_text_is_refused_in_words(tmp_path):
    folder(tmp_path)
    try:
        (tmp_path / os.fsdecode(b"m\xfcde.csv")).touch()
    except OSError:
        pytest.skip("this disk takes no such name")
    with pytest.raises(RecordsError) as caught:
        sources.look_through(tmp_path)
    assert r"found:    m\xfcde.csv" in caught.value.text()
    assert "rename it" in caught.value.hint


def test_a_stations_own_files_lead_to_the_command_that_maps_them(tmp_path):
    with pytest.raises(RecordsError) as caught:
        stage(
            tmp_path,
            checks__csv=None,
            inseminations__csv=None,
            Besamung__csv="Königin,Datum\n1,1.6.2026\n",
        )
    told = caught.value.text()
    assert told.count("error: ") == 1
    assert 'the tables "inseminations" and "checks" are missing' in told
    assert "`queen-outcomes map` finds out what your own files hold" in told


def test_no_folder_and_an_empty_folder_are_told_apart(tmp_path):
    with pytest.raises(RecordsError, match="there is no folder"):
        stage_nothing(tmp_path / "none")
    with pytest.raises(RecordsError, match="is empty"):
        stage_nothing(tmp_path)


def stage_nothing(path):
    sources.take_in(path, Reading())


def test_why_a_file_cannot_be_opened_is_told_in_the_system_s_words():
    def found(problem):
        return sources._cannot_open("a.csv", problem).found

    assert found(PermissionError(13, "Permission denied")) == "Permission denied"
    assert found(OSError("it went away")) == "it went away"
