"""Ten stations' own sheets, read by settings written as a careful person would.

Each folder's `station.toml` is the mapping; the installed command reads the records by it
and what it accepted is compared with the truth, cell by cell. The truth was written
without sight of the reader.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import compare
from mapped import COMMAND, HERE, SETS, SPELLED_SEVERAL_WAYS, colours_of, rows_of

pytestmark = pytest.mark.slow


def read_station(
    place: Path, name: str, settings: str = ""
) -> tuple[dict[str, list[dict]], list[dict]]:
    """Read one set through the command; give its rows by table, and its ledger."""
    station = place / name
    shutil.copytree(HERE / name / "records", station / "records")
    shutil.copy(HERE / name / "station.toml", station)
    if settings:
        (station / "station.toml").write_text(settings, encoding="utf-8")
    done = subprocess.run(
        [COMMAND, "build", "--until", "check", "--quiet", station],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    (store,) = (station / "build").glob("*/station.duckdb")
    with duckdb.connect(str(store), read_only=True) as con:
        rows = {table: rows_of(con, f"accepted_{table}") for table in compare.KEY}
        return rows, rows_of(con, "sources")


def compared(place: Path, name: str) -> dict[str, compare.Report]:
    """Read a set and compare it with its truth."""
    rows, ledger = read_station(place, name)
    for source in ledger:
        numbers = ("accepted", "quarantined", "passed_over")
        assert int(source["rows_read"]) == sum(int(source[n]) for n in numbers), source
    same = compare.folded if name in SPELLED_SEVERAL_WAYS else compare.as_written
    return compare.compare_station(rows, HERE / name / "truth", same)


def test_there_are_ten_sets():
    assert len(SETS) == 10


@pytest.mark.parametrize("name", SETS)
def test_every_cell_is_read_as_the_paper_says(tmp_path, name):
    reports = compared(tmp_path, name)
    assert reports
    wrong = {
        table: [str(report), *report.wrong, *report.missing, *report.extra]
        for table, report in reports.items()
        if not report.clean
    }
    assert wrong == {}
    assert sum(report.right for report in reports.values()) > 500


def test_a_colour_sets_what_it_means(tmp_path):
    name = "02_merged_colours"
    own = (HERE / name / "station.toml").read_text(encoding="utf-8")
    first = 'note = "INSEMINATION Remarks"\n'
    assert own.count(first) == 1
    colours = '[read.colours]\n"#FFF2A8" = { marked = "yes" }\n'
    settings = own.replace(first, f"{first}{colours}")
    rows, _ = read_station(tmp_path, name, settings)
    marked = {row["queen_id"] for row in rows["inseminations"] if row["marked"]}
    yellow = {key for _, key, column, _ in colours_of(name) if column == "marked"}
    assert len(yellow) > 10
    assert marked == yellow
