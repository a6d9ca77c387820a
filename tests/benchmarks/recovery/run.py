"""Simulate and measure the stations of a run that are not done yet."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np
import polars as pl
from recovery.ledger import Ledger
from recovery.many import Many, derive_stations, planned
from recovery.measure import decided_courses, measure
from recovery.world import World, tag

CHUNK = 100
GROUPS = ("operator", "graft_batch", "semen_batch")


def rows_folder(out: Path) -> Path:
    """Where the courses of the planned model are kept, for the form's own limit."""
    return out.with_name(out.stem + "-courses")


def run(world: World, seed: int, stations: int, out: Path, chunk: int = CHUNK) -> int:
    """Measure every station that the file lacks; give how many there were."""
    ledger = Ledger(out, {"seed": seed, "world": world.told()})
    before = len(ledger.done)
    for first in range(0, stations, chunk):
        numbers = range(first, min(first + chunk, stations))
        wanted = [number for number in numbers if number not in ledger.done]
        if not wanted:
            continue
        # always of the whole chunk, so that a station does not depend on when it ran
        begin = time.perf_counter()
        with tempfile.TemporaryDirectory() as scratch:
            many = derive_stations(world, seed, numbers, Path(scratch))
        _keep_courses(many, rows_folder(out) / f"{first:05d}.parquet")
        shared = (time.perf_counter() - begin) / len(numbers)
        for number in wanted:
            found = measure(many, tag(number))
            found["seconds"]["prepared"] = round(shared, 4)
            ledger.add({"station": number} | found)
    return len(ledger.done) - before


def _keep_courses(many: Many, path: Path) -> None:
    """Write what the planned model is fitted on."""
    path.parent.mkdir(exist_ok=True)
    every = np.arange(len(many.station))
    courses = decided_courses(many, every, planned(many.settings))
    columns = [term.column for term in courses.terms]
    values = {name: courses.values[name] for name in (*columns, *GROUPS)}
    pl.DataFrame({"answer": courses.y} | values).write_parquet(path)
