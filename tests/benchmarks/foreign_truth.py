"""Sets figures beside the truth of stations that other hands generate.

    python tests/benchmarks/foreign_truth.py --generators daily_states --stations 10 \
        --as-of mid after --out /tmp/foreign.csv
    python tests/benchmarks/foreign_truth.py --generators daily_states ledger frailty \
        --stations 10 --as-of after --hands --minutes 50 --out /tmp/hands.csv

Runs the build's own steps on each station, but for the pictures of curves, in one
process, and prints for every outcome
and window how far the figure lies from what became of these very courses, in points, how
often its 95 % limits hold that, and how often a figure is shown. "all" is the headline;
the other rows are its groups. With --hands, instead: operators' adjusted rates, arms,
their difference, and differences of factors, beside what to expect of the same courses
were all of them the operator's, in the arm, or at the value (`expected`, so with an error
of its own of some tenths of a point). With --out the single figures are kept after every
station, and with --report the table, which the methods page shows.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, as the command does

SUPPORT = Path(__file__).resolve().parents[1] / "support"
if str(SUPPORT) not in sys.path:
    sys.path.insert(0, str(SUPPORT))

import polars as pl  # noqa: E402
from foreign.truth import Station, expected, truth, write  # noqa: E402
from queen_outcomes.base.console import Console  # noqa: E402
from queen_outcomes.base.store import Store  # noqa: E402
from queen_outcomes.build.steps import Work, run_steps  # noqa: E402
from queen_outcomes.facts.outcomes import OUTCOMES  # noqa: E402
from queen_outcomes.facts.settings import Settings  # noqa: E402
from queen_outcomes.models.terms import STRAIGHT  # noqa: E402
from queen_outcomes.outcomes import curves  # noqa: E402

GROUPS = ("all", "operator", "protocol", "line")
HANDS = (("laying", 21), ("lost", 21), ("established", 60), ("superseded", 90))
"""Outcomes of which the expected is drawn: longer windows take too long."""
COLUMNS = (
    *("outcome", "window_days", "grouping", "level"),
    *("estimate", "estimate_low", "estimate_high", "truth"),
)
DRAWS = 30
SCHEDULES = {"one exposure": "one", "other before": "before", "other after": "after"}
FACTORS = {"co2_schedule": "co2_schedule", "drone_age": "drone_age_days"}
"""Factors that every generator plants, and their columns there."""


def figures(generator: str, seed: int, as_of: str, *, hands: bool) -> list[dict]:
    """Build one station and give its figures beside the truth."""
    station = importlib.import_module(f"foreign.{generator}").station(seed, as_of=as_of)
    with tempfile.TemporaryDirectory() as scratch:
        folder = write(station, Path(scratch))
        with Store(folder / "station.duckdb", threads=1) as store:
            settings = Settings(as_of=station.as_of)
            records, day = folder / "records", station.as_of
            work = Work(store, records, folder, settings, day, verified=False)
            with patch.multiple(
                curves, DRAWN=(), TESTED={}
            ):  # nobody looks at pictures
                run_steps(
                    work, Console(quiet=True), until="doses" if hands else "curves"
                )
            if hands:
                place = {"generator": generator, "seed": seed, "as_of": as_of}
                return [{**place, **row} for row in _hands(store, station)]
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


class Expected:
    """What to expect of a station's closed courses, each wish drawn once."""

    def __init__(self, station: Station, outcome: str, window: int) -> None:
        self.station, self.asked, self.drawn = station, (outcome, window), {}
        self.fails = OUTCOMES[outcome].fails == "yes"

    def yes(self, **do) -> float:
        """Give the share of yes were a column the same for all courses."""
        place = tuple(do.items())
        if place not in self.drawn:
            found = expected(self.station, *self.asked, do=do, draws=DRAWS)
            self.drawn[place] = found
        return self.drawn[place]

    def difference(self, column: str, one, other) -> float:
        """Give the difference of two such shares."""
        return self.yes(**{column: one}) - self.yes(**{column: other})


def _hands(store: Store, station: Station) -> Iterator[dict]:
    """Give what is said of hands, arms and factors, and what to expect."""
    for outcome, window in HANDS:
        told = Expected(station, outcome, window)
        asked = {"outcome": outcome, "window": window}
        where = "WHERE outcome = $outcome AND window_days = $window"
        for kind, found in (
            ("operator, adjusted", _operators(store, where, asked, told)),
            ("arm, adjusted", _arms(store, told) if told.asked == HANDS[0] else ()),
            ("arms, difference", _arm_differences(store, where, asked, told)),
        ):
            for row in found:
                yield dict(zip(COLUMNS, (outcome, window, kind, *row), strict=True))
        for row in _factors(store, where, asked, told):
            yield dict(zip(COLUMNS, (outcome, window, *row), strict=True))


def _operators(store: Store, where: str, asked: dict, told: Expected):
    for name, *found in store.rows(
        f"SELECT operator, adjusted, low, high FROM operators {where} AND shown", asked
    ):
        yes = told.yes(operator=name)
        yield name, *found, yes if told.fails else 1 - yes


def _arms(store: Store, told: Expected):
    for name, *found in store.rows(
        "SELECT arm, adjusted, adjusted_low, adjusted_high FROM arms"
    ):
        yield name, *found, told.yes(protocol=name)


def _arm_differences(store: Store, where: str, asked: dict, told: Expected):
    for one, other, *found in store.rows(
        f"SELECT arm, reference, difference, low, high FROM arm_contrasts {where} "
        "AND method = 'adjusted'",
        asked,
    ):
        step = told.difference("protocol", one, other)
        yield f"{one} - {other}", *found, -step if told.fails else step


def _factors(store: Store, where: str, asked: dict, told: Expected):
    ((most_doses,),) = store.rows("SELECT max(doses) FROM courses")
    for factor, one, other, form, *found in store.rows(
        "SELECT factor, value, reference, chosen_form, risk_difference, low, high "
        "FROM contrasts INNER JOIN model_terms USING (outcome, window_days, model) "
        f"{where} AND model = 'main' AND term = factor "
        "AND factor IN ('co2_schedule', 'drone_age')",
        asked,
    ):
        # rare levels joined have no value, and where a second dose is an exposure too a
        # schedule is not what the generator calls one
        is_apart = factor == "co2_schedule" and most_doses > 1
        if "other" not in (one, other) and not is_apart:
            values = [SCHEDULES.get(x) or float(x.split()[0]) for x in (one, other)]
            step = told.difference(FACTORS[factor], *values)
            bent = "on a straight line" if form.startswith(STRAIGHT) else "difference"
            kind = f"factors, {bent}"
            yield kind, f"{factor}: {one} - {other}", *found, step


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
            stations=pl.col("seed").n_unique(),
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
    words.add_argument("--hands", action="store_true", help="operators, arms, factors")
    words.add_argument("--minutes", type=float, help="begin no station after so many")
    words.add_argument("--out", type=Path)
    words.add_argument("--report", type=Path)
    given = words.parse_args(arguments)
    begun, rows = time.monotonic(), []
    for seed in range(given.first, given.first + given.stations):
        for name in given.generators:
            for as_of in given.as_of:
                if given.minutes and time.monotonic() - begun > 60 * given.minutes:
                    continue
                rows += figures(name, seed, as_of, hands=given.hands)
                if given.out:
                    pl.DataFrame(rows, infer_schema_length=None).write_csv(given.out)
    frame = pl.DataFrame(rows, infer_schema_length=None)
    if given.report and given.hands:
        table(frame).write_csv(given.report)
    elif given.report:
        headline = table(frame).filter(pl.col("grouping") == "all")
        headline.drop("grouping").write_csv(given.report)
    with pl.Config(
        tbl_rows=-1, tbl_cols=-1, tbl_width_chars=200, tbl_formatting="NOTHING"
    ):
        print(table(frame))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
