"""Do two installations of the command give the same bytes?

    python tests/benchmarks/same_bytes.py OLD NEW [--seeds 1 2 3] [--courses 500]

OLD and NEW are paths of two installed `queen-outcomes` commands. Both build the demo
and one random station a seed, twice each (the second build takes unchanged parts
over), and every file of `tables/` and `dashboard/` is compared. Prints a row a build;
ends with 1 when a file differs.
"""

from __future__ import annotations

import argparse
import hashlib
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from demo import sheets  # noqa: E402
from demo.generator import simulate  # noqa: E402
from demo.truth import Truth  # noqa: E402

RANDOM_STATION = ROOT / "demo" / "station.toml"


def write_station(folder: Path, seed: int, courses: int) -> None:
    """Write a random station's records, spoilt in nothing, and the demo's settings."""
    tables = simulate(replace(Truth(), courses=courses), seed)
    del tables["latent"]
    records = folder / "records"
    records.mkdir(parents=True)
    kinds = {name: dict(frame.schema) for name, frame in tables.items()}
    frames = {name: sheets.as_text(name, frame) for name, frame in tables.items()}
    book = {name: frames.pop(name) for name in ("queens", "semen", "lab")}
    for name, frame in frames.items():
        separator = ";" if name == "exits" else ","
        text = sheets.csv_text(name, frame, separator=separator)
        (records / f"{name}.csv").write_bytes(text.encode("utf-8"))
    (records / "queens_and_semen.xlsx").write_bytes(sheets.workbook_bytes(book, kinds))
    (folder / "station.toml").write_bytes(RANDOM_STATION.read_bytes())


def digests(folder: Path) -> dict[str, str]:
    """Give the hash of every file under `tables/` and `dashboard/` of the last build."""
    latest = (folder / "build" / "latest").resolve()
    return {
        str(path.relative_to(latest)): hashlib.sha256(path.read_bytes()).hexdigest()
        for part in ("tables", "dashboard")
        for path in sorted((latest / part).rglob("*"))
        if path.is_file()
    }


def compare(name: str, stations: dict[str, Path], build: str) -> int:
    """Build a station with both commands and print how many files differ."""
    found = []
    for command, folder in stations.items():
        done = subprocess.run(
            [command, "build", str(folder), "--quiet"],
            check=False,
            capture_output=True,
            text=True,
        )
        if done.returncode:
            sys.exit(f"{command} build {folder}: exit {done.returncode}\n{done.stderr}")
        found.append(digests(folder))
    old, new = found
    names = sorted(old.keys() | new.keys())
    differ = [name for name in names if old.get(name) != new.get(name)]
    print(f"{name:12} {build:7} files {len(names):4}  differ {len(differ):3}", *differ[:8])
    return len(differ)


def main() -> int:
    """Compare the demo and the random stations."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("old")
    asked.add_argument("new")
    asked.add_argument("--seeds", type=int, nargs="*", default=[1, 2, 3])
    asked.add_argument("--courses", type=int, default=500)
    given = asked.parse_args()
    commands = {
        "old": str(Path(given.old).absolute()),
        "new": str(Path(given.new).absolute()),
    }
    differ = 0
    with tempfile.TemporaryDirectory() as scratch:
        for seed in [None, *given.seeds]:
            name = "demo" if seed is None else f"seed {seed}"
            stations = {}
            for side, command in commands.items():
                # the folder's name may stand on a page: the same on both sides
                folder = Path(scratch) / side / name.replace(" ", "_")
                folder.parent.mkdir(exist_ok=True)
                if seed is None:
                    subprocess.run([command, "demo", str(folder), "--quiet"], check=True)
                else:
                    write_station(folder, seed, given.courses)
                stations[command] = folder
            for build in ("first", "second"):
                differ += compare(name, stations, build)
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
