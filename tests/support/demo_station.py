"""The invented station, built once a test run through the installed command."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from trial_station import write_station


def run(*words: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess:
    """Run the installed command in a process of its own."""
    program = Path(sys.executable).with_name("queen-outcomes")
    return subprocess.run(
        [str(program), *map(str, words)],
        cwd=cwd,
        capture_output=True,
        text=True,
        check=False,
    )


def make(place: Path) -> Path:
    """Make and build the demo in a folder; give the finished build."""
    for words in (("demo", place), ("build", place, "--pdf")):
        done = run(*words)
        assert done.returncode == 0, done.stderr
    return place / "build" / "latest"


def build_trial_station(place: Path) -> None:
    """Write and build the small station whose next trial is planned."""
    done = run("build", write_station(place), "--quiet")
    assert done.returncode == 0, done.stderr


def journal(build: Path) -> dict:
    """Give a build's run.json."""
    return json.loads((build / "run.json").read_text(encoding="utf-8"))
