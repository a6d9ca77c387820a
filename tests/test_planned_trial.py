"""A trial planned, carried out in simulation, written down, and read back as planned."""

from __future__ import annotations

import csv
import datetime as dt
import json
from collections import Counter

import numpy as np
import polars as pl
import pytest
from demo_station import build_trial_station, run
from queen_outcomes.base.store import Store
from queen_outcomes.doses.arm_courses import find_comparisons, read_courses
from scipy.stats import beta
from trial_station import SETTINGS, Queen, write_queens, write_table

pytestmark = pytest.mark.slow
TRIAL = "Doses_2027"
TRUE_SHARES = {"single 8": 0.6, "6 and 6": 0.85}
ICC = 0.05
PLAN = (
    *("--arm", "single 8=8", "--arm", "6 and 6=6+6", "--reference", "single 8"),
    *("--difference", "0.25", "--seed", "7", "--name", TRIAL, "--json"),
)


@pytest.fixture(scope="module")
def planned(shared, tmp_path_factory):
    """The plan of a station's second season, and its bench list."""
    place = shared.folder("trial_station", build_trial_station)
    table = tmp_path_factory.mktemp("plan") / f"inseminations_{TRIAL}.csv"
    told = run("plan", place, *PLAN, "--csv", table)
    assert told.returncode == 0, told.stderr
    return json.loads(told.stdout), table


def carry_out(rows: list[dict], records) -> None:
    """Fill the list in as a bench would, and look at every colony afterwards.

    Two queens of a graft batch are alike by ICC; the arms of a batch share its luck.
    """
    rng, spread = np.random.default_rng(11), 1 / ICC - 1
    luck: dict[str, float] = {}
    queens: dict[str, Queen] = {}
    for row in rows:
        number, graft, load = (
            part.split()[-1]
            for part in row["note"].replace(" of the list", "").split(", ")[:3]
        )
        queen_id, mean = f"T{int(number):04d}", TRUE_SHARES[row["Dose plan"]]
        place = luck.setdefault(graft, float(rng.random()))
        chance = beta.ppf(place, mean * spread, (1 - mean) * spread)
        second = row["note"].endswith("dose 2 of 2")
        on = dt.date(2027, 5, 1) + dt.timedelta(days=7 * int(graft[1:]) + second)
        lays = queens[queen_id].lays if second else bool(rng.random() < chance)
        queens[queen_id] = Queen(queen_id, graft, on, lays)
        row |= {
            "queen_id": queen_id,
            "inseminated_at": f"{on} 09:30",
            "Hands": "Ash",
            "semen_batch": f"27-{graft}-{load}",
            "dose_ul": row["dose_meant_ul"],
        }
    write_table(records / f"inseminations_{TRIAL}.csv", rows)
    write_queens(records, list(queens.values()))


@pytest.fixture(scope="module")
def finished(planned, tmp_path_factory):
    """The station that carried the trial out, built."""
    told, table = planned
    place = tmp_path_factory.mktemp("second") / "station"
    (place / "records").mkdir(parents=True)
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    carry_out(rows, place / "records")
    settings = SETTINGS.format(as_of="2028-03-01")
    lines = "\n".join(told["station_toml"])
    (place / "station.toml").write_text(
        f"{settings}\n{lines}\n\n[plan]\nmargin = 0.1\n"
    )
    built = run("build", place)
    assert built.returncode == 0, built.stderr
    return place


def test_every_course_carries_its_trial_block_and_protocol(planned, finished):
    told, table = planned
    courses = pl.read_parquet(
        finished / "build" / "latest" / "tables" / "courses.parquet"
    )
    assert courses.height == 2 * told["size"]["queens"]
    assert set(courses["trial"]) == {TRIAL}
    with table.open(encoding="utf-8", newline="") as file:
        firsts = [r for r in csv.DictReader(file) if not r["note"].endswith("2 of 2")]
    listed = Counter((r["block"], r["Dose plan"]) for r in firsts)
    assert Counter(courses.select("block", "protocol").iter_rows()) == listed
    doses = courses.group_by("protocol").agg(
        pl.col("dose_meant_ul").unique(), pl.col("doses").unique()
    )
    kept = {name: (meant, n) for name, meant, n in doses.iter_rows()}
    assert kept == {"single 8": ([8.0], [1]), "6 and 6": ([12.0], [2])}


def test_the_arms_are_recognised_as_drawn_by_lot(planned, finished):
    told, _ = planned
    latest = finished / "build" / "latest"
    with Store(latest / "station.duckdb", read_only=True) as store:
        (comparison,) = find_comparisons(read_courses(store, {}, 28))
        arms = store.records("SELECT * FROM arms ORDER BY arm")
    assert comparison.trial == TRIAL
    assert comparison.randomised
    assert comparison.intended
    assert [arm["arm"] for arm in arms] == ["6 and 6", "single 8"]
    for arm in arms:
        assert arm["randomised"]
        assert arm["planned"] == told["size"]["closed"]
        assert arm["closed"] >= arm["planned"]


def test_the_comparison_finds_what_was_put_in(finished):
    words = ("--reference", "single 8", "--trial", TRIAL, "--json")
    compared = run("compare", finished, *words)
    assert compared.returncode == 0, compared.stderr
    told = json.loads(compared.stdout)
    assert told["trial"] == TRIAL
    assert all(arm["randomised"] and arm["intended"] for arm in told["arms"])
    (row,) = (row for row in told["arm_contrasts"] if row["primary"])
    assert (row["arm"], row["method"]) == ("6 and 6", "stratified")
    assert row["low"] < TRUE_SHARES["6 and 6"] - TRUE_SHARES["single 8"] < row["high"]
    assert row["verdict"] == "better"
