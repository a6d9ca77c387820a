"""Measures the build from records to rates, against one plain scan of the same files.

    python tests/benchmarks/weekly_build.py --courses 100000 1000000 --repeats 5

Makes the records with the demo's generator (kept in --place, so a second run is quicker),
runs the steps read, check, derive and rates in a fresh process each time on two threads,
and prints seconds a step, peak memory, and the ratio to one DuckDB statement that scans
and groups the same files. Start-up is what a station of three queens takes. Growth is the
time of the largest over the smallest, start-up apart, over the ratio of their sizes.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
AS_OF = dt.date(2026, 9, 30)
STEPS = ("read", "check", "derive", "rates")


def make_records(place: Path, courses: int, form: str) -> Path:
    """Make a station of so many courses, unless it is there."""
    station = place / f"{courses}-{form}"
    if not (station / "station.toml").exists():
        program = [sys.executable, str(ROOT / "demo" / "large.py")]
        words = [str(station / "records"), "--courses", str(courses)]
        subprocess.run([*program, *words, "--format", form], check=True)
        settings = f'name = "Benchmark"\nas_of = {AS_OF}\n'
        (station / "station.toml").write_text(settings, encoding="utf-8")
    return station


def run_once(station: Path) -> dict:
    """Run the steps in this process; give seconds a step and peak memory."""
    from queen_outcomes.base.store import Store
    from queen_outcomes.build import steps
    from queen_outcomes.build import weekly as build
    from queen_outcomes.facts import settings

    chosen = settings.load(station)
    seconds = {}
    with tempfile.TemporaryDirectory(dir=station) as scratch:
        path = Path(scratch) / "station.duckdb"
        with Store(path, threads=2, memory=build.memory_limit(chosen)) as store:
            work = steps.Work(
                store, station / "records", Path(scratch), chosen, chosen.as_of
            )
            for step in steps.STEPS:
                if step.name in STEPS:
                    begin = time.perf_counter()
                    step.run(work)
                    seconds[step.name] = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    return {"seconds": seconds, "total": sum(seconds.values()), "peak_gib": peak}


def scan_once(station: Path) -> dict:
    """Scan and group the same files with one plain statement."""
    import duckdb

    folder = station / "records" / "checks"
    form = station.name.rpartition("-")[2]
    begin = time.perf_counter()
    with duckdb.connect(config={"threads": 2}) as con:
        con.execute(
            "SELECT queen_id, count(*), min(checked_on), max(checked_on), "
            "count(eggs), count(larvae), count(sealed), max(pattern_pct) "
            f"FROM '{folder}/*.{form}' GROUP BY queen_id"
        ).fetchmany(1)
        con.execute(
            f"SELECT operator, count(*), avg(dose_ul) FROM '{folder.parent}/"
            f"inseminations/*.{form}' GROUP BY operator"
        ).fetchall()
    return {"total": time.perf_counter() - begin}


def in_fresh_process(what: str, station: Path) -> dict:
    """Measure in a process of its own, so that memory and imports start anew."""
    words = [sys.executable, __file__, "--one", what, str(station)]
    done = subprocess.run(words, check=True, capture_output=True, text=True)
    return json.loads(done.stdout.splitlines()[-1])


def tiny(place: Path) -> Path:
    """Make a station of three queens, for the time that start-up takes."""
    station = place / "tiny"
    records = station / "records"
    records.mkdir(parents=True, exist_ok=True)
    (station / "station.toml").write_text(f"as_of = {AS_OF}\n", encoding="utf-8")
    rows = "".join(f"Q{n},2026-06-0{n}\n" for n in (1, 2, 3))
    for name, day in (("inseminations", "inseminated_at"), ("checks", "checked_on")):
        text = f"queen_id,{day}\n{rows}"
        (records / f"{name}.csv").write_text(text, encoding="utf-8")
    return station


def measure(station: Path, repeats: int) -> dict:
    """Give medians over repeated runs."""
    runs = [in_fresh_process("build", station) for _ in range(repeats)]
    scans = [in_fresh_process("scan", station)["total"] for _ in range(repeats)]
    total = statistics.median(run["total"] for run in runs)
    steps = {
        name: statistics.median(run["seconds"][name] for run in runs) for name in STEPS
    }
    peak = max(run["peak_gib"] for run in runs)
    scan = statistics.median(scans)
    return {"total": total, "steps": steps, "peak": peak, "scan": scan}


def report(label: str, found: dict) -> None:
    """Print one line of figures."""
    steps = "  ".join(f"{name} {found['steps'][name]:.1f}" for name in STEPS)
    print(
        f"{label:>16}: {found['total']:7.1f} s ({steps})  peak {found['peak']:.2f} GiB  "
        f"{found['total'] / found['scan']:.0f} x a plain scan of {found['scan']:.2f} s",
        flush=True,
    )


def main() -> None:
    """Read the command line and print the figures."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--courses", nargs="+", type=int, default=[100_000, 1_000_000])
    words.add_argument("--repeats", type=int, default=5)
    words.add_argument("--format", choices=("parquet", "csv"), default="parquet")
    words.add_argument("--place", type=Path, default=Path(tempfile.gettempdir()) / "qo")
    words.add_argument("--one", nargs=2, metavar=("WHAT", "STATION"))
    given = words.parse_args()
    if given.one:
        what, station = given.one
        run = run_once if what == "build" else scan_once
        print(json.dumps(run(Path(station))))
        return
    start = statistics.median(
        in_fresh_process("build", tiny(given.place))["total"]
        for _ in range(given.repeats)
    )
    print(f"start-up: {start:.1f} s, medians of {given.repeats}", flush=True)
    totals = {}
    for courses in sorted(given.courses):
        station = make_records(given.place, courses, given.format)
        found = measure(station, given.repeats)
        report(f"{courses:,} {given.format}", found)
        totals[courses] = found["total"] - start
    small, large = min(totals), max(totals)
    if small < large:
        growth = totals[large] / totals[small] / (large / small)
        print(f"growth from {small:,} to {large:,}: {growth:.2f} times proportional")


if __name__ == "__main__":
    main()
