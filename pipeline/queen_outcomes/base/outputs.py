"""Where a command may write what its user names, and how: whole, or not at all.

What is written is made under a hidden name beside its place, put on the disk, and moved
there in one rename. What a killed command leaves under such a name is removed by the next
one that writes there.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import platform
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from queen_outcomes.base.errors import UsageError

KEPT = {
    "records": "what the station wrote, and nothing else",
    "build": "what the builds make, which the next one may remove",
    "seasons": "the plans that were fixed for a season",
}
"""Folders of a station that no named file goes into, and what they hold."""
SETTINGS = "station.toml"
"""A folder that holds it is a station's."""
_HIDDEN = ".queen-outcomes"
_HOST = hashlib.sha256(platform.node().encode()).hexdigest()[:8]
"""Of two machines that share a folder, each clears away its own leftovers only."""
_LEFT = re.compile(rf"\.queen-outcomes-{_HOST}-(\d+)-\w+?(?:-was-(.+))?", re.DOTALL)
_numbers = itertools.count()
_in_use: set[Path] = set()


# -- where


def refuse_kept_places(station: Path, *targets: Path | None) -> None:
    """Refuse to write into a station's records, builds or seasons because a flag says so.

    Parameters
    ----------
    station : Path
        The station's folder. Any other station's is as safe.
    *targets : Path or None
        Files or folders that the user named; None is passed over.

    Raises
    ------
    UsageError
        One of them is such a folder or lies in it, whatever links lead there; or the
        folder that it should stand in is not there.
    """
    for target in targets:
        if target is None:
            continue
        place = target.resolve()
        others = (above for above in place.parents if (above / SETTINGS).is_file())
        for home in (station, *others):
            _refuse_kept(home, place, target)
        if not place.parent.is_dir():
            raise UsageError(
                "the folder to write into is not there",
                found=f"{target}, and no folder {place.parent}",
                hint=f"make the folder {target.parent} first, or name another place",
            )


def _refuse_kept(station: Path, place: Path, target: Path) -> None:
    for name, holds in KEPT.items():
        if place.is_relative_to((station / name).resolve()):
            raise UsageError(
                f"nothing is written into {name}/",
                found=str(target),
                expected=f"a place outside it: it holds {holds}",
                hint="name another place, such as one beside the station's folder",
            )


# -- how


def write_files(
    files: Mapping[Path, str | bytes], mode: int | None = None
) -> list[Path]:
    """Write files so that each is whole or stays as it was.

    All are made before the first takes its place, so that a full disk changes none. Links
    are followed, and what is no file (a pipe) is written to as it is.

    Parameters
    ----------
    files : mapping of Path to str or bytes
        Text is written as UTF-8, its line ends as they are.
    mode : int, optional
        The files' rights; else those of the file before, else the usual ones.

    Returns
    -------
    list of Path
        As they were named.
    """
    made: list[tuple[Path, Path]] = []
    try:
        for name, content in files.items():
            data = content.encode() if isinstance(content, str) else content
            place = name.resolve()
            if place.exists() and not place.is_file():
                place.write_bytes(data)
                continue
            with _named(name):
                clear_leftovers(place.parent)
                made.append((_hidden(place.parent), place))
                _write_new(made[-1][0], data, place, mode)
        for hidden, place in made:
            hidden.replace(place)
        for folder in {place.parent for _, place in made}:
            sync(folder)
    finally:
        for hidden, _ in made:
            hidden.unlink(missing_ok=True)
            _in_use.discard(hidden)
    return list(files)


def _write_new(hidden: Path, data: bytes, place: Path, mode: int | None) -> None:
    if mode is None and place.exists():  # who could read it before can still
        mode = place.stat().st_mode & 0o777
    with hidden.open("xb") as file:
        if mode is not None:
            os.fchmod(file.fileno(), mode)
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


@contextmanager
def new_folder(target: Path) -> Iterator[Path]:
    """Fill a folder that takes the place of a target once it is whole.

    Parameters
    ----------
    target : Path
        A folder, or nothing yet. What stands there is removed: whoever calls has made
        sure that it may be.

    Yields
    ------
    Path
        An empty folder beside it. What is written there takes the target's place when the
        block ends; after an error it is removed, and the target is as it was.

    Notes
    -----
    A process killed between the two renames of a replacement leaves the target absent; the
    next command that writes beside it puts the former one back. A folder that somebody stands
    in, or that is a disk's own, stays itself and is filled file by file at the end.
    """
    place = target.resolve()
    with _named(target):
        clear_leftovers(place.parent)
        hidden = _hidden(place.parent)
        hidden.mkdir()
    try:
        with _named(target, hidden):
            yield hidden
            sync_tree(hidden)
            _take_place(hidden, place)
            sync(place.parent)
    finally:
        shutil.rmtree(hidden, ignore_errors=True)
        _in_use.discard(hidden)


def _take_place(hidden: Path, place: Path) -> None:
    if place.is_dir():
        hidden.chmod(place.stat().st_mode & 0o777)
        # whoever stands in the folder would be left in one that is gone, and a disk's own
        # folder cannot be renamed
        if place.is_mount() or _stands_in(place):
            _empty(place)
            for path in sorted(hidden.iterdir()):
                shutil.move(path, place / path.name)
            sync(place)
            return
    if not place.is_dir() or not any(place.iterdir()):
        hidden.replace(place)
        return
    was = hidden.with_name(f"{hidden.name}-was-{place.name}")
    _in_use.add(was)
    place.replace(was)
    try:
        hidden.replace(place)
    except BaseException:
        was.replace(place)
        raise
    finally:
        shutil.rmtree(was, ignore_errors=True)
        _in_use.discard(was)


def _stands_in(place: Path) -> bool:
    """Tell whether this process stands in a folder; one that is removed is none."""
    try:
        return Path.cwd().is_relative_to(place)
    except FileNotFoundError:
        return False


def _empty(folder: Path) -> None:
    for path in sorted(folder.iterdir()):
        remove(path)


def _hidden(folder: Path) -> Path:
    path = folder / f"{_HIDDEN}-{_HOST}-{os.getpid()}-{next(_numbers)}"
    _in_use.add(path)
    return path


@contextmanager
def _named(target: Path, hidden: Path | None = None) -> Iterator[None]:
    """Have an error name what the user named, not the hidden place beside it."""
    try:
        yield
    except OSError as problem:
        named = problem.filename
        if hidden is None or named is None or str(named).startswith(str(hidden)):
            problem.filename, problem.filename2 = str(target), None
        raise


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """Give a folder among the system's temporary ones, removed in the end.

    What killed commands left there is removed first.
    """
    place = Path(tempfile.gettempdir()).resolve()
    clear_leftovers(place)
    # made by its own means: in a folder of all, nobody may foretell the name
    hidden = Path(
        tempfile.mkdtemp(prefix=f"{_HIDDEN}-{_HOST}-{os.getpid()}-", dir=place)
    )
    _in_use.add(hidden)
    try:
        yield hidden
    finally:
        shutil.rmtree(hidden, ignore_errors=True)
        _in_use.discard(hidden)


def clear_leftovers(folder: Path) -> None:
    """Remove what commands that are dead left in a folder; put back what they had moved."""
    for path in sorted(folder.glob(f"{_HIDDEN}-*")):
        left = _LEFT.fullmatch(path.name)
        if left is None or path in _in_use or _runs(int(left[1])):
            continue
        with suppress(OSError):  # another's in a folder of all, or just cleared
            if left[2] and not (folder / left[2]).exists():
                path.replace(folder / left[2])
            else:
                remove(path)


def _runs(pid: int) -> bool:
    """Tell whether a process lives; our own number says nothing (see `_in_use`)."""
    if pid == os.getpid():
        return False
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def remove(path: Path) -> None:
    """Remove a file, a link or a folder with all that is in it."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def sync(path: Path) -> None:
    """Have the disk hold a file, or what a folder lists, before going on."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_tree(folder: Path) -> None:
    """Have the disk hold a folder and everything below it."""
    for path in sorted(folder.rglob("*")):
        if not path.is_symlink():
            sync(path)
    sync(folder)
