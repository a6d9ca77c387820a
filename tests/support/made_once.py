"""What is dear to make, made once a run by the first worker that asks, then only read.

A test that wants to write copies it first; at a worker's end it is seen whether all did.
"""

from __future__ import annotations

import fcntl
import shutil
import traceback
from collections.abc import Callable
from pathlib import Path

import pytest


def stamps(folder: Path) -> str:
    """Give a line a file: its path, size and time of writing."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    told = ((path.relative_to(folder), path.stat()) for path in files)
    return "\n".join(f"{name} {at.st_size} {at.st_mtime_ns}" for name, at in told)


class Shared:
    """Folders that the workers of one run share, each made under a lock of its own.

    Parameters
    ----------
    place : Path
        The same for all workers of a run, and new with each run.
    """

    def __init__(self, place: Path):
        self.place = place
        self.used: set[str] = set()

    def folder(self, name: str, make: Callable[[Path], object]) -> Path:
        """Give the folder of that name, made by `make` unless it is there already.

        A maker that fails fails for every worker, each at once: none waits for it, and
        none repeats it. The system lets go of a killed worker's lock, and then the next
        one begins anew.
        """
        self.place.mkdir(exist_ok=True)
        folder, done, failed = (
            self.place / f"{name}{end}" for end in ("", ".made", ".failed")
        )
        with (self.place / f"{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if failed.exists():
                pytest.fail(failed.read_text(encoding="utf-8"), pytrace=False)
            if not done.exists():
                shutil.rmtree(folder, ignore_errors=True)  # of a killed worker
                try:
                    make(folder)
                except Exception:
                    failed.write_text(traceback.format_exc(), encoding="utf-8")
                    raise
                done.write_text(stamps(folder), encoding="utf-8")
        self.used.add(name)
        return folder

    def changed(self) -> list[str]:
        """Give the lines of `stamps` that a test has changed in what this worker used."""
        found = []
        for name in sorted(self.used):
            made = (self.place / f"{name}.made").read_text(encoding="utf-8")
            now = stamps(self.place / name)
            found += sorted(set(made.splitlines()) ^ set(now.splitlines()))
        return found
