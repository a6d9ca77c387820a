"""Damaged and foreign builds, days beyond reckoning, links, memory: a sentence and a code."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from demo_station import build_trial_station
from queen_outcomes.commands import cli, failures

pytestmark = pytest.mark.slow

COMMAND = str(Path(sys.executable).with_name("queen-outcomes"))


@pytest.fixture
def built(shared, tmp_path):
    place = tmp_path / "station"
    source = shared.folder("trial_station", build_trial_station)
    shutil.copytree(source, place, symlinks=True)
    return place


def last(place):
    return (place / "build" / "latest").resolve()


@pytest.mark.parametrize("text", ["{", "[]", '{"as_of": "soon", "files": {}}', "{}"])
def test_a_damaged_journal_is_named(command, built, text):
    (last(built) / "run.json").write_text(text, encoding="utf-8")
    ran = command("due", built)
    assert ran.code == 2
    assert "Traceback" not in ran.err
    assert "run.json" in ran.err or "there is no build yet" in ran.err


def test_a_damaged_store_is_named(command, built):
    (last(built) / "station.duckdb").write_bytes(bytes(range(256)) * 20)
    ran = command("explain", built, "Q001")
    assert (ran.code, "Traceback" in ran.err) == (2, False)
    assert "station.duckdb" in ran.err


def test_a_build_of_another_version_is_told_and_not_called_a_fault(command, built):
    import duckdb

    with duckdb.connect(str(last(built) / "station.duckdb")) as con:
        con.execute("ALTER TABLE due DROP COLUMN settles")
    ran = command("due", built)
    assert (ran.code, "Traceback" in ran.err) == (2, False)
    assert "another version of the tool" in ran.err
    assert "due.settles is missing" in ran.err
    assert f"queen-outcomes build {built}" in ran.err


def test_a_build_of_other_code_that_lacks_a_working_table_is_told_so(command, built):
    import duckdb

    with duckdb.connect(str(last(built) / "station.duckdb")) as con:
        con.execute("DROP TABLE linked_checks")
    own_fault = command("explain", built, "Q001")
    assert own_fault.code == 70
    journal = last(built) / "run.json"
    held = json.loads(journal.read_text(encoding="utf-8"))
    journal.write_text(json.dumps({**held, "code": "0" * 64}), encoding="utf-8")
    ran = command("explain", built, "Q001")
    assert (ran.code, "Traceback" in ran.err) == (2, False)
    assert "another version of the tool" in ran.err
    assert "linked_checks" in ran.err
    assert f"queen-outcomes build {built}" in ran.err


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01"])
def test_a_day_beyond_reckoning_is_refused_by_option_and_settings(command, station, day):
    ran = command("build", station, "--as-of", day)
    assert (ran.code, "Traceback" in ran.err) == (2, False)
    assert "expected: a day from 1900-01-01 to 2200-12-31" in ran.err
    (station / "station.toml").write_text(f"as_of = {day}\n", encoding="utf-8")
    ran = command("check", station)
    assert ran.code == 2
    assert "as_of" in ran.err


def test_links_out_of_the_records_are_named_and_read_only_if_the_settings_say_so(
    command, station, tmp_path
):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    records = station / "records"
    head = "queen_id,inseminated_at\n"
    (records / "inseminations.csv").write_text(head + "Q1,2026-05-01\n")
    (records / "checks.csv").write_text("queen_id,checked_on,eggs\nQ1,2026-05-15,yes\n")
    (elsewhere / "inseminations_2.csv").write_text(head + "Q2,2026-05-02\n")
    (records / "more").symlink_to(elsewhere)
    (records / "within").symlink_to(records)
    ran = command("check", station)
    assert ran.code == 1
    assert "more: not read, since it is a link that leads out" in ran.err
    assert "1 queen" in ran.out
    settings = station / "station.toml"
    settings.write_text(settings.read_text() + '\n[records]\nlinks = "all"\n')
    ran = command("check", station)
    assert "leads out" not in ran.err
    assert "2 queens" in ran.out
    settings.write_text(settings.read_text().replace('"all"', '"inside"\nignore = ["more"]'))
    ran = command("check", station)
    assert (ran.code, "leads out" in ran.err) == (0, False)


def test_memory_that_does_not_suffice_has_a_code_of_its_own():
    class OutOfMemoryException(Exception):
        pass

    for problem in (MemoryError(), OutOfMemoryException("could not allocate 1 GB")):
        code = failures.exit_code(problem)
        assert code == failures.MEMORY == 5
        said = failures.message(problem, code)
        assert "memory" in said
        assert "fault of the tool" not in said


def test_a_disk_that_fills_up_is_told_as_such_whoever_finds_it():
    import duckdb
    import polars as pl

    full = "No space left on device"
    for problem in (
        OSError(28, full, "tables/due.parquet"),
        duckdb.IOException(f'IO Error: Could not write file "station.duckdb": {full}'),
        pl.exceptions.ComputeError(f"parquet: underlying IO error: {full} (os error 28)"),
    ):
        code = failures.exit_code(problem)
        assert code == failures.USAGE
        said = failures.message(problem, code)
        assert full in said
        assert "make room on the disk" in said
        assert "fault of the tool" not in said
    other = pl.exceptions.ComputeError("cannot compare")
    assert failures.exit_code(other) == failures.FAULT


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_ctrl_c_ends_every_step_with_130(built, share):
    words = [COMMAND, "check", str(built)]
    began = time.monotonic()
    subprocess.run(words, capture_output=True, check=False)
    whole = time.monotonic() - began
    ran = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(share * whole)
    ran.send_signal(signal.SIGINT)
    _, err = ran.communicate(timeout=60)
    # a run that had ended by then keeps its own code
    assert ran.returncode in (130, 0, 1)
    assert "Traceback" not in err


def test_a_query_that_is_cut_short_counts_as_an_interrupt(built):
    # DuckDB tells of an interrupt by an error of its own, whatever Python meant to raise
    script = (
        "import os, signal\n"
        "from queen_outcomes.commands import cli, due\n"
        "from queen_outcomes.base.store import Store\n"
        "def records(self, sql, parameters=None):\n"
        "    try:\n"
        "        os.kill(os.getpid(), signal.SIGINT)\n"
        "        self.con.execute('SELECT 1').fetchall()\n"
        "    except KeyboardInterrupt:\n"
        "        raise RuntimeError('Query interrupted')\n"
        "Store.records = records\n"
        f"raise SystemExit(cli.run(['due', {json.dumps(str(built))}]))\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60
    )
    assert ran.returncode == 130, ran.stderr
    assert "Traceback" not in ran.stderr
    assert "interrupted" in ran.stderr


def test_a_reader_that_meets_a_build_being_trimmed_opens_its_successor(
    command, built, monkeypatch
):
    from queen_outcomes.base import folders
    from queen_outcomes.build import latest_build

    known = command("due", built)
    before, opened = last(built), latest_build._open
    after = before.with_name("20300101T000000000000Z-abcdef")

    def trimmed_first(path):
        if path.parent == before and before.exists():
            shutil.copytree(before, after)
            folders.switch(before.parent, after.name)
            folders.retire(before.parent, before)
        return opened(path)

    monkeypatch.setattr(latest_build, "_open", trimmed_first)
    ran = command("due", built)
    assert last(built) == after
    assert (ran.code, ran.out) == (0, known.out)


def test_a_reader_keeps_what_it_opened_though_it_is_trimmed(built):
    from queen_outcomes.base import folders
    from queen_outcomes.base.console import Console
    from queen_outcomes.build.latest_build import open_latest

    with open_latest(built, Console(quiet=True)) as opened:
        folders.retire(built / "build", last(built))
        assert opened.store.rows("SELECT count(*) FROM courses")[0][0] > 0


def test_ctrl_c_while_the_command_is_still_being_imported_ends_with_130():
    script = (
        "import os, signal, sys\n"
        "from queen_outcomes import __main__\n"
        "class Press:\n"
        "    def find_spec(self, name, *more):\n"
        "        if name == 'queen_outcomes.commands':\n"
        "            os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Press())\n"
        "sys.argv = ['queen-outcomes', '--version']\n"
        "__main__.main()\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60
    )
    assert (ran.returncode, ran.stderr) == (130, "")


def test_ctrl_c_that_comes_where_nobody_can_take_it_ends_with_130_too():
    # as within a library's own code: Python would print it, and go on
    script = (
        "import signal, time\n"
        "from queen_outcomes.commands import cli\n"
        "class Last:\n"
        "    def __del__(self):\n"
        "        signal.raise_signal(signal.SIGINT)\n"
        "def main(*_, **__):\n"
        "    Last()\n"
        "    time.sleep(30)\n"
        "    print('went on')\n"
        "cli.cli.main = main\n"
        "raise SystemExit(cli.run(['due']))\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60
    )
    assert (ran.returncode, ran.stdout) == (130, "")
    assert "Traceback" not in ran.stderr
    assert "interrupted" in ran.stderr


def test_ctrl_c_while_a_compiled_module_loads_ends_with_130():
    # such a module may abort the process when an exception comes into its making
    script = (
        "import signal, sys\n"
        "from importlib.machinery import ExtensionFileLoader\n"
        "from queen_outcomes.commands import cli\n"
        "class Loader(ExtensionFileLoader):\n"
        "    def exec_module(self, module):\n"
        "        try:\n"
        "            signal.raise_signal(signal.SIGINT)\n"
        "        except KeyboardInterrupt:\n"
        "            print('aborted')\n"
        "def main(*_, **__):\n"
        "    Loader('compiled', 'compiled.so').exec_module(None)\n"
        "cli.cli.main = main\n"
        "raise SystemExit(cli.run(['due']))\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60
    )
    assert (ran.returncode, ran.stdout) == (130, "")
    assert ran.stderr == "interrupted; the last build stays as it was\n"


def test_what_else_is_lost_is_told_as_python_tells_it(monkeypatch):
    told = []
    monkeypatch.setattr(sys, "__unraisablehook__", told.append)
    cli._Interrupt().lost(SimpleNamespace(exc_type=ValueError))
    assert [one.exc_type for one in told] == [ValueError]


def test_a_folder_whose_name_is_no_text_is_named(tmp_path, command):
    folder = tmp_path / os.fsdecode(b"h\xf6f") / "station"
    folder.parent.mkdir()
    assert command("new", folder).code == 0
    ran = command("build", folder)
    assert ran.code == 2
    assert "in a folder whose name is no text" in ran.err
    assert "Traceback" not in ran.err
