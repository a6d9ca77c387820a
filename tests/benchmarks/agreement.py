"""Headline against models: on a finished build, and on stations of the foreign generators.

    python tests/benchmarks/agreement.py --build my-demo/build/latest \
        --generators daily_states ledger --stations 10 --report reports/text/agreement.csv

Prints, for every outcome and window, how far the mean chance that the main model gives the
courses lies from the headline, in points; the same of every fixed level; the shift of
averaged chances; and expected failures less those filled in.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import tempfile
import time
from pathlib import Path
from unittest.mock import patch

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, as the command does

SUPPORT = Path(__file__).resolve().parents[1] / "support"
if str(SUPPORT) not in sys.path:
    sys.path.insert(0, str(SUPPORT))

import polars as pl  # noqa: E402
from agreeing import agreement  # noqa: E402
from foreign.truth import write  # noqa: E402
from queen_outcomes.base.console import Console  # noqa: E402
from queen_outcomes.base.store import Store  # noqa: E402
from queen_outcomes.build.steps import Work, run_steps  # noqa: E402
from queen_outcomes.facts.settings import Settings, load  # noqa: E402
from queen_outcomes.models.closed import read_closed, read_factors  # noqa: E402
from queen_outcomes.models.factor_fills import (  # noqa: E402
    fill_factors,
    read_filled_factors,
)
from queen_outcomes.models.questions import (  # noqa: E402
    ModelRequest,
    choose_form,
    fit_form,
    main_terms,
)
from queen_outcomes.outcomes import curves  # noqa: E402


def rows_of(store: Store, settings: Settings, station: str) -> list[dict]:
    """Give every question's agreement of one station."""
    values = read_factors(store, settings.prior_cases)
    if not store.has("factor_fills"):
        fill_factors(store, settings, values)
    fillings = read_filled_factors(store, values)
    found = []
    for question in settings.outcomes.windows:
        grace = settings.outcomes.grace_days
        closed = read_closed(store, values, question, grace, fillings=fillings)
        asked = ModelRequest(
            *(closed.values, closed.answer, closed.answers, closed.fillings),
            *(main_terms(settings), settings.models.adjust_for),
        )
        main = fit_form(asked, choose_form(asked))
        found += [{"station": station, **row} for row in agreement(closed, main)]
    return found


def foreign(generator: str, seed: int) -> list[dict]:
    """Build one station up to its fillings."""
    station = importlib.import_module(f"foreign.{generator}").station(
        seed, as_of="after"
    )
    with tempfile.TemporaryDirectory() as scratch:
        folder = write(station, Path(scratch))
        with Store(folder / "station.duckdb", threads=1) as store:
            settings = Settings(as_of=station.as_of)
            work = Work(
                *(store, folder / "records", folder, settings, station.as_of),
                verified=False,
            )
            with patch.multiple(curves, DRAWN=(), TESTED={}):  # nobody looks at pictures
                run_steps(work, Console(quiet=True), until="curves")
            return rows_of(store, settings, f"{generator} {seed}")


def table(frame: pl.DataFrame) -> pl.DataFrame:
    """Give the mean and the largest difference of each kind, over the stations."""
    scale = pl.when(pl.col("what") == "failures").then(1.0).otherwise(100.0)
    off = scale * (pl.col("model") - pl.col("headline"))
    whole = pl.col("what").is_in(["all", "failures"])
    kind = pl.when(whole).then("what").otherwise(pl.lit("level"))
    return (
        frame.with_columns(kind=kind, off=off)
        .group_by("outcome", "window_days", "kind")
        .agg(
            stations=pl.col("station").n_unique(),
            figures=pl.len(),
            mean_off=pl.col("off").mean().round(3),
            largest_off=pl.col("off").abs().max().round(3),
            largest_shift=pl.col("shift").abs().max().round(4),
        )
        .sort("outcome", "window_days", "kind")
    )


def main(arguments: list[str]) -> int:
    """Measure and print; 1 where a shift is above 0.1."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--build", type=Path, help="a finished build")
    words.add_argument("--generators", nargs="*", default=[])
    words.add_argument("--stations", type=int, default=10)
    words.add_argument("--first", type=int, default=1, help="seed of the first station")
    words.add_argument("--minutes", type=float, help="begin no station after so many")
    words.add_argument("--report", type=Path)
    given = words.parse_args(arguments)
    rows = []
    if given.build:
        folder = given.build.resolve()
        settings = load(folder.parents[1])
        with Store(folder / "station.duckdb", read_only=True) as store:
            rows += rows_of(store, settings, "invented station")
    begun = time.monotonic()
    for seed in range(given.first, given.first + given.stations):
        for name in given.generators:
            if given.minutes and time.monotonic() - begun > 60 * given.minutes:
                continue
            rows += foreign(name, seed)
    told = table(pl.DataFrame(rows, infer_schema_length=None))
    if given.report:
        told.write_csv(given.report)
    with pl.Config(tbl_rows=-1, tbl_cols=-1, tbl_hide_dataframe_shape=True):
        print(told)
    return int((told["largest_shift"] > 0.1).any())


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
