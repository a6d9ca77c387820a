"""How often the models' P lie under 0.05 where no factor matters.

    PYTHONPATH=tests/support python tests/benchmarks/type_one.py \
        --stations 2000 --seed 1 --report FILE

A station has two seasons in graft and semen batches that operators share, and operators and
batches differ; no factor does anything. Dose, line and time of year vary from course to
course, the queens' age between graft batches, the drones' between semen batches; an
operator's cases so far rise within operators. Stations are large, small, or of a rare
failure, by turns. Shares are over stations, of every P that is printed: a factor's, that of
its bend, and those of its differences (one a station, drawn by lot).
"""

from __future__ import annotations

import argparse
import csv
import os
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, as the command does

import numpy as np
from queen_outcomes.facts.settings import Models, Settings
from queen_outcomes.models.adjusted_factors import aliases, contrast_rows
from queen_outcomes.models.analysis_set import AnalysisSet, analysis_set
from queen_outcomes.models.filled import fit_filled
from queen_outcomes.models.questions import main_terms
from queen_outcomes.models.results import bends, term_rows
from scipy.stats import binomtest

SETTINGS = Settings(
    models=Models(
        ("dose", "drone_age", "queen_age", "experience"), ("line", "year", "season")
    )
)
LEVEL = {
    **dict.fromkeys(("dose", "line", "season"), "course"),
    "queen_age": "graft batch",
    "drone_age": "semen batch",
    "experience": "within operators",
    "year": "two seasons",
}
"""What each factor varies by."""
OPERATOR_SD, GRAFT_SD, SEMEN_SD = 0.4, 0.4, 0.3
CHANCE = 0.05
OFTEN = 25
"""Stations after which the table is written again."""


@dataclass(frozen=True)
class Kind:
    """How large a kind of station is, and its log odds of failing."""

    name: str
    courses: int
    graft: int
    load: int
    operators: int
    odds: float


KINDS = (
    Kind("large", 720, 20, 9, 6, -1.4),
    Kind("small", 300, 20, 12, 6, -0.9),
    Kind("rare failure", 480, 20, 12, 6, -3.3),
)


def courses_of(kind: Kind, seed: int) -> AnalysisSet:
    """Make a station in which no factor matters."""
    rng, n = np.random.default_rng([seed, 13]), kind.courses
    year, number = np.arange(n) * 2 // n, np.arange(n)
    graft, load = number // kind.graft, number // kind.load
    operator = rng.integers(kind.operators, size=n)
    # what an operator's deviation is does not go with the cases done
    odds = kind.odds + rng.normal(0, OPERATOR_SD, kind.operators)[operator]
    odds += rng.normal(0, GRAFT_SD, n)[graft] + rng.normal(0, SEMEN_SD, n)[load]
    failed = odds + rng.logistic(size=n) > 0
    line = rng.integers(3, size=n)
    case = np.zeros(n)
    for own in range(kind.operators):
        done = np.flatnonzero(operator == own)
        case[done] = 1 + np.arange(len(done)) + 20 * own
    words = {
        "operator": operator,
        "graft_batch": graft,
        "semen_batch": load,
        "line": line,
    }
    values = {
        **{name: np.char.add(name[0], x.astype(str)) for name, x in words.items()},
        "year": np.where(year, "2026", "2025"),
        "dose": rng.choice([6.0, 8.0, 10.0, 12.0], n),
        "queen_age": rng.integers(5, 14, n)[graft].astype(float),
        "drone_age": rng.integers(12, 30, n)[load].astype(float),
        "experience": case,
        "day_of_year": 121.0 + (number - year * (n // 2)) * 60 // (n // 2),
    }
    return analysis_set(values, 1.0 - failed, main_terms(SETTINGS))


def one_station(seed: int, number: int) -> Iterator[tuple[tuple[str, ...], float]]:
    """Give (station, P of, level) and P of everything that is printed."""
    kind = KINDS[number % len(KINDS)]
    courses = courses_of(kind, seed)
    # the records settle everything, so one filling is like another
    settled = replace(courses, answers=np.tile(courses.y, (2, 1)))
    fitted = fit_filled(settled, SETTINGS.models.adjust_for)
    if fitted.method == "none":
        return
    near = aliases(fitted)
    for at, row in enumerate(term_rows(fitted, near)):
        level = LEVEL[row["term"]]
        yield (kind.name, "factor", level), row["p"]
        said = bends(fitted, at)
        if said:
            yield (kind.name, "bend", level), float(said.split("= ")[1])
    rng = np.random.default_rng([seed, 14])
    by_term = defaultdict(list)
    for row in contrast_rows(fitted, near):
        if row["p"] is not None and np.isfinite(row["p"]):
            by_term[LEVEL[row["factor"]]].append(row["p"])
    for level, found in by_term.items():
        yield (kind.name, "difference", level), rng.choice(found)


HEAD = ("station", "p_of", "factor_varies_by", "tests", "share", "low", "high")


def write(found: dict[tuple[str, ...], list[float]], report: Path) -> None:
    """Write the share of each kind of P under `CHANCE`, with exact limits."""
    with report.open("w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(HEAD)
        for what in sorted(found):
            p = np.array(found[what])
            p = p[np.isfinite(p)]
            if not len(p):
                continue
            test = binomtest(int((p < CHANCE).sum()), len(p))
            limits = test.proportion_ci(method="exact")
            shares = (test.statistic, limits.low, limits.high)
            writer.writerow((*what, len(p), *(f"{share:.4f}" for share in shares)))


def main() -> None:
    """Run the stations and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stations", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--report", type=Path, required=True)
    given = parser.parse_args()
    begin = time.perf_counter()
    found: dict[tuple[str, ...], list[float]] = defaultdict(list)
    for number in range(given.stations):
        for what, p in one_station(given.seed * 1_000_000 + number, number):
            found[what].append(p)
        if number % OFTEN == OFTEN - 1 or number == given.stations - 1:
            write(found, given.report)
    print(f"{time.perf_counter() - begin:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
