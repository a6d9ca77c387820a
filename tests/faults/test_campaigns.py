"""The campaigns run, and hold in small: a dozen builds, some swaps of `latest`."""

import subprocess
import sys
from pathlib import Path

import pytest
from demo_station import build_trial_station

pytestmark = pytest.mark.slow

HERE = Path(__file__).parent


def run(name: str, *words: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, str(HERE / name), *words], capture_output=True, text=True, check=False
    )


def test_a_dozen_builds_leave_what_the_settings_keep():
    done = run("many_builds.py", "--builds", "12", "--keep", "3")
    assert done.returncode == 0, done.stdout + done.stderr


def test_readers_beside_builds_do_not_fail(shared):
    source = shared.folder("trial_station", build_trial_station)
    done = run("swaps.py", str(source), "--swaps", "25")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "explain" in done.stdout
