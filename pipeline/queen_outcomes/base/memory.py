"""How much memory there is; what has been let go of; and how often that is looked for."""

from __future__ import annotations

import ctypes
import gc
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

UNIFIED, OF_MEMORY = "memory.max", "memory.limit_in_bytes"
"""Where a group of processes has its limit, by the kernel's second and first hierarchy."""


def whole(root: Path = Path("/")) -> int:
    """Give how many bytes this process may take.

    Parameters
    ----------
    root : Path
        Where the system's own files lie.

    Returns
    -------
    int
        Those of the machine, or of the group of processes that this one is in, as a
        container is, where that may take fewer.
    """
    machine = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    return min([machine, *_limits(root)])


def _limits(root: Path) -> list[int]:
    """Give the limits of the process's groups, and of those that these are in."""
    found = []
    for line in _text(root / "proc/self/cgroup").splitlines():
        _, _, named = line.partition(":")
        kind, _, path = named.partition(":")
        if kind not in ("", "memory"):
            continue
        top, name = root / "sys/fs/cgroup" / kind, OF_MEMORY if kind else UNIFIED
        own = top / path.strip("/")
        # inside a container the path is the host's, and its own limit stands at the top
        above = [at for at in (own, *own.parents) if at.is_relative_to(top)]
        found += [_text(at / name).strip() for at in above]
    return [int(limit) for limit in found if limit.isdecimal()]


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError):
        return ""


def give_back() -> None:
    """Give the system the memory that nothing uses any more.

    The C library keeps what arrays leave behind for arrays to come, and a build's steps
    need theirs one after the other: without this the largest of each adds up over the
    build and its workers. Where the library is another one it does as it likes.
    """
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None) if sys.platform == "linux" else None
    if trim is not None:
        trim(0)


SELDOM = (50_000, 20, 100)
"""New objects, and rounds over younger ones, after which objects in circles are looked for."""


def collect_seldom() -> None:
    """Look for objects that only each other hold less often than Python does by itself.

    There are hardly any here, and looking through all modules that are loaded takes a tenth
    of a build's time.
    """
    gc.set_threshold(*SELDOM)


@contextmanager
def kept_for_good() -> Iterator[None]:
    """Look through nothing that is made in the block, now or later: modules, for one."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if was_on:
            gc.enable()
