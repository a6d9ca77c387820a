"""Every command on a disk that fills up at some point of its work.

    python tests/faults/full_disk.py [STATION] [--times 8] [--seed 1]

Needs the right to mount a small file system in memory (root on Linux); without it the
campaign says so and ends with 0. STATION is a built station, which is copied onto a disk
with a random amount of free space; without it a small one is made. After each command
`latest` must open, what it was asked to write must be whole or absent, and a command that
found no room must say so and end with 2 or 5, without a traceback. Ends with 1 when any
failed.
"""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import campaign

ROOM = {"build": 1.2, "export": 0.4, "check": 0.05, "new": 0.05}
"""Free space drawn up to this share of a build's size; 0.1 for the others."""


@contextmanager
def small_disk(size: int) -> Iterator[Path | None]:
    """Mount a file system of so many bytes; None: it is not allowed here."""
    with tempfile.TemporaryDirectory() as place:
        words = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", place]
        if shutil.which("mount") is None or subprocess.run(
            words, capture_output=True, check=False
        ).returncode:
            yield None
            return
        try:
            yield Path(place)
        finally:
            subprocess.run(["umount", place], check=False)


def try_command(name: str, source: Path, free: int, queen: str) -> str | None:
    """Run a command where so many bytes are free; give what was wrong; None: no mounts."""
    used = sum(path.lstat().st_blocks * 512 for path in source.rglob("*"))
    with small_disk(used + free + 2**20) as disk:
        if disk is None:
            return None
        station = disk / "station"
        shutil.copytree(source, station, symlinks=True)
        before = campaign.records_digest(station)
        out = disk / "out"
        out.mkdir()
        words = campaign.commands(station, out, queen)[name]
        done = subprocess.run(
            [campaign.TOOL, *words, "--quiet"],
            capture_output=True,
            text=True,
            check=False,
            timeout=300,
        )
        if "Traceback" in done.stderr or done.returncode not in (0, 1, 2, 4, 5):
            return f"code {done.returncode}: {done.stderr[-300:]}"
        if done.returncode in (2, 5) and "error:" not in done.stderr:
            return "no word of it"
        return campaign.what_is_wrong(station, out, before)


def main() -> int:
    """Fill disks and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("station", type=Path, nargs="?")
    asked.add_argument("--times", type=int, default=8, help="of each command")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", default="", help="commands, with commas between")
    asked.add_argument("--seconds", type=float, default=1e9, help="stop trying after so long")
    asked.add_argument("--row", type=Path, help="the table of campaigns to write into")
    asked.add_argument("--queen", default=campaign.QUEEN)
    given = asked.parse_args()
    draw, until = random.Random(given.seed), time.monotonic() + given.seconds
    tried: dict[str, int] = {}
    failed: dict[str, Counter[str]] = {}
    with campaign.station_copy(given.station) as source:
        latest = (source / "build" / "latest").resolve()
        size = sum(path.stat().st_size for path in latest.rglob("*"))
        for name in campaign.commands(source, source, given.queen):
            if given.only and name not in given.only.split(","):
                continue
            tried[name], failed[name] = 0, Counter()
            for _ in range(given.times):
                if time.monotonic() > until:
                    break
                free = int(size * ROOM.get(name, 0.1) * draw.random())
                found = try_command(name, source, free, given.queen)
                if found is None:
                    print("skipped: no file system may be mounted here")
                    return 0
                tried[name] += 1
                if found:
                    failed[name][found] += 1
    return campaign.tell("command on a full disk", tried, failed, row=given.row)


if __name__ == "__main__":
    sys.exit(main())
