"""Where a build's time and memory go, beside a plain scan of the same files.

    python tests/benchmarks/build_profile.py --courses 2400 20000 100000
    python tests/benchmarks/build_profile.py --courses 1000000 --until rates --repeats 5

Makes the records with the demo's generator (kept in --place, so a second run is quicker)
and runs the installed command on them in processes of its own, as a station does: a first
build, and with --again the same once more, when nothing has changed. A row a station:
medians of the seconds of every step, of what is outside them (starting, closing, ending)
and of the whole, which they add up to; the spread of the whole; the largest sum of the
resident memory of all its processes; and how many times a plain scan takes that reads and
groups the same files. Growth is how much more than in proportion the largest takes.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
AS_OF = dt.date(2026, 9, 30)
OUTSIDE = "outside"


def make_records(place: Path, courses: int, form: str) -> Path:
    """Make a station of so many courses, unless it is there."""
    station = place / f"{courses}-{form}"
    if not (station / "station.toml").exists():
        program = [sys.executable, str(ROOT / "demo" / "large.py")]
        words = [str(station / "records"), "--courses", str(courses)]
        subprocess.run(
            [*program, *words, "--format", form], check=True, stdout=subprocess.DEVNULL
        )
        settings = f'name = "Benchmark"\nas_of = {AS_OF}\n'
        (station / "station.toml").write_text(settings, encoding="utf-8")
    return station


def resident(pid: int) -> int:
    """Give the resident bytes of a process and all it started."""
    try:
        status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
        tasks = list(Path(f"/proc/{pid}/task").iterdir())
        own = [line.split()[1] for line in status.splitlines() if "VmRSS" in line]
        children = [
            child
            for task in tasks
            for child in (task / "children").read_text(encoding="utf-8").split()
        ]
    except (FileNotFoundError, ProcessLookupError):  # it ended in the meantime
        return 0
    return sum(1024 * int(size) for size in own) + sum(
        resident(int(child)) for child in children
    )


class Watch(threading.Thread):
    """Looks at a process's memory ten times a second."""

    def __init__(self, pid: int) -> None:
        super().__init__(daemon=True)
        self.pid, self.peak = pid, 0

    def run(self) -> None:
        """Look until the process is gone."""
        while found := resident(self.pid):
            self.peak = max(self.peak, found)
            time.sleep(0.1)


def build(command: str, station: Path, until: str | None) -> dict[str, float]:
    """Build once; give the seconds of each step and of the whole, and the peak in GiB."""
    words = [command, "build", str(station), "--json"]
    words += ["--until", until] if until else []
    begin = time.perf_counter()
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as run:
        watch = Watch(run.pid)
        watch.start()
        told = run.stdout.read()
    whole = time.perf_counter() - begin
    if run.returncode:
        sys.exit(f"{' '.join(words)}: exit {run.returncode}")
    found = {row["step"]: row["seconds"] for row in json.loads(told)["steps"]}
    outside = whole - sum(found.values())
    return {**found, OUTSIDE: outside, "whole": whole, "GiB": watch.peak / 2**30}


def scan(station: Path) -> float:
    """Read and group the same files with plain statements; give the seconds."""
    import duckdb

    records, form = station / "records", station.name.rpartition("-")[2]
    begin = time.perf_counter()
    with duckdb.connect() as con:
        con.execute(
            "SELECT queen_id, count(*), min(checked_on), max(checked_on), "
            "count(eggs), count(larvae), count(sealed), max(pattern_pct) "
            f"FROM '{records}/checks/*.{form}' GROUP BY queen_id"
        ).fetchmany(1)
        con.execute(
            f"SELECT operator, count(*), avg(dose_ul) "
            f"FROM '{records}/inseminations/*.{form}' GROUP BY operator"
        ).fetchall()
    return time.perf_counter() - begin


def measure(given: argparse.Namespace, station: Path) -> dict[str, list[dict]]:
    """Build so many times, each time from nothing, then with --again unchanged."""
    runs: dict[str, list[dict]] = {"first": [], "unchanged": []}
    for _ in range(given.repeats):
        for left in ("build", "seasons"):
            shutil.rmtree(station / left, ignore_errors=True)
        runs["first"].append({**build(given.command, station, given.until)})
        if given.again:
            # the second reads what the first fixed for the season
            build(given.command, station, None)
            runs["unchanged"].append(build(given.command, station, None))
    return {kind: found for kind, found in runs.items() if found}


def show(rows: list[dict[str, str]]) -> None:
    """Print a table."""
    names = list(rows[0])
    widths = {n: max(len(n), *(len(row.get(n, "")) for row in rows)) for n in names}
    for row in [dict(zip(names, names, strict=True)), *rows]:
        print("  ".join(row.get(n, "").rjust(widths[n]) for n in names), flush=True)


def main() -> None:
    """Read the command line and print the table."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument(
        "--courses", nargs="+", type=int, default=[2400, 20_000, 100_000]
    )
    words.add_argument("--repeats", type=int, default=1)
    words.add_argument("--until", help="stop after this step, such as rates")
    words.add_argument("--again", action="store_true", help="an unchanged build too")
    words.add_argument("--format", choices=("parquet", "csv"), default="parquet")
    words.add_argument("--place", type=Path, default=Path(tempfile.gettempdir()) / "qo")
    own = Path(sys.executable).with_name("queen-outcomes")
    words.add_argument("--command", default=str(own), help="the installed command")
    given = words.parse_args()
    rows, wholes = [], {}
    for courses in sorted(given.courses):
        station = make_records(given.place, courses, given.format)
        floor = statistics.median(scan(station) for _ in range(max(given.repeats, 3)))
        for kind, runs in measure(given, station).items():
            half = {n: statistics.median(run[n] for run in runs) for n in runs[0]}
            spread = [run["whole"] for run in runs]
            row = {"courses": f"{courses:,}", "build": kind}
            row |= {n: f"{half[n]:.1f}" for n in half if n != "GiB"}
            row["from-to"] = f"{min(spread):.1f}-{max(spread):.1f}"
            row["GiB"] = f"{max(run['GiB'] for run in runs):.2f}"
            row["x scan"] = f"{half['whole'] / floor:.0f}"
            rows.append(row)
            wholes.setdefault(kind, {})[courses] = half["whole"]
    show(rows)
    first = wholes["first"]
    small, large = min(first), max(first)
    if small < large:
        growth = first[large] / first[small] / (large / small)
        print(f"growth from {small:,} to {large:,}: {growth:.2f} times proportional")


if __name__ == "__main__":
    main()
