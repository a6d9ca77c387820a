"""How often running series and flags point at somebody, over simulated stations.

    PYTHONPATH=tests/support python tests/benchmarks/false_signals.py \
        --stations 2000 --foreign 150 --seed 1 --kept FILE --report FILE

With `--kept` every station is written down as it ends, and a run goes on where the last one
stopped; `--first` begins with another number, so that several runs share the stations, and
the last of them takes the files of all into its table.

Each station has two seasons of courses in graft and semen batches that six operators
share, on bench days that not everybody works on; a tenth of the courses stay undecided. Of
the second season nothing is known beforehand: how hard it is is drawn, and every fourth
station has a hard one. Risk models are fitted to the courses of the first, as a build does.
Nobody differs; then, in every tenth station, the first operator's odds are doubled, and
tripled, in the second season. Flags are looked at in every other station. `--foreign`
stations in which no operator differs come from the generators of
tests/support/foreign, written by another hand, as records that are read and derived; their
second seasons are harder by 0, 0.4 or 0.8. Shares are of operators in a season, at a
setting of 0.01 for each direction of each series; limits allow for operators of one
station.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, as the command does

import numpy as np
from foreign import daily_states, frailty, ledger
from foreign.truth import Station as Foreign
from foreign.truth import write as write_station
from queen_outcomes.audit.apart import apart_from
from queen_outcomes.audit.operators import operator_rows
from queen_outcomes.audit.running_series import (
    AuditSeason,
    risks_before,
    running_series_of,
)
from queen_outcomes.base.console import Console
from queen_outcomes.base.store import Store
from queen_outcomes.build.steps import Work, run_steps
from queen_outcomes.facts.settings import Models, Plan, Settings
from queen_outcomes.models.closed import ClosedCourses, read_closed, read_factors
from queen_outcomes.models.factor_fills import fill_factors, read_filled_factors
from queen_outcomes.models.questions import choose_form, fit_form, main_terms
from queen_outcomes.models.risks import risk_model
from queen_outcomes.outcomes import curves
from scipy.stats import t as student

OPERATORS, GRAFT, LOAD = 6, 30, 9
COURSES = (720, 600)
TAU, HARD = 0.4, 0.8
DEVIATIONS = (0.4, 0.3)
CHANGES = (1.0, 2.0, 3.0)
OFTEN = 25
"""Stations after which the table is written again."""
GENERATORS = (daily_states, frailty, ledger)
HARDER = (0.0, 0.4, 0.8)
SETTINGS = Settings(
    models=Models(("dose", "queen_age"), ("line", "year", "season")),
    plan=Plan(false_alarm_chance=0.01),
)
"""Of what is drawn below."""


class Station:
    """Two seasons of courses: who did what when, and the log odds of failing."""

    def __init__(self, seed: int, *, hard: bool) -> None:
        rng = np.random.default_rng([seed, 7])
        sizes, n = np.array(COURSES), sum(COURSES)
        year = np.repeat([0, 1], sizes)
        number = np.concatenate([np.arange(size) for size in COURSES])
        day = number * 60 // sizes[year]
        present = rng.random((120, OPERATORS)) < 0.6
        present[np.arange(120), rng.integers(OPERATORS, size=120)] = True
        often = present * rng.uniform(0.5, 1.5, OPERATORS)
        chance = np.cumsum(often / often.sum(axis=1, keepdims=True), axis=1)
        self.operator = (chance[day + 60 * year] < rng.random((n, 1))).sum(axis=1)
        graft, load = number // GRAFT + 1000 * year, number // LOAD + 1000 * year
        dose, age = rng.choice([6.0, 8.0, 10.0, 12.0], n), rng.uniform(5, 14, n)
        line = rng.integers(3, size=n)
        self.odds = -1.9 - 0.1 * (dose - 9) + 0.05 * (age - 9) + 0.4 * (line == 1)
        for batch, deviation in zip((graft, load), DEVIATIONS, strict=True):
            self.odds += rng.normal(0, deviation, 2000)[batch]
        self.odds += np.array([0.0, HARD if hard else rng.normal(0, TAU)])[year]
        self.luck, self.is_seen = rng.logistic(size=n), rng.random(n) < 0.9
        self.year = year
        d0 = np.datetime64("2025-05-01") + day + 365 * year
        labels = {"operator": self.operator, "graft_batch": graft, "semen_batch": load}
        words = {name: np.char.add("b", x.astype(str)) for name, x in labels.items()}
        self.values = {
            **words,
            "course_id": np.char.zfill(np.arange(n).astype(str), 5),
            "year": np.where(year, "2026", "2025"),
            "line": np.char.add("l", line.astype(str)),
            "dose": dose,
            "queen_age": age,
            "day_of_year": 121.0 + day,
            "operator_case": np.arange(n, dtype=float),
        }
        self.d0 = d0

    def closed(self, change: float = 1.0) -> ClosedCourses:
        """Give the closed courses, the first operator's odds changed in the second season."""
        moved = np.log(change) * ((self.operator == 0) & (self.year == 1))
        failed = self.odds + moved + self.luck > 0
        answers = np.where(failed, "no", "yes")
        n = len(failed)
        return ClosedCourses(
            *(
                ("laying", 21),
                self.values,
                np.where(self.is_seen, answers, "undecided"),
            ),
            *(np.zeros(n, bool), self.d0, self.d0 + 28, self.d0.astype(str)),
            np.full(n, np.nan),
            np.where(self.is_seen, 1.0 - failed, np.nan)[None, :],
        )


class Kept:
    """What is fixed before a season, kept for the same station with a changed season."""

    def __init__(self) -> None:
        self.found: dict[str, dict] = {}

    def fixed(self, name: str, _under) -> dict | None:
        """Give what was kept."""
        return self.found.get(name)

    def fix(self, name: str, found: dict, _under) -> None:
        """Keep it."""
        self.found[name] = found


def pointed_at(
    cases: ClosedCourses, settings: Settings, season: str, kept: Kept, *, flags: bool
) -> Iterator[tuple[str, str | None, float]]:
    """Give (what, operator, whether) of every series and direction, and of flags."""
    asked = AuditSeason(season, cases, settings, kept)
    if flags:
        # as the audit does: flags stand on the fillings, as the risks do
        request = asked.request(np.arange(len(cases)), settled=False)
        fitted = fit_form(request, choose_form(request))
        model = risk_model(cases.question[0], fitted)
    else:  # all that running series ask of it: how far batches deviate
        model = risks_before(asked, None)
    cases = cases.with_risk(model.risks(cases.values))
    apart = apart_from(cases, model, main_terms(settings))
    asked_of = cases if flags else cases.some(np.arange(0))
    for row in operator_rows(asked_of, model, {}, settings.min_shown, apart):
        if row["flag"] is not None:
            for way in ("more", "fewer"):
                yield f"flag, {way}", row["operator"], float(row["flag"] == way)
    names = {name: one.name for name, one in apart.items()}
    asked = replace(asked, cases=cases)
    rows, limits = running_series_of(asked, model, names)
    for limit in limits:
        if limit["message"]:
            continue
        place = (limit["operator"], limit["series"])
        own = [r["signal"] for r in rows if (r["operator"], r["series"]) == place]
        for way in ("worse", "better"):
            yield f"{limit['series']}, {way}", limit["operator"], float(way in own)
        yield f"{limit['series']}, foretold", limit["operator"], limit["detection"]


def one_station(seed: int, number: int) -> Iterator[tuple[str, float]]:
    """Give (what, whether) of all operators where nobody differs, and of the one changed."""
    hard = number % 4 == 1
    station, kept = Station(seed, hard=hard), Kept()
    for change in CHANGES if number % 10 == 0 else CHANGES[:1]:
        flags = number % 2 == 0 or change > 1
        for what, operator, found in pointed_at(
            station.closed(change), SETTINGS, "2026", kept, flags=flags
        ):
            if change == 1.0:
                if not what.endswith("foretold"):
                    yield f"nobody differs: {what}", found
                    if hard:
                        yield f"nobody differs, a hard season: {what}", found
            elif operator == "b0" and not what.endswith("better"):
                yield f"odds x {change:g}: {what}", found


@contextmanager
def built(made: Foreign) -> Iterator[Store]:
    """Run a build's steps on a station's records until what is unsettled is filled in."""
    with tempfile.TemporaryDirectory() as place:
        folder = write_station(made, Path(place))
        with Store(folder / "station.duckdb", threads=1) as store:
            settings = Settings(as_of=made.as_of)
            records = folder / "records"
            work = Work(store, records, folder, settings, made.as_of, verified=False)
            with patch.multiple(curves, DRAWN=(), TESTED={}):  # nobody looks at pictures
                run_steps(work, Console(quiet=True), until="curves")
            yield store


def foreign_station(seed: int, number: int) -> Iterator[tuple[str, float]]:
    """Give (what, whether) of all operators of a station of another generator."""
    made = GENERATORS[number % len(GENERATORS)].station(
        seed, null=True, harder=HARDER[number // len(GENERATORS) % len(HARDER)]
    )
    settings = Settings()
    with built(made) as store:
        values = read_factors(store, {})
        if not store.has("factor_fills"):
            fill_factors(store, settings, values)
        fillings = read_filled_factors(store, values)
        cases = read_closed(store, values, settings.plan.question, 7, fillings=fillings)
    season = max(cases.season.tolist())
    for what, _, found in pointed_at(cases, settings, season, Kept(), flags=True):
        if not what.endswith("foretold"):
            yield f"foreign, nobody differs: {what}", found


def pooled(found: dict[str, list[list[float]]]) -> Iterator[tuple]:
    """Give each kind's share with its limits by station."""
    for what in sorted(found):
        stations = [one for one in found[what] if one]
        size = np.array([len(one) for one in stations])
        hits = np.array([sum(one) for one in stations])
        share = hits.sum() / size.sum()
        many = len(stations)
        spread = np.sum((hits - share * size) ** 2) / size.sum() ** 2
        se = np.sqrt(spread * many / max(many - 1, 1))
        arm = student.ppf(0.975, max(many - 1, 1)) * se
        yield what, many, int(size.sum()), share, max(share - arm, 0.0), share + arm


HEAD = ("what", "stations", "operator_seasons", "share", "low", "high")


def write(found: dict[str, list[list[float]]], report: Path) -> None:
    """Write the table."""
    with report.open("w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(HEAD)
        for *whose, share, low, high in pooled(found):
            writer.writerow((*whose, f"{share:.4f}", f"{low:.4f}", f"{high:.4f}"))


def read_kept(files: list[Path]) -> dict[str, dict[str, list[float]]]:
    """Give what earlier runs wrote down, by station; a line that was cut off is none."""
    found = {}
    for file in files:
        for line in file.read_text().splitlines() if file.exists() else ():
            if line.endswith("}]"):
                whose, own = json.loads(line)
                found[whose] = own
    return found


def table_of(stations: dict[str, dict[str, list[float]]]) -> dict[str, list[list[float]]]:
    """Give every kind's stations."""
    found: dict[str, list[list[float]]] = defaultdict(list)
    for own in stations.values():
        for what, values in own.items():
            found[what].append(values)
    return found


def main() -> None:
    """Run the stations and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stations", type=int, default=500)
    parser.add_argument("--foreign", type=int, default=120)
    parser.add_argument("--first", type=int, default=0, help="number of the first of each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kept", type=Path, nargs="*", default=[])
    parser.add_argument("--report", type=Path, required=True)
    given = parser.parse_args()
    begin = time.perf_counter()
    stations = read_kept(given.kept)
    # both kinds side by side, so that a table that is not finished holds both
    asked = [(at / given.stations, one_station, at) for at in range(given.stations)]
    asked += [(at / given.foreign, foreign_station, at) for at in range(given.foreign)]
    asked.sort(key=lambda one: one[0])
    for done, (_, of, at) in enumerate(asked, 1):
        number = given.first + at
        whose = f"{of.__name__} {given.seed} {number}"
        if whose not in stations:
            own = defaultdict(list)
            for what, is_found in of(given.seed * 1_000_000 + number, number):
                own[what].append(is_found)
            stations[whose] = own
            if given.kept:
                with given.kept[0].open("a") as out:
                    out.write(json.dumps([whose, own]) + "\n")
        if done % OFTEN == 0:
            write(table_of(stations), given.report)
    write(table_of(stations), given.report)
    print(f"{time.perf_counter() - begin:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
