"""What the campaigns share: a copy of a station, the commands, their table."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "support"))

from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import AppError
from queen_outcomes.build.latest_build import open_latest
from queen_outcomes.facts.exports import TABLES
from queen_outcomes.facts.settings import load
from trial_station import write_station

QUEEN = "Q00-01"
"""Of the small station."""
TOOL = Path(sys.executable).with_name("queen-outcomes")


def commands(station: Path, out: Path, queen: str) -> dict[str, list[str]]:
    """Give every command that works on a station, with what it writes below ``out``."""
    return {
        "new": ["new", str(out / "new")],
        "build": ["build", str(station)],
        "check": ["check", str(station)],
        "due": ["due", str(station), "--csv", str(out / "due.csv"), "--ics", str(out / "due.ics")],
        "explain": ["explain", str(station), queen],
        "export": ["export", str(station), str(out / "export")],
        "audit": ["audit", str(station)],
        "compare": ["compare", str(station)],
        "plan": ["plan", str(station), "--arm", "a=8", "--arm", "b=12", "--difference", "0.1",
                 "--csv", str(out / "plan.csv")],
        "sheets": ["sheets", str(station)],
        "map": ["map", str(station)],
    }  # fmt: skip


@contextmanager
def station_copy(source: Path | None) -> Iterator[Path]:
    """Copy a built station, or make the small one and build it."""
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch) / "station"
        if source is None:
            write_station(place, grafts=4, each=6)
            subprocess.run([TOOL, "build", place, "--quiet"], check=True, capture_output=True)
        else:
            shutil.copytree(source, place, symlinks=True)
        yield place


def whole_build(station: Path) -> str:
    """Open what `latest` leads to and look at every table; give what is wrong."""
    link = station / "build" / "latest"
    if not link.is_symlink() or not link.exists():
        return "latest is lost"
    try:
        with open_latest(station, Console(quiet=True)) as last:
            for name in TABLES:
                last.store.rows(f"SELECT count(*) FROM {name}")
    except (AppError, OSError) as problem:
        return f"latest does not open: {problem}"
    pages = link.resolve() / "dashboard" / "index.html"
    return "" if pages.exists() else "latest has no pages"


def whole_outputs(out: Path) -> str:
    """Look at what commands were asked to write: each whole or absent."""
    described = out / "export" / "datapackage.json"
    if (out / "export").exists():
        if not described.exists():
            return "an export without its description"
        for each in json.loads(described.read_text())["resources"]:
            if not (out / "export" / each["path"]).exists():
                return f"an export without {each['path']}"
    for path in out.glob("*.ics"):
        if not path.read_text(encoding="utf-8").rstrip().endswith("END:VCALENDAR"):
            return "half a calendar"
    for path in out.glob("*.csv"):
        if not path.read_bytes().endswith(b"\n"):
            return "half a table"
    return ""


def records_digest(station: Path) -> dict[str, bytes]:
    """Give what stands in records/, which nothing may change."""
    files = sorted((station / "records").rglob("*"))
    return {str(path): path.read_bytes() for path in files if path.is_file()}


def what_is_wrong(station: Path, out: Path, before: Mapping[str, bytes]) -> str:
    """Look at the last build, the outputs and the records, which were ``before`` so."""
    found = whole_build(station) or whole_outputs(out)
    try:
        load(station)  # `map` may write them, but never half of them
    except AppError as problem:
        found = found or f"the settings: {problem}"
    if not found and records_digest(station) != before:
        found = "records changed"
    return found


def write_row(
    table: Path,
    name: str,
    command: str,
    cases: Mapping[str, int],
    wrong: Mapping[str, Counter[str]],
) -> None:
    """Write what came of a campaign into the table of all, in place of what stood there."""
    tried, failed = sum(cases.values()), sum(each.total() for each in wrong.values())
    with table.open(encoding="utf-8", newline="") as file:
        rows = {row["campaign"]: row for row in csv.DictReader(file)}
    rows[name] = {
        "campaign": name,
        "command": command,
        "tried": tried,
        "held": tried - failed,
        "failed": failed,
    }
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[name]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows.values())


def tell(
    title: str,
    tried: Mapping[str, int],
    failed: Mapping[str, Counter[str]],
    *,
    row: Path | None = None,
) -> int:
    """Print the table: a row a case; give 1 when anything failed.

    ``row``: the table of campaigns, into which the sum goes under the words of the call.
    """
    if row:
        words = sys.argv[1:]
        at = words.index("--row")
        del words[at : at + 2]
        script = Path(sys.argv[0]).stem
        command = " ".join([f"python tests/faults/{script}.py", *words])
        only = [after for word, after in pairwise(words) if word == "--only"]
        name = " of ".join([script.replace("_", " "), *only])
        write_row(row, name, command, tried, failed)
    print(f"{title:24} {'tried':>7} {'held':>7} {'failed':>7}")
    for name, count in tried.items():
        wrong = failed.get(name, Counter())
        told = "; ".join(f"{what} ({n})" for what, n in wrong.most_common(3))
        print(f"{name:24} {count:7} {count - wrong.total():7} {wrong.total():7}  {told}")
    total, wrong = sum(tried.values()), sum(each.total() for each in failed.values())
    print(f"{'all':24} {total:7} {total - wrong:7} {wrong:7}")
    return int(wrong > 0)
