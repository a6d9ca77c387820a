"""How well `map` alone has the ten sets read: run it to see the table.

Each set's bare records go through the installed command: `map --accept` with a few
answers, then `build --until check`. What was accepted is compared with the truth.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import compare
import duckdb

HERE = Path(__file__).parent
SETS = sorted(path.name for path in HERE.glob("[01]*_*") if path.is_dir())
COMMAND = Path(sys.executable).with_name("queen-outcomes")
SPELLED_SEVERAL_WAYS = {"05_ids_three_ways"}
# what station.md says, put as answers; everything else is a default
ANSWERS = {
    "01_wide_words": {"word:findings:ok": "queen_seen=yes"},
    "02_merged_colours": {
        "colours:Queen book 2024.xlsx#Queens:*:*": {"#FFF2A8": {"marked": "yes"}}
    },
    "06_units_in_cells": {"blank:yard list.tsv:checks:*": "leave"},
    "08_colony_only": {"percent:looks.csv:checks:pattern_pct": "share"},
    "09_two_years": {"prefix:*:inseminations:queen_id": "yes"},
    "10_ticks_initials": {
        "blank:yard round.csv:checks:*": "no",
        "word:drone_in_worker:-": "none",
    },
}


@dataclass
class Mapped:
    """What `map` and the reader made of a station.

    Parameters
    ----------
    answers : int
        Those that a person gives: the list of words is one, each other entry one more.
    opened : list of str
        Questions left open.
    reports : dict of table to its comparison with the truth
    told : Counter of (table, column)
        Cells set aside, which are listed; under (table, "") rows in quarantine.
    ledger : list of dict
        A row a source and table.
    said : str
        Why nothing was read; empty where it was.
    """

    answers: int = 0
    opened: list[str] = field(default_factory=list)
    reports: dict[str, compare.Report] = field(default_factory=dict)
    told: Counter = field(default_factory=Counter)
    ledger: list[dict] = field(default_factory=list)
    seconds: float = 0.0
    said: str = ""

    def total(self, name: str) -> int:
        """Sum a count of the reports, or the length of one of their lists."""
        found = [getattr(report, name) for report in self.reports.values()]
        return sum(one if isinstance(one, int) else len(one) for one in found)

    @property
    def wrong(self) -> int:
        """Cells that were read as something else than the paper says."""
        return self.total("wrong") + self.total("extra")

    @property
    def lost(self) -> tuple[int, int]:
        """Cells that were not read: those told of, and those of which nothing was said."""
        missing = Counter(
            (cell.table, cell.column)
            for r in self.reports.values()
            for cell in r.missing
        )
        told = sum(
            min(number, self.told[place] + self.told[place[0], ""])
            for place, number in missing.items()
        )
        return told, sum(missing.values()) - told

    @property
    def fully_read(self) -> bool:
        """Tell whether every cell was read as the paper says."""
        return bool(self.reports) and all(r.clean for r in self.reports.values())


def read(place: Path, source: Path, answers: dict, same=compare.as_written) -> Mapped:
    """Map a copy of a station's records, read it and compare it with the truth."""
    shutil.copytree(source / "records", place / "records")
    lines = [
        f"{json.dumps(name)} = {_toml(given)}\n" for name, given in answers.items()
    ]
    (place / "answers.toml").write_text("".join(lines), encoding="utf-8")
    begun = time.perf_counter()
    given = ["--answers", place / "answers.toml"]
    mapped = _run("map", place, "--accept", "--json", *given)
    assert mapped.stdout, mapped.stderr
    told = json.loads(mapped.stdout)
    listed = any(q["id"].startswith("words:") for q in told["questions"])
    found = Mapped(len(answers) + listed, told["open"])
    built = _run("build", "--until", "check", "--quiet", place)
    found.seconds = time.perf_counter() - begun
    if built.returncode:
        found.said = built.stderr
        return found
    (store,) = (place / "build").glob("*/station.duckdb")
    with duckdb.connect(str(store), read_only=True) as con:
        rows = {table: rows_of(con, f"accepted_{table}") for table in compare.KEY}
        found.ledger = rows_of(con, "sources")
        aside = rows_of(con, "listed_records")
        found.told.update(
            (row["table"], row["column"])
            for row in aside
            if row["severity"] == "set_aside"
        )
    found.told.update(
        {(row["table"], ""): int(row["quarantined"]) for row in found.ledger}
    )
    found.reports = compare.compare_station(rows, source / "truth", same)
    return found


def rows_of(con: duckdb.DuckDBPyConnection, table: str) -> list[dict]:
    """Give a table's rows with every value as text."""
    cursor = con.execute(f"SELECT * FROM {table}")
    names = [column[0] for column in cursor.description]
    return [
        {name: written(value) for name, value in zip(names, row, strict=True)}
        for row in cursor.fetchall()
    ]


def written(value: object) -> str | None:
    """Write a value as the truth does."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    return None if value is None else str(value)


def colours_of(name: str) -> set[tuple[str, ...]]:
    """Give what only a colour says: (table, key, column, value)."""
    path = HERE / name / "truth" / "colours.csv"
    with path.open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    return {tuple(row[c] for c in ("table", "key", "column", "value")) for row in rows}


def _run(*arguments: object) -> subprocess.CompletedProcess:
    return subprocess.run(
        [COMMAND, *map(str, arguments)], capture_output=True, text=True, check=False
    )


def _toml(value: object) -> str:
    if isinstance(value, dict):
        inside = ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items())
        return f"{{ {inside} }}"
    return json.dumps(value)


def read_set(place: Path, name: str, answers: dict | None = None) -> Mapped:
    """Read one of the ten sets."""
    given = ANSWERS.get(name, {}) if answers is None else answers
    same = compare.folded if name in SPELLED_SEVERAL_WAYS else compare.as_written
    found = read(place, HERE / name, given, same)
    if any(question.startswith("colours:") for question in given):
        told = colours_of(name)
        for table, report in found.reports.items():
            coloured = [
                cell
                for cell in report.extra
                if (table, cell.key, cell.column, cell.read) in told
            ]
            report.right += len(coloured)
            report.extra = [cell for cell in report.extra if cell not in coloured]
    return found


def table() -> str:
    """Read all sets, and write a line for each."""
    heads = (
        f"{'set':<20}{'answers':>8}{'open':>5}{'rows':>6}{'lost':>5}"
        f"{'right':>7}{'wrong':>6}{'told':>5}{'unsaid':>7}{'seconds':>8}"
    )
    lines = [heads]
    for name in SETS:
        with tempfile.TemporaryDirectory() as place:
            found = read_set(Path(place), name)
        told, unsaid = found.lost
        lines.append(
            f"{name:<20}{found.answers:>8}{len(found.opened):>5}"
            f"{found.total('rows_matched'):>6}{found.total('rows_missing'):>5}"
            f"{found.total('right'):>7}{found.wrong:>6}{told:>5}{unsaid:>7}"
            f"{found.seconds:>8.1f}"
        )
        if found.said:
            lines.append(found.said)
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(f"{table()}\n")
