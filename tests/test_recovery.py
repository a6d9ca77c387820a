"""Limits hold the truth about as often as they say, on a few made stations."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import binom

ROOT = Path(__file__).resolve().parents[1]
for folder in (ROOT, ROOT / "tests" / "benchmarks"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))

from recovery.ledger import Ledger, read  # noqa: E402
from recovery.limit import fitted_limit  # noqa: E402
from recovery.run import rows_folder, run  # noqa: E402
from recovery.table import covered, make_table  # noqa: E402
from recovery.truths import lays_by, simulate_truth  # noqa: E402
from recovery.world import (  # noqa: E402
    FAULTS,
    World,
    nobody_leaves,
    simulate_fates,
    simulate_station,
)

from demo.fates import REASONS  # noqa: E402

STATIONS, SEED = 10, 5
TRUE_STATIONS = 100
UNLIKELY = 0.001
"""Chance that sound limits, or a sound test, fail one of these tests."""


@pytest.fixture(scope="module")
def truth():
    return simulate_truth(World(), TRUE_STATIONS)


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    path = tmp_path_factory.mktemp("recovery") / "stations.jsonl"
    assert run(World(), SEED, STATIONS, path) == STATIONS
    return path


@pytest.fixture(scope="module")
def table(out, truth):
    found = [row for row in read(out) if "station" in row]
    without = list(World().without)
    return make_table(found, truth, without, fitted_limit(rows_folder(out)))


def row_of(table: pl.DataFrame, what: str, question: str) -> dict:
    (row,) = table.filter(what=what, question=question).iter_rows(named=True)
    return row


@pytest.mark.slow
@pytest.mark.parametrize(
    ("what", "question"),
    [
        ("estimate", "laying 21"),
        ("estimate", "established 60"),
        ("estimate", "superseded 90"),
        ("estimate", "lost 21"),
        ("adjusted difference", "laying 21, dose 8 to 12"),
    ],
)
def test_limits_hold_the_truth_in_most_stations(table, what, question):
    row = row_of(table, what, question)
    fewest = binom.ppf(UNLIKELY, row["stations"], 0.95)
    assert row["stations"] >= STATIONS - 2
    assert row["share"] * row["stations"] >= fewest


@pytest.mark.slow
@pytest.mark.parametrize("what", ["estimate", "onset model"])
def test_laying_is_nearer_the_truth_than_the_plain_rate(table, what):
    rate = row_of(table, "rate, limits by batch", "laying 21")
    row = row_of(table, what, "laying 21")
    assert rate["bias"] > 4 * np.hypot(rate["bias_se"], rate["truth_se"])
    assert abs(row["bias"]) < 0.9 * rate["bias"]


@pytest.mark.slow
def test_the_plain_rate_of_loss_is_far_off_and_the_estimate_is_not(table):
    """A death needs no look, a living queen does: the plain rate is twice the truth."""
    rate = row_of(table, "rate, limits by batch", "lost 21")
    estimate = row_of(table, "estimate", "lost 21")
    assert rate["bias"] > 3 * abs(estimate["bias"])


@pytest.mark.slow
def test_limits_of_rates_allow_for_batches(out, table):
    by_batch = row_of(table, "rate, limits by batch", "laying 21")
    alone = row_of(table, "rate, each course by itself", "laying 21")
    assert by_batch["mean"] == alone["mean"]
    assert by_batch["mean_se"] > 1.1 * alone["mean_se"]
    assert by_batch["share_own"] >= alone["share_own"]


@pytest.mark.slow
def test_terms_without_effect_are_seldom_found(table):
    tests = table.filter(what="test of a term without effect")
    assert tests.height == 2
    for share, stations in tests.select("share", "stations").iter_rows():
        assert stations == STATIONS
        assert share * stations <= binom.isf(UNLIKELY, stations, 0.05)


@pytest.mark.slow
def test_a_run_that_is_done_measures_nothing_again(out):
    before = out.read_text(encoding="utf-8")
    assert run(World(), SEED, STATIONS, out) == 0
    assert out.read_text(encoding="utf-8") == before
    with pytest.raises(SystemExit, match="another run"):
        run(World(), SEED + 1, STATIONS, out)


def test_a_line_that_was_cut_off_is_measured_again(tmp_path):
    path, choices = tmp_path / "run.jsonl", {"seed": 1}
    Ledger(path, choices).add({"station": 0, "courses": 600})
    with path.open("a", encoding="utf-8") as file:
        file.write('{"station": 1, "cour')
    ledger = Ledger(path, choices)
    assert ledger.done == {0}
    ledger.add({"station": 1, "courses": 599})
    assert read(path) == [
        {"run": choices},
        {"station": 0, "courses": 600},
        {"station": 1, "courses": 599},
    ]


def test_the_chance_of_laying_at_a_dose_is_the_generators():
    """At the doses that were given it averages to the share that laid."""
    world = World(planted=True, without=())
    off = []
    for number in range(60):
        c = simulate_fates(world, number)
        laid = c["lays"] & (c["onset_day"] <= np.minimum(c["death_day"], 21))
        off.append(laid.mean() - lays_by(c, world.truth, 21, c["dose_ul"]).mean())
    assert abs(np.mean(off)) < 4 * np.std(off) / np.sqrt(len(off))


def test_a_factor_without_effect_has_none():
    c = simulate_fates(World(), 3)
    world = World(without=("semen_age",))
    older = c | {"semen_age_h": c["semen_age_h"] + 24.0}
    for dose in (8.0, 12.0):
        before, after = (lays_by(x, world.truth, 21, dose) for x in (c, older))
        assert np.array_equal(before, after)
        assert (lays_by(older, World(without=()).truth, 21, dose) <= before).all()


def test_nobody_leaves_but_for_a_fault():
    plain = simulate_fates(World(), 1)
    with nobody_leaves():
        kept = simulate_fates(World(), 1)
    ends = {REASONS[code] for code in np.unique(kept["end_reason"])}
    gone = {"dead", "missing", "superseded"}
    assert ends <= {*FAULTS, *gone, "anew", "none"}
    assert "sold" in {REASONS[code] for code in np.unique(plain["end_reason"])}
    first = plain["course_no"] == 1
    assert np.array_equal(plain["death_day"][first], kept["death_day"][first])


def test_stations_share_no_name():
    one, other = (simulate_station(World(courses=60), 1, number) for number in (0, 1))
    for table, column in (
        ("queens", "queen_id"),
        ("queens", "graft_batch"),
        ("semen", "semen_batch"),
        ("placements", "colony_id"),
        ("inseminations", "operator"),
        ("inseminations", "insemination_id"),
    ):
        assert not set(one[table][column]) & set(other[table][column])


def test_coverage_is_counted():
    estimate = np.linspace(0.4, 0.6, 21)
    found = (estimate, estimate - 0.085, estimate + 0.085)
    true = {"value": 0.5, "se": 0.0, "own": 0.55, "answer": None}
    row = covered("estimate", "laying 21", found, true)
    assert row["share"] == pytest.approx(17 / 21)
    assert row["share_own"] == pytest.approx(14 / 21)
    assert row["below"] == row["above"] == pytest.approx(2 / 21)
    assert row["bias"] == pytest.approx(0.0, abs=1e-12)
    # at 0.95 fewer than 18 of 21 come with a chance of 0.019, fewer than 19 of 0.085
    assert (row["band_low"], row["band_high"]) == (pytest.approx(18 / 21), 1.0)
