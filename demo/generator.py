"""Simulate the station: the tables it keeps, and the truth behind them.

``simulate(truth, seed)`` gives typed polars frames under the canonical column
names; ``latent`` holds, course by course, what really happened.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from demo import bench, colonies, fates, observation, rows, tables
from demo.biology import Columns
from demo.labels import Labels
from demo.truth import Truth


def simulate(
    truth: Truth,
    seed: int,
    *,
    courses: int | None = None,
    seasons: tuple[int, ...] | None = None,
    tag: str = "",
    until: int | None = None,
) -> dict[str, pl.DataFrame]:
    """Simulate a station's records.

    Parameters
    ----------
    truth : Truth
        Every parameter.
    seed : int
        Same truth and seed, same frames.
    courses : int, optional
        How many courses, second tries included; default ``truth.courses``.
    seasons : tuple of int, optional
        Years; default ``truth.seasons``.  Courses are split evenly.
    tag : str
        Put into every id, so that several runs can be joined.
    until : int, optional
        Records end on 30 September of this year; default the last season.

    Returns
    -------
    dict of DataFrame
        ``queens, semen, inseminations, co2, placements, checks, exits, lab``
        (a null is "not recorded"; yes and no are words) and ``latent``.
    """
    n = truth.courses if courses is None else courses
    years = truth.seasons if seasons is None else tuple(seasons)
    truth = replace(truth, seasons=years)
    rng = np.random.Generator(np.random.PCG64(seed))
    cutoff = np.datetime64(f"{until or years[-1]}-09-30")
    c, ins, semen = _courses(truth, n, rng)
    c |= colonies.place(truth, c, rng)
    c |= observation.foreign_brood(c, rng)
    looks = observation.plan_looks(truth, c, cutoff, rng)
    seen = observation.write_looks(truth, *looks, c, rng)
    names = Labels(truth, c, semen, tag)
    return {
        "queens": tables.queens(names, c, rng),
        "semen": tables.semen(names, truth, semen, ins, rng),
        "inseminations": tables.inseminations(names, truth, c, ins, rng),
        "co2": tables.co2(names, c, ins, cutoff, rng),
        "placements": rows.placements(names, c, cutoff, rng),
        "checks": rows.checks(names, truth, c, looks, seen, rng),
        "exits": rows.exits(names, c, cutoff),
        "lab": rows.lab(names, c, cutoff, rng),
        "latent": rows.latent(names, truth, c),
    }


def _courses(
    truth: Truth, n: int, rng: np.random.Generator
) -> tuple[Columns, Columns, Columns]:
    """First courses, then second tries of some queens that did not lay."""
    again = int(n * truth.again_share)
    queens = bench.rear_queens(truth, n - again, rng)
    queens["queen"] = np.arange(n - again)
    day = bench.first_days(queens, rng)
    semen = bench.collect_semen(truth, np.sort(day), rng)
    c, ins = _one_round(truth, queens, day, semen, None, rng)
    chosen, when = fates.try_again(c, again, rng)
    day = c["d0"][chosen] + when.astype("m8[D]")
    second = {k: v[chosen] for k, v in queens.items()}
    second["owner"] = np.full(len(chosen), -1)
    for name, value in (("end_reason", fates.CODE["anew"]), ("end_day", when),
                        ("recorded", False), ("left_day", fates.NEVER),
                        ("watched_until", when - 1)):  # fmt: skip
        c[name][chosen] = value
    c2, ins2 = _one_round(truth, second, day, semen, ins, rng)
    ins2["course"] = ins2["course"] + len(c["d0"])
    c2["main"] = c2["main"] + len(ins["at"])
    joined = {k: np.concatenate([c[k], c2[k]]) for k in c}
    number = np.ones(len(joined["d0"]), dtype=np.int64)
    number[len(c["d0"]) :] = 2
    joined["course_no"] = number
    return joined, {k: np.concatenate([ins[k], ins2[k]]) for k in ins}, semen


def _one_round(
    truth: Truth,
    queens: Columns,
    day: np.ndarray,
    semen: Columns,
    before: Columns | None,
    rng: np.random.Generator,
) -> tuple[Columns, Columns]:
    """Inseminate these queens and decide their fates.

    Case numbers count the inseminations ``before`` as well; those of a first
    round do not count the (few) second tries, whose need is not known yet.
    """
    c = bench.assign_courses(truth, queens, day, rng)
    ins = bench.inseminate(truth, c, semen, rng)
    c = bench.summarise(truth, queens, c, ins, semen)
    if before is not None:
        both = {k: np.concatenate([before[k], ins[k]]) for k in ("operator", "at")}
        case = bench.case_numbers(truth, both)[len(before["at"]) :]
        c["operator_case"] = case[c["main"]]
    return fates.decide(c, truth, rng), ins
