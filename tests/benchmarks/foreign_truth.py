"""Sets headlines and groups beside the truth of stations that other hands generate.

    python tests/benchmarks/foreign_truth.py --generators daily_states --stations 10 \
        --as-of mid after --out /tmp/foreign.csv

Runs the build's own steps up to the curves on each station, in one process, and prints
for every outcome and window how far the figure lies from what became of these very
courses, in points, how often its 95 % limits hold that, and how often a figure is shown.
"all" is the headline; the other rows are its groups. With --out the single figures are
kept, and with --report the table of the headlines, which the methods page shows.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, as the command does

SUPPORT = Path(__file__).resolve().parents[1] / "support"
if str(SUPPORT) not in sys.path:
    sys.path.insert(0, str(SUPPORT))

import polars as pl  # noqa: E402
from foreign.truth import truth, write  # noqa: E402
from queen_outcomes.base.console import Console  # noqa: E402
from queen_outcomes.base.store import Store  # noqa: E402
from queen_outcomes.build.steps import Work, run_steps  # noqa: E402
from queen_outcomes.facts.settings import Settings  # noqa: E402

GROUPS = ("all", "operator", "protocol", "line")


def figures(generator: str, seed: int, as_of: str) -> list[dict]:
    """Build one station and give its figures beside the truth."""
    station = importlib.import_module(f"foreign.{generator}").station(seed, as_of=as_of)
    with tempfile.TemporaryDirectory() as scratch:
        folder = write(station, Path(scratch))
        with Store(folder / "station.duckdb", threads=1) as store:
            settings = Settings(as_of=station.as_of)
            records, day = folder / "records", station.as_of
            work = Work(store, records, folder, settings, day, verified=False)
            run_steps(work, Console(quiet=True), until="curves")
            rows = store.records(
                'SELECT outcome, window_days, "grouping", level, estimate, estimate_low, '
                "estimate_high FROM rates WHERE closed >= 10 AND outcome <> 'pattern'"
            )
    place = {"generator": generator, "seed": seed, "as_of": as_of}
    found = []
    for row in rows:
        if row["grouping"] not in GROUPS or row["level"].startswith("("):
            continue
        group = None if row["grouping"] == "all" else {row["grouping"]: row["level"]}
        share = truth(station, row["outcome"], row["window_days"], group)
        found.append({**place, **row, "truth": share})
    return found


def table(frame: pl.DataFrame) -> pl.DataFrame:
    """Give bias and coverage of each kind of figure."""
    shown, covers = (
        pl.col("estimate").is_not_null(),
        pl.col("truth").is_between("estimate_low", "estimate_high"),
    )
    off = 100 * (pl.col("estimate") - pl.col("truth"))
    named = ["generator", "as_of", "grouping", "outcome", "window_days"]
    return (
        frame.filter(pl.col("truth").is_not_nan())
        .group_by(named)
        .agg(
            figures=pl.len(),
            truth=(100 * pl.col("truth").mean()).round(1),
            shown=(100 * shown.mean()).round(0),
            bias=off.mean().round(2),
            spread=off.std().round(2),
            covered=(100 * covers.filter(shown).mean()).round(0),
            width=(
                100 * (pl.col("estimate_high") - pl.col("estimate_low")).mean()
            ).round(1),
        )
        .sort(named)
    )


def main(arguments: list[str]) -> int:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--generators", nargs="+", required=True)
    words.add_argument("--stations", type=int, default=10)
    words.add_argument("--first", type=int, default=1, help="seed of the first station")
    words.add_argument("--as-of", nargs="+", default=["mid", "after"])
    words.add_argument("--out", type=Path)
    words.add_argument("--report", type=Path)
    given = words.parse_args(arguments)
    seeds = range(given.first, given.first + given.stations)
    rows = [
        row
        for name in given.generators
        for as_of in given.as_of
        for seed in seeds
        for row in figures(name, seed, as_of)
    ]
    frame = pl.DataFrame(rows, infer_schema_length=None)
    if given.out:
        frame.write_csv(given.out)
    if given.report:
        headline = table(frame).filter(pl.col("grouping") == "all")
        headline.drop("grouping").write_csv(given.report)
    with pl.Config(
        tbl_rows=-1, tbl_cols=-1, tbl_width_chars=200, tbl_formatting="NOTHING"
    ):
        print(table(frame))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
