"""Write a large network of stations: ``python demo/large.py DEST --courses N``."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl

if str(Path(__file__).resolve().parents[1]) not in sys.path:
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from demo.generator import simulate
from demo.truth import Truth, for_scale

CHUNK = 100_000
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
# more looks than at the small station, so that a course has about six
CHECK_DAYS = (7, 10, 14, 21, 28, 35, 60, 90)
BAD_SHARE = 0.0005  # inseminations with a slip of the pen


def chunks(
    courses: int, seed: int, operators: int = 200, last_season: int = 2026
) -> Iterator[dict[str, pl.DataFrame]]:
    """Tables of up to 100,000 courses of one season at a time.

    Ids carry a letter for each round of ten seasons, so they are unique over
    all chunks; nothing refers to another chunk.  Case numbers go on from the
    chunks before.  A last season's looks end on 30 September.
    """
    seasons = tuple(range(last_season - 9, last_season + 1))
    truth = for_scale(
        replace(Truth(), check_days=CHECK_DAYS), operators=operators, seasons=seasons
    )
    size = min(CHUNK, -(-courses // len(seasons)))
    for number, start in enumerate(range(0, courses, size)):
        year = seasons[number % len(seasons)]
        tag = LETTERS[number // len(seasons)]
        one = replace(truth, seasons=(year,))
        tables = simulate(
            one, seed + number, courses=min(size, courses - start), tag=tag,
            until=min(year + 1, last_season),
        )  # fmt: skip
        counts = tables["inseminations"]["operator"].value_counts()
        done = dict(counts.iter_rows())
        people = tuple(
            replace(p, prior_cases=p.prior_cases + done.get(p.name, 0))
            for p in truth.operators
        )
        truth = replace(truth, operators=people)
        yield _spoil(tables, seed + number)


def _spoil(tables: dict[str, pl.DataFrame], seed: int) -> dict[str, pl.DataFrame]:
    """A tiny share of doses ten times too large and of checks with no ids."""
    rng = np.random.Generator(np.random.PCG64([seed, 1]))
    bad = pl.Series(rng.random(len(tables["inseminations"])) < BAD_SHARE)
    none = pl.Series(rng.random(len(tables["checks"])) < BAD_SHARE / 10)
    dose = pl.when(bad).then(80.0).otherwise(pl.col("dose_ul")).alias("dose_ul")
    ids = [pl.when(~none).then(pl.col(k)).alias(k) for k in ("queen_id", "colony_id")]
    return tables | {
        "inseminations": tables["inseminations"].with_columns(dose),
        "checks": tables["checks"].with_columns(ids),
    }


def write(folder: Path, courses: int, seed: int, kind: str, operators: int) -> None:
    """Write each table as numbered parts: ``checks/part-000.parquet``, ..."""
    for number, tables in enumerate(chunks(courses, seed, operators)):
        for name, frame in tables.items():
            (folder / name).mkdir(parents=True, exist_ok=True)
            path = folder / name / f"part-{number:03d}.{kind}"
            if kind == "parquet":
                frame.write_parquet(path)
            else:
                frame.write_csv(path)
        print(f"part {number}: {len(tables['checks']):,} checks", flush=True)


def main(arguments: list[str]) -> int:
    """Parse the command line and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("dest", type=Path)
    parser.add_argument("--courses", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--operators", type=int, default=200)
    parser.add_argument("--format", choices=("parquet", "csv"), default="parquet")
    a = parser.parse_args(arguments)
    write(a.dest, a.courses, a.seed, a.format, a.operators)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
