"""Memory that nothing uses any more goes back to the system."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys

import pytest
from queen_outcomes.base import memory

MEASURED = """
from pathlib import Path
from queen_outcomes.base.memory import give_back

def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096

held = [bytearray(b"x" * 50_000) for _ in range(2_000)]
last = held[-1]  # lies behind the others, so that the library keeps their place
held.clear()
before = resident()
give_back()
print(before - resident())
"""


@pytest.mark.skipif(
    sys.platform != "linux" or not hasattr(ctypes.CDLL(None), "malloc_trim"),
    reason="the C library does as it likes",
)
def test_what_many_arrays_leave_behind_is_given_back():
    words = [sys.executable, "-c", MEASURED]
    told = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    assert int(told) > 50_000_000


MACHINE = 16 * 2**30
UNIFIED = "sys/fs/cgroup"


@pytest.mark.parametrize(
    ("groups", "files", "bytes_there"),
    [
        ("", {}, MACHINE),
        ("0::/", {f"{UNIFIED}/memory.max": "max"}, MACHINE),
        ("0::/", {f"{UNIFIED}/memory.max": "2147483648"}, 2**31),
        # of a group and of those that it is in, the least
        ("0::/a/b", {f"{UNIFIED}/a/memory.max": "4096", f"{UNIFIED}/a/b/memory.max": "9999"}, 4096),
        # a container that is told the host's path
        ("0::/docker/x", {f"{UNIFIED}/memory.max": "4096"}, 4096),
        ("3:cpu:/a\n9:memory:/a", {f"{UNIFIED}/memory/a/memory.limit_in_bytes": "8192"}, 8192),
        ("9:memory:/", {f"{UNIFIED}/memory/memory.limit_in_bytes": str(2**63 - 4096)}, MACHINE),
    ],
)  # fmt: skip
def test_a_group_of_processes_may_take_less_than_the_machine_has(
    tmp_path, monkeypatch, groups, files, bytes_there
):
    pages = {"SC_PAGE_SIZE": 4096, "SC_PHYS_PAGES": MACHINE // 4096}
    monkeypatch.setattr(os, "sysconf", pages.__getitem__)
    for name, text in {"proc/self/cgroup": groups, **files}.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text + "\n", encoding="utf-8")
    assert memory.whole(tmp_path) == bytes_there


def thresholds() -> tuple[int, ...]:
    """Give after how many objects this process looks for circles; a worker's task."""
    import gc

    return gc.get_threshold()


def test_workers_look_for_circles_seldom():
    from queen_outcomes.base.workers import Workers

    with Workers(2) as workers:
        found = workers.submit(thresholds).result()
    assert found == memory.SELDOM


def test_what_is_kept_for_good_is_never_looked_through():
    import gc

    was = gc.get_threshold()
    before = gc.get_freeze_count()
    try:
        with memory.kept_for_good():
            assert not gc.isenabled()
            made = [[] for _ in range(1_000)]
        assert gc.isenabled()
        assert gc.get_freeze_count() >= before + len(made)
    finally:
        gc.unfreeze()
    assert gc.get_threshold() == was
