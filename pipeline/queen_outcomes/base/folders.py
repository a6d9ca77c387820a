"""The build folder: who holds it, which build is the latest, and what is kept.

A build is made in a folder of its own and `latest` is switched to it in one rename,
so a build that fails or is killed changes nothing. A folder is a complete build by its
journal, whatever the link says: a lost link costs nobody a build. Knows no table and no step.
"""

from __future__ import annotations

import datetime as dt
import getpass
import hashlib
import json
import os
import re
import shutil
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

from queen_outcomes.base.errors import LockError, UsageError
from queen_outcomes.base.outputs import (
    clear_leftovers,
    remove,
    sync,
    sync_tree,
    write_files,
)

LATEST, HISTORY, LOCK = "latest", "history", ".lock"
RUN_FILE, STORE_FILE = "run.json", "station.duckdb"
TABLES, DASHBOARD = "tables", "dashboard"
SPILL = ".spill"
"""Where DuckDB puts what does not fit into memory, below the build's own folder."""
KEPT = (RUN_FILE, TABLES)
"""What an earlier build keeps."""
_RUN_ID = re.compile(r"\d{8}T\d{12}Z-[0-9a-f]{6}")


def new_run_id(now: dt.datetime) -> str:
    """Name a build after its UTC time; names sort by age."""
    stamp = now.astimezone(dt.UTC).strftime("%Y%m%dT%H%M%S%fZ")
    mark = hashlib.sha256(f"{stamp} {os.getpid()}".encode()).hexdigest()[:6]
    return f"{stamp}-{mark}"


@contextmanager
def hold(build: Path, now: dt.datetime) -> Iterator[None]:
    """Hold the build folder against a second build.

    Raises
    ------
    LockError
        Somebody else holds it; the message names them.

    Notes
    -----
    The system lets go of the lock when its process ends, however it ends, so a lock
    file left behind locks nobody out. The file itself stays: removing it would let
    two builds hold two different files of one name.
    """
    import fcntl

    build.mkdir(parents=True, exist_ok=True)
    with (build / LOCK).open("a+", encoding="utf-8") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise _held(build, file) from None
        _sign(file, now)
        try:
            yield
        finally:
            file.truncate(0)


def _sign(file: TextIO, now: dt.datetime) -> None:
    try:
        user = getpass.getuser()
    except (OSError, KeyError):  # a container's user may have no name
        user = str(os.getuid())
    holder = {
        "pid": os.getpid(),
        "user": user,
        "host": socket.gethostname(),
        "since": now.isoformat(timespec="seconds"),
    }
    file.truncate(0)
    file.write(json.dumps(holder))
    file.flush()


def _held(build: Path, file: TextIO) -> LockError:
    file.seek(0)
    try:
        by = json.loads(file.read())
        words = "process {pid} of {user} on {host}, since {since}".format(**by)
    except (ValueError, KeyError, TypeError):
        words = "a build that has only just begun"
    return LockError(
        "another build of this station is under way",
        where=str(build),
        found=words,
        hint="wait for it to end, then run the command again",
    )


def latest(build: Path) -> Path | None:
    """Give the folder of the last complete build, or None.

    The one that the link leads to; where the link is lost (not every copy of a folder
    keeps links) or leads nowhere, the newest complete one.
    """
    return linked(build) or next(_untrimmed(build), None)


def linked(build: Path) -> Path | None:
    """Give the folder that the link leads to; None: there is no link, or no such folder."""
    link = build / LATEST
    return link.resolve() if link.is_symlink() and link.exists() else None


def before(build: Path) -> Path | None:
    """Give the build to compare a new one with: the latest, else the history's newest."""
    return latest(build) or next(_complete(build / HISTORY), None)


def _untrimmed(build: Path) -> Iterator[Path]:
    return (path for path in _complete(build) if (path / STORE_FILE).is_file())


def _complete(place: Path) -> Iterator[Path]:
    """Give the complete builds in a folder, newest first."""
    return (path for path in _runs(place) if _is_complete(path))


def _runs(place: Path) -> list[Path]:
    """Give the builds in a folder, newest first: by the numbers in their journals.

    A clock may go back; names tell the order only of builds that have no number.
    """
    found = list(place.iterdir()) if place.is_dir() else []
    runs = [path for path in found if _RUN_ID.fullmatch(path.name)]
    return sorted(runs, key=lambda path: (_number(path), path.name), reverse=True)


def _number(folder: Path) -> int:
    """Give a build's running number; 0 where its journal has none or cannot be read."""
    try:
        return int(read_run(folder)["number"])
    except (OSError, ValueError, KeyError, TypeError):
        return 0


def next_number(build: Path) -> int:
    """Give the number of the build that is about to be made, from 1."""
    runs = [*_runs(build), *_runs(build / HISTORY)]
    return 1 + max((_number(path) for path in runs), default=0)


def _is_complete(folder: Path) -> bool:
    """Tell whether a build came to its end; a journal that may not be read is an error."""
    try:
        return isinstance(read_run(folder), dict)
    except (FileNotFoundError, ValueError):
        return False


def mend(build: Path) -> Path | None:
    """Point a lost or dangling `latest` to the last complete build again.

    Returns
    -------
    Path or None
        That build; None when the link is sound, or no complete build is left.
    """
    found = None if linked(build) else latest(build)
    if found is not None:
        switch(build, found.name)
    return found


def prepare(build: Path, run_id: str) -> Path:
    """Remove what dead builds left, and make a folder for the new one.

    Raises
    ------
    UsageError
        ``latest`` is not a link, so it could not be switched at the end.
    """
    link = build / LATEST
    if link.exists() and not link.is_symlink():
        raise UsageError(
            "the last build is a folder where a link should be",
            where=str(link),
            expected="the link that a build leaves",
            hint=f"move {link} out of the way; a build makes it again",
        )
    clear_leftovers(build)
    current = latest(build)
    for path in sorted(build.iterdir()):
        if current is not None and path.name == current.name:
            continue
        if _RUN_ID.fullmatch(path.name):
            _settle(build, path)
        elif path.name.startswith(f".{LATEST}-"):
            path.unlink()
    folder = build / run_id
    folder.mkdir()
    return folder


def _settle(build: Path, path: Path) -> None:
    """Retire a complete build, whether or not it was ever the latest; remove a dead one."""
    if _is_complete(path):
        retire(build, path)
    else:
        shutil.rmtree(path)


def switch(build: Path, run_id: str) -> None:
    """Point ``latest`` at a finished build, in one rename."""
    temporary = build / f".{LATEST}-{run_id}"
    temporary.symlink_to(run_id, target_is_directory=True)
    sync(build)  # the build's own folder, before anything leads there
    temporary.replace(build / LATEST)
    sync(build)


def retire(build: Path, folder: Path) -> None:
    """Trim an earlier build to what is kept of it and move it to the history."""
    for path in sorted(folder.iterdir()):
        if path.name not in KEPT:
            remove(path)
    (build / HISTORY).mkdir(exist_ok=True)
    folder.replace(build / HISTORY / folder.name)
    sync(build / HISTORY)


def prune(build: Path, keep: int) -> None:
    """Remove all but the ``keep`` most recent builds from the history."""
    for path in _runs(build / HISTORY)[keep:]:
        shutil.rmtree(path)


def read_run(folder: Path) -> dict[str, Any]:
    """Give a finished build's journal."""
    return json.loads((folder / RUN_FILE).read_text(encoding="utf-8"))


def write_run(folder: Path, journal: dict[str, Any]) -> None:
    """Write a build's journal; it comes last, so one that has it is complete.

    What lies beside it is on the disk before, so that holds after a power cut too.
    """
    text = json.dumps(journal, indent=2, default=str)
    sync_tree(folder)
    write_files({folder / RUN_FILE: text + "\n"})


def sha256(path: Path) -> str:
    """Give a file's hash without reading it into memory at once."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def tree_sha256(folder: Path) -> str:
    """Give one hash of all files in a folder, their names and what is in them."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    told = [f"{path.relative_to(folder).as_posix()} {sha256(path)}\n" for path in files]
    return hashlib.sha256("".join(told).encode()).hexdigest()


def fingerprint(station: Path) -> dict[str, str]:
    """Give the hash of the settings and of every file under records/."""
    files = [station / "station.toml", *sorted((station / "records").rglob("*"))]
    return {
        path.relative_to(station).as_posix(): sha256(path)
        for path in files
        if path.is_file() and not path.name.startswith((".", "~$"))
    }
