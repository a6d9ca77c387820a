"""Random tables in random layouts: what `--accept` reads is the truth, or said to be unsure."""

import datetime as dt
import tempfile
from pathlib import Path

import pytest
from compare import compare
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from queen_outcomes.records.map.running import begin
from random_sheets import Written, write
from reading import accepted

AS_OF = dt.date(2025, 12, 31)
FACTS = ("line", "emerged_on")
SEEDS = st.integers(0, 2**32 - 1)


def truth_of(written: Written) -> dict[str, list[dict]]:
    """Give the truth as the records keep it: a queen's facts in their own table."""
    bench = written.tables["inseminations"]
    return {
        "queens": [{k: row[k] for k in ("queen_id", *FACTS)} for row in bench],
        "inseminations": [
            {k: v for k, v in row.items() if k not in FACTS} for row in bench
        ],
        "checks": written.tables["checks"],
        "exits": written.tables["exits"],
    }


def faults(written: Written, station: Path) -> list[str]:
    """Read a station by what `--accept` writes; tell what is wrong or left open."""
    begun = begin(station)
    begun.accept()
    if begun.open:
        return [question.id for question in begun.open]
    (station / "station.toml").write_text(begun.settings(), encoding="utf-8")
    read, truth = accepted(station, AS_OF), truth_of(written)
    if set(read) != {table for table, rows in truth.items() if rows}:
        return [f"tables {sorted(read)}"]
    reports = {
        table: compare(table, rows, truth[table]) for table, rows in read.items()
    }
    return [
        f"{table}: {report} {report.wrong[:2]} {report.missing[:2]}"
        for table, report in reports.items()
        if not report.clean
    ]


def holds(seed: int) -> None:
    """Every one of these layouts decides its own reading, so nothing may stay open."""
    with tempfile.TemporaryDirectory() as place:
        written = write(Path(place) / "records", seed)
        assert faults(written, Path(place)) == [], written.layout


def examples(number: int):
    """So many tables, the same in every run."""
    quiet = [HealthCheck.too_slow]
    return settings(
        max_examples=number,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=quiet,
    )


@examples(4)
@given(SEEDS)
def test_random_layouts_are_read_as_they_are(seed):
    holds(seed)


@pytest.mark.slow
@examples(60)
@given(SEEDS)
def test_many_random_layouts_are_read_as_they_are(seed):
    holds(seed)
