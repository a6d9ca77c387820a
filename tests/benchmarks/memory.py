"""How much memory a build takes: the whole process tree, and what waits on disk.

    python tests/benchmarks/memory.py [--courses 100000] [--memory "4 GB"] [--until rates]
                                      [--format parquet] [--place DIR]

A row a size: seconds, the most resident memory of all processes of the build together at
one moment, after how many seconds that was (the log has the steps), and the most that
DuckDB had put on disk. Records are made once and kept in
DIR. A build that takes longer than `--longest` is stopped, and has a code that is not 0;
its log lies beside the records. Linux only: it looks into /proc.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TOOL = Path(sys.executable).with_name("queen-outcomes")
AS_OF = "2026-10-01"
PAUSE_S = 0.2
PAGE = os.sysconf("SC_PAGE_SIZE")


def resident(root: int) -> int:
    """Give the bytes that a process and all below it hold in memory."""
    parents, sizes = {}, {}
    for folder in Path("/proc").iterdir():
        if not folder.name.isdigit():
            continue
        try:
            told = (folder / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue  # it has ended meanwhile
        parents[int(folder.name)] = int(told[1])
        sizes[int(folder.name)] = int(told[21]) * PAGE
    tree, grown = {root}, True
    while grown:
        more = {one for one, above in parents.items() if above in tree} - tree
        tree, grown = tree | more, bool(more)
    return sum(sizes.get(one, 0) for one in tree)


def waiting(build: Path) -> int:
    """Give the bytes of what DuckDB has put on disk."""
    total = 0
    for path in build.glob("*/.spill/*"):
        try:
            total += path.stat().st_blocks * 512
        except OSError:
            continue
    return total


def measure(station: Path, until: str | None, longest: float) -> dict[str, float]:
    """Build once, looking at the process tree all the while; stop it after so long."""
    words = [str(TOOL), "build", str(station)]
    words += ["--until", until] if until else []
    begin = time.monotonic()
    with (station / "build.log").open("w") as log:
        build = subprocess.Popen(words, stdout=log, stderr=log)
        most, when, spilled = 0, 0.0, 0
        while build.poll() is None:
            now = resident(build.pid)
            if now > most:
                most, when = now, time.monotonic() - begin
            spilled = max(spilled, waiting(station / "build"))
            if time.monotonic() - begin > longest:
                build.terminate()
            time.sleep(PAUSE_S)
    return {
        "seconds": time.monotonic() - begin,
        "peak": most / 1e9,
        "when": when,
        "spilled": spilled / 1e9,
        "code": build.returncode,
    }


def make(place: Path, courses: int, form: str, memory: str | None) -> Path:
    """Make the station, unless its records are there already."""
    station = place / f"{courses}-{form}"
    records = station / "records"
    if not records.exists():
        records.mkdir(parents=True)
        words = [sys.executable, str(ROOT / "demo" / "large.py"), str(records)]
        words += ["--courses", str(courses), "--format", form]
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
    limit = f'memory = "{memory}"\n' if memory else ""
    text = f"as_of = {AS_OF}\n{limit}"
    (station / "station.toml").write_text(text, encoding="utf-8")
    return station


def main() -> int:
    """Measure each size and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--courses", nargs="+", type=int, default=[100_000])
    asked.add_argument("--memory", help='the setting, as "4 GB"; else the default')
    asked.add_argument("--until", help="stop after this step, such as rates")
    asked.add_argument("--longest", type=float, default=24 * 3600.0, help="seconds")
    asked.add_argument("--format", choices=("parquet", "csv"), default="parquet")
    asked.add_argument("--place", type=Path, default=Path(tempfile.gettempdir()) / "qo")
    given = asked.parse_args()
    print(
        f"{'courses':>11} {'until':>8} {'memory':>8} {'seconds':>8} {'peak GB':>8} "
        f"{'at s':>8} {'on disk GB':>10} {'code':>5}"
    )
    failed = False
    for courses in given.courses:
        station = make(given.place, courses, given.format, given.memory)
        found = measure(station, given.until, given.longest)
        failed |= found["code"] != 0
        print(
            f"{courses:11,} {given.until or 'draw':>8} {given.memory or '-':>8} "
            f"{found['seconds']:8.0f} {found['peak']:8.2f} {found['when']:8.0f} "
            f"{found['spilled']:10.2f} {found['code']:5}",
            flush=True,
        )
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
