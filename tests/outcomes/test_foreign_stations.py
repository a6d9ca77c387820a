"""Stations made by hands that know no model: their truth, their bytes, their records."""

import subprocess
import sys

import numpy as np
import pytest
from foreign import daily_states, frailty, ledger
from foreign.truth import NEVER, answers, expected, target, truth, write

GENERATORS = (daily_states, frailty, ledger)
QUESTIONS = (
    ("laying", 14),
    ("laying", 21),
    ("lost", 21),
    ("established", 60),
    ("drone_layer", 60),
    ("pattern", 60),
    ("superseded", 90),
    ("superseded", 365),
)
PLAUSIBLE = {
    ("laying", 21): (0.65, 0.95),
    ("lost", 21): (0.02, 0.16),
    ("established", 60): (0.45, 0.85),
    ("drone_layer", 60): (0.005, 0.08),
    ("superseded", 90): (0.04, 0.2),
    ("superseded", 365): (0.1, 0.35),
}

each = pytest.mark.parametrize("generator", GENERATORS, ids=lambda g: g.NAME)


def _one(onset, drone, end, reason, score, outcome, window):
    """Answer for one course by walking through its days; None: she is not asked."""
    laid = drones = gone = False
    last = None
    for day in range(window + 1):
        gone = gone or day == end
        if gone:
            continue
        laid = laid or day == onset
        drones = drones or day == drone
        if laid and day >= onset + 9:
            last = score[day]
    if laid and gone and drone == end:
        drones = True
    lost = gone and reason in ("dead", "missing")
    replaced = gone and reason == "superseded"
    good = score[window] >= 80
    return {
        "laying": laid,
        "lost": lost,
        "established": laid and not gone and not drones and bool(good),
        "drone_layer": drones if laid else None,
        "pattern": None if last is None else bool(last >= 80),
        "superseded": replaced if laid else None,
    }[outcome]


@each
@pytest.mark.parametrize("as_of", ["mid", "after"])
def test_truths_agree_with_a_walk_through_every_life(generator, as_of):
    station = generator.station(3, courses=300, as_of=as_of)
    lives, courses = station.lives, station.courses
    closed = {14: 21, 21: 28, 60: 67, 90: 97, 365: 372}
    for outcome, window in QUESTIONS:
        said = []
        for k in range(len(lives.end)):
            d0 = courses["d0"][k].item()
            if (station.as_of - d0).days < closed[window]:
                continue
            if outcome == "superseded" and not courses["marked"][k]:
                continue
            fate = (lives.onset[k], lives.drone[k], lives.end[k], lives.reason[k])
            said.append(_one(*fate, lives.score[k], outcome, window))
        said = [answer for answer in said if answer is not None]
        assert len(said) > 25, (outcome, window)
        share = truth(station, outcome, window)
        assert share == pytest.approx(sum(said) / len(said)), (outcome, window)


@each
def test_a_group_is_counted_alone(generator):
    station = generator.station(4, courses=200)
    names = np.unique(station.courses["operator"])
    sizes = [target(station, 21, {"operator": name}).sum() for name in names]
    shares = [truth(station, "laying", 21, {"operator": name}) for name in names]
    assert np.average(shares, weights=sizes) == pytest.approx(
        truth(station, "laying", 21)
    )


@each
def test_one_seed_gives_one_folder(generator, tmp_path):
    folders = [
        write(generator.station(seed, courses=120), tmp_path / name)
        for seed, name in ((5, "one"), (5, "two"), (6, "other"))
    ]
    names = sorted(path.name for path in (folders[0] / "records").iterdir())
    bytes_of = [[(f / "records" / n).read_bytes() for n in names] for f in folders]
    assert bytes_of[0] == bytes_of[1]
    assert all(a != b for a, b in zip(bytes_of[0], bytes_of[2], strict=True))


@pytest.mark.slow
@each
def test_rates_are_those_of_the_trade(generator):
    stations = [generator.station(seed) for seed in range(4)]
    for (outcome, window), (low, high) in PLAUSIBLE.items():
        share = np.mean([truth(station, outcome, window) for station in stations])
        assert low < share < high, (outcome, window)
    onset = np.concatenate([station.lives.onset for station in stations])
    onset = onset[onset < NEVER]
    assert 7 < onset.mean() < 13
    assert np.median(onset) < onset.mean()
    assert onset.min() >= 2


@each
def test_removals_cut_records_and_change_no_life(generator):
    cut = generator.station(7, courses=200)
    whole = generator.station(7, courses=200, removals=False)
    for name in ("onset", "drone", "end", "reason", "score"):
        np.testing.assert_array_equal(
            getattr(cut.lives, name), getattr(whole.lives, name)
        )
    assert (cut.removed < NEVER).sum() > 20
    assert not (whole.removed < NEVER).any()
    assert (cut.removed[cut.removed < NEVER] < cut.lives.end[cut.removed < NEVER]).all()
    assert len(cut.records["checks"]) < len(whole.records["checks"])
    reasons = {row["reason"] for row in whole.records["exits"]}
    assert reasons <= {"dead", "missing", "superseded", "drone_layer", "culled_fault"}


@each
def test_a_life_is_told_in_an_order_that_can_be(generator):
    lives = generator.station(6).lives
    ended, laid = lives.end < NEVER, lives.onset < NEVER
    assert (lives.onset < lives.end)[laid].all()
    assert (lives.onset + 9 <= lives.drone)[lives.drone < NEVER].all()
    assert not (lives.drone[~laid] < NEVER).any()
    assert (lives.drone <= lives.end)[lives.reason == "drone_layer"].all()
    assert laid[np.isin(lives.reason, ("superseded", "drone_layer"))].all()
    assert ((lives.reason != "") == ended).all()


@each
def test_the_good_ones_are_sold(generator):
    station = generator.station(8)
    _, yes = answers(station.lives, station.courses["marked"], "established", 60)
    sold = (station.removed_for == "sold") & (station.removed < 60)
    asked = target(station, 60)
    assert yes[asked & sold].mean() > yes[asked & ~sold].mean() + 0.1


@pytest.mark.slow
@each
def test_nothing_differs_where_nothing_is_planted(generator):
    station = generator.station(9, courses=200, null=True)
    arms = np.unique(station.courses["protocol"])
    for name, levels in (("operator", ("Op1", "Op2")), ("protocol", arms[:2])):
        for outcome, window in (("laying", 21), ("established", 60)):
            shares = {
                expected(station, outcome, window, do={name: level}, draws=2)
                for level in levels
            }
            assert len(shares) == 1, (name, outcome)


@pytest.mark.slow
@each
def test_odds_make_an_operator_fail_more(generator):
    station = generator.station(10, courses=200, null=True, odds={0: 3.0})
    for outcome, sign in (("laying", -1), ("lost", 1), ("established", -1)):
        window = 60 if outcome == "established" else 21
        hers, others = (
            expected(station, outcome, window, do={"operator": name}, draws=10)
            for name in ("Op1", "Op2")
        )
        assert sign * (hers - others) > 0.02, outcome


@pytest.mark.slow
@each
def test_expected_is_what_these_courses_have_on_average(generator):
    station = generator.station(11, courses=400)
    for outcome, window in (("laying", 21), ("established", 60)):
        share = expected(station, outcome, window, draws=20)
        assert share == pytest.approx(truth(station, outcome, window), abs=0.08)


@pytest.mark.slow
@each
@pytest.mark.parametrize("as_of", ["mid", "after"])
def test_a_build_reads_every_row(generator, as_of, tmp_path):
    station = generator.station(12, courses=200, as_of=as_of)
    folder = write(station, tmp_path / "station")
    words = [sys.executable, "-m", "queen_outcomes", "build", str(folder)]
    words += ["--until", "derive", "--strict", "--quiet"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    rows = sum(len(table) for table in station.records.values())
    lines = [
        len(path.read_text(encoding="utf-8").splitlines()) - 1
        for path in (folder / "records").iterdir()
    ]
    assert sum(lines) == rows
