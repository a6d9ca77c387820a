"""Stations in their first weeks, through every command: does any end as it may not?

    python tests/faults/small_builds.py [--stations 100] [--first 0] [--seconds 3000]
                                        [--row reports/text/campaigns.csv]

Each is built, built again as of an earlier day and as it was, and asked by `audit`, `compare`,
`due`, `explain`, `plan` and `export`, in this process. None may end with a fault of the tool,
each queen must have her course, and a station's number makes it again (`--show DIR`). Ends
with 1 when any failed.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import campaign
import duckdb
from queen_outcomes.commands import cli
from small_stations import write_small

ENDS = {
    "build": (0,),
    "audit": (0, 4),
    "compare": (0, 4),
    "due": (0,),
    "explain": (0,),
    "plan": (0, 2, 4),
    "export": (0,),
}
"""Codes that a command may end with on sound records, however few."""
EARLIER = "2026-06-01"


def run(words: list[str]) -> tuple[int, str]:
    """Run a command in this process; give its code and what it said."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = cli.run([words[0], *words[1:], "--quiet"])
    return code, err.getvalue()


def commands(station: Path) -> list[list[str]]:
    """Give the commands in the order of a week."""
    place = str(station)
    return [
        ["build", place, "--as-of", EARLIER],
        ["build", place],
        ["build", place],
        ["audit", place],
        ["compare", place],
        ["due", place],
        ["explain", place, "Q00"],
        ["plan", place, "--arm", "a=8", "--arm", "b=12", "--difference", "0.1"],
        ["export", place, str(station.parent / "export")],
    ]


def try_station(number: int, place: Path) -> Counter[str]:
    """Give what was wrong with one station, each in words."""
    wrong: Counter[str] = Counter()
    queens = write_small(place, number)
    for words in commands(place):
        code, said = run(words)
        if code not in ENDS[words[0]] or "Traceback" in said:
            last = [line for line in said.splitlines() if line.startswith("error")]
            told = last[-1] if last else said[-200:]
            wrong[f"{words[0]} ended with {code}: {told}"[:200]] += 1
            if words[0] == "build":
                return wrong
        elif words == ["build", str(place)]:
            kept = place / "build" / "latest" / "station.duckdb"
            with duckdb.connect(kept, read_only=True) as store:
                ((courses,),) = store.sql("SELECT count(DISTINCT queen_id) FROM courses").fetchall()
            if courses != queens:
                wrong[f"{courses} queens have a course, {queens} were inseminated"] += 1
    return wrong


def main() -> int:
    """Run the campaign and print its table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--stations", type=int, default=100)
    asked.add_argument("--first", type=int, default=0)
    asked.add_argument("--seconds", type=float, default=3000)
    asked.add_argument("--row", type=Path)
    asked.add_argument("--show", type=Path)
    given = asked.parse_args()
    if given.show:
        write_small(given.show, given.first)
        return 0
    tried, wrong, until = 0, Counter(), time.time() + given.seconds
    for number in range(given.first, given.first + given.stations):
        if time.time() > until:
            break
        with tempfile.TemporaryDirectory() as scratch:
            found = try_station(number, Path(scratch) / "station")
        tried += 1
        for what in found:
            print(f"station {number}: {what}", flush=True)
        if found:
            wrong[next(iter(found))] += 1
    cases = {"stations": tried}
    return campaign.tell("small stations", cases, {"stations": wrong}, row=given.row)


if __name__ == "__main__":
    sys.exit(main())
