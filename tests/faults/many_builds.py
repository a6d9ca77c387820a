"""A hundred builds in a row: does the build folder grow beyond what the settings keep?

    python tests/faults/many_builds.py [--builds 100] [--keep 5] [--until-drawn]

Makes the small station, keeping so many earlier builds, and builds it over and over in
this process; the pages are left out unless `--until-drawn`, since they are the same each
time. A row a file's kind: what stands in build/ at the end, beside what the setting allows.
Ends with 1 when there is more, or when the size still grows once the history is full.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

import campaign
from queen_outcomes.base.console import Console
from queen_outcomes.build import steps, weekly


def size_of(folder: Path) -> int:
    """Give the bytes of all files below a folder."""
    return sum(path.lstat().st_size for path in folder.rglob("*") if path.is_file())


def main() -> int:
    """Build often and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--builds", type=int, default=100)
    asked.add_argument("--keep", type=int, default=5)
    asked.add_argument("--until-drawn", action="store_true")
    given = asked.parse_args()
    if not given.until_drawn:
        steps.STEPS = tuple(
            steps.Step("draw", lambda _: 0) if step.name == "draw" else step
            for step in steps.STEPS
        )
    sizes = []
    with tempfile.TemporaryDirectory() as scratch:
        station = Path(scratch) / "station"
        campaign.write_station(station, grafts=4, each=6)
        settings = station / "station.toml"
        settings.write_text(f"{settings.read_text()}\n[show]\nhistory_builds = {given.keep}\n")
        for _ in range(given.builds):
            weekly.build(station, Console(quiet=True))
            sizes.append(size_of(station / "build"))
        build = station / "build"
        names = sorted(path.name for path in build.iterdir())
        history = len(list((build / "history").iterdir()))
        temporary = [p.name for p in Path(scratch).rglob(".*") if p.name != ".lock"]
    failed: dict[str, Counter[str]] = {}
    tried = {"builds": given.builds, "in build/": 1, "history": 1, "leftovers": 1, "size": 1}
    if len(names) != 4:  # the lock, the history, latest, and the build it leads to
        failed["in build/"] = Counter({", ".join(names): 1})
    if history != min(given.keep, given.builds - 1):
        failed["history"] = Counter({f"{history} kept": 1})
    if temporary:
        failed["leftovers"] = Counter({", ".join(temporary): 1})
    full = sizes[given.keep + 1 :] or sizes
    # journals differ by some bytes, and DuckDB's file by some blocks of 256 KiB
    if max(full) > full[0] * 1.05 + 2**20:
        failed["size"] = Counter({f"{full[0]} to {max(full)} bytes": 1})
    print(f"bytes of build/: first {sizes[0]:,}, last {sizes[-1]:,}, most {max(sizes):,}")
    return campaign.tell("what is looked at", tried, failed)


if __name__ == "__main__":
    sys.exit(main())
