"""The campaigns run, and hold in small: a dozen builds, some swaps of `latest`."""

import csv
import signal
import subprocess
import sys
from pathlib import Path

import kills
import pytest
from demo_station import build_trial_station

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


def run(name: str, *words: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, str(HERE / name), *words], capture_output=True, text=True, check=False
    )


@pytest.mark.slow
def test_a_dozen_builds_leave_what_the_settings_keep():
    done = run("many_builds.py", "--builds", "12", "--keep", "3")
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.slow
def test_readers_beside_builds_do_not_fail(shared):
    source = shared.folder("trial_station", build_trial_station)
    done = run("swaps.py", str(source), "--swaps", "25")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "explain" in done.stdout


@pytest.mark.slow
def test_stations_of_a_few_queens_end_as_they_may():
    done = run("small_builds.py", "--stations", "3", "--first", "5000")
    assert done.returncode == 0, done.stdout + done.stderr


BEGINS = """Fatal Python error: init_import_site: Failed to import the site module
Traceback (most recent call last):
  File "<frozen site>", line 616, in <module>
KeyboardInterrupt
"""
OURS = """Traceback (most recent call last):
  File "/lib/queen_outcomes/commands/sheets.py", line 28, in sheets
KeyboardInterrupt
"""


@pytest.mark.parametrize(
    ("code", "err", "is_wrong"),
    [
        (130, "interrupted", False),
        (1, BEGINS, False),
        (-signal.SIGINT, "", False),
        (-signal.SIGINT, OURS, True),
        (1, OURS, True),
        (1, BEGINS + OURS, True),
        (70, "error: KeyboardInterrupt", True),
    ],
)
def test_a_traceback_is_no_fault_only_before_python_is_ready(code, err, is_wrong):
    assert bool(kills.judged(code, err)) == is_wrong


def kept() -> list[dict[str, str]]:
    with (ROOT / "reports" / "text" / "campaigns.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", kept(), ids=lambda row: row["campaign"])
def test_what_is_kept_of_a_campaign_adds_up_and_its_command_is_there(row):
    tried, held, failed = (int(row[name]) for name in ("tried", "held", "failed"))
    assert tried == held + failed > 0
    assert (ROOT / row["command"].split()[1]).is_file()
