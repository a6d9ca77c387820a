"""Measures how often the limits that the pages show hold the truth, on made stations.

    python tests/benchmarks/recovery --stations 2000 --seed 1 --out /tmp/recovery.jsonl
    python tests/benchmarks/recovery --stations 2000 --seed 1 --out /tmp/recovery.jsonl \
        --report reports/text/recovery.csv

Simulates stations of about 600 courses from the demo's generator, runs the product's own
derivations and methods on each, and sets what they say beside the truth. A station is one
line of the file; a run that was broken off goes on where it stopped. With --report the
table is written and shown: coverage of 95 % limits with its Monte-Carlo band, means, true
values and bias. Beside the file are kept the courses (for the limit that the adjusted
model itself tends to) and the true values.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, as the command does

ROOT = Path(__file__).resolve().parents[3]
for place in (ROOT, ROOT / "tests" / "benchmarks", ROOT / "tests" / "support"):
    if str(place) not in sys.path:
        sys.path.insert(0, str(place))

import polars as pl  # noqa: E402
from recovery.ledger import read  # noqa: E402
from recovery.limit import fitted_limit  # noqa: E402
from recovery.run import rows_folder, run  # noqa: E402
from recovery.table import as_markdown, make_table  # noqa: E402
from recovery.truths import simulate_truth  # noqa: E402
from recovery.world import MOST_STATIONS, PARAMETERS, World  # noqa: E402

TRUE_COURSES = 1_000_000


def read_words(arguments: list[str]) -> argparse.Namespace:
    """Read the command line."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--stations", type=int, default=2_000)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--out", type=Path, required=True)
    words.add_argument("--report", type=Path)
    words.add_argument("--courses", type=int, default=World.courses)
    words.add_argument("--graft-size", type=int, default=World.graft_size)
    words.add_argument("--graft-sd", type=float, default=World.graft_sd)
    words.add_argument(
        "--planted", action="store_true", help="keep the drifting hand and bad graft"
    )
    words.add_argument(
        "--without", nargs="*", choices=sorted(PARAMETERS), default=World.without
    )
    given = words.parse_args(arguments)
    if not 1 <= given.stations <= MOST_STATIONS:
        words.error(f"--stations must be 1 to {MOST_STATIONS}")
    return given


def command_of(given: argparse.Namespace) -> str:
    """Give the command that makes the same figures anywhere."""
    said = [f"--stations {given.stations}", f"--seed {given.seed}"]
    if given.courses != World.courses:
        said.append(f"--courses {given.courses}")
    if given.graft_size != World.graft_size:
        said.append(f"--graft-size {given.graft_size}")
    if given.graft_sd != World.graft_sd:
        said.append(f"--graft-sd {given.graft_sd}")
    if given.planted:
        said.append("--planted")
    if tuple(given.without) != World.without:
        said.append("--without " + " ".join(given.without))
    return "python tests/benchmarks/recovery " + " ".join(said)


def true_values(world: World, out: Path) -> dict:
    """Give the true values, simulated once and kept beside the file."""
    stations = -(-TRUE_COURSES // world.courses)
    begun = {"world": world.told(), "stations": stations}
    path = out.with_name(out.stem + "-truth.json")
    if path.exists():
        held = json.loads(path.read_text(encoding="utf-8"))
        if {name: held[name] for name in begun} == begun:
            return held["truth"]
    truth = simulate_truth(world, stations)
    path.write_text(json.dumps({**begun, "truth": truth}, indent=1), encoding="utf-8")
    return truth


def report(world: World, given: argparse.Namespace) -> None:
    """Write the table, and show it."""
    stations = [row for row in read(given.out) if "station" in row]
    stations = [row for row in stations if row["station"] < given.stations]
    limit = fitted_limit(rows_folder(given.out))
    truth = true_values(world, given.out)
    table = make_table(stations, truth, list(world.without), limit)
    print(as_markdown(table))
    if limit:
        print(f"\nThe adjusted difference's own limit: {limit}")
    head = {
        "made_on": dt.datetime.now(dt.UTC).date().isoformat(),
        "command": command_of(given),
        "stations_run": len(stations),
        "courses_a_station": world.courses,
    }
    whole = table.select(
        *(pl.lit(value).alias(name) for name, value in head.items()), pl.all()
    )
    whole.write_csv(given.report, float_precision=6)


def main(arguments: list[str]) -> int:
    """Measure what is missing, and report if asked to."""
    given = read_words(arguments)
    choices = ("courses", "graft_size", "graft_sd", "planted")
    world = World(
        **{name: getattr(given, name) for name in choices},
        without=tuple(given.without),
    )
    made = run(world, given.seed, given.stations, given.out)
    print(f"{made} stations measured", flush=True)
    if given.report:
        report(world, given)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
