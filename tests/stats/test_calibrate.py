"""Limits of a season: false signals are held, with and without batches."""

from __future__ import annotations

from dataclasses import astuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.series import calibrate as calibrate_module
from queen_outcomes.stats.series.calibrate import (
    SeriesLimit,
    _described,
    _limit,
    calibrate,
)
from queen_outcomes.stats.series.cusum import running_series, weights
from queen_outcomes.stats.shares.shared_effects import SharedEffects, conditional_logits
from run_lengths import signal_chance
from scipy.special import expit


def season(n=80, seed=0):
    return np.random.default_rng(seed).beta(2, 9, n)


def batches(n=80):
    levels = np.column_stack([np.arange(n) // 8, np.arange(n) // 20])
    return SharedEffects(levels, np.array([0.5, 0.4]))


@given(
    st.lists(st.floats(0.02, 0.7), min_size=1, max_size=60),
    st.sampled_from([0.01, 0.05, 0.2]),
    st.integers(0, 3),
)
@settings(max_examples=20, deadline=None)
def test_independent_seasons_signal_no_more_often_than_asked(risks, chance, seed):
    p = np.array(risks)
    found = calibrate(p, false_alarm_chance=chance, replicates=4000, seed=seed)
    failed = np.random.default_rng(99).random((4000, len(p))) < p
    for one, ratio in ((found.worse, 2.0), (found.better, 0.5)):
        assert one.false_share <= chance
        success, failure = weights(p, ratio)
        now, signalled = np.zeros(4000), np.zeros(4000, bool)
        for case, answers in enumerate(failed.T):
            now = np.maximum(0, now + np.where(answers, failure[case], success[case]))
            signalled |= now >= one.limit
        # two simulations of 4000 seasons, four standard errors of their difference
        assert signalled.mean() <= chance + 4 * np.sqrt(2 * chance / 4000)


def test_like_courses_tie_and_still_signal_no_more_often_than_asked():
    for n in (3, 10, 40):
        found = calibrate(np.full(n, 0.2), false_alarm_chance=0.05, replicates=3000)
        assert found.worse.false_share <= 0.05
        assert found.better.false_share <= 0.05


def test_limits_agree_with_the_chain_for_independent_courses():
    p = season()
    found = calibrate(p, false_alarm_chance=0.05, replicates=20_000, seed=3)
    for one, ratio in ((found.worse, 2.0), (found.better, 0.5)):
        still = signal_chance(p, one.limit, odds_ratio=ratio)[-1]
        moved = signal_chance(p, one.limit, odds_ratio=ratio, change=ratio)
        assert still == pytest.approx(0.05, abs=0.006)
        assert moved[-1] == pytest.approx(one.detection, abs=0.015)
    moved = signal_chance(p, found.worse.limit, change=2.0)
    half = int(np.searchsorted(moved, 0.5)) + 1
    assert found.worse.median_courses == pytest.approx(half, abs=3)


def simulated_false_share(p, shared, found, seasons=3000):
    """Count seasons with a signal by drawing them anew and following each."""
    rng = np.random.default_rng(77)
    deviation = np.hypot(*shared.deviations)
    logits = conditional_logits(p, np.full(len(p), deviation))
    worse = better = 0
    for _ in range(seasons):
        effect = np.zeros(len(p))
        for column, sd in zip(shared.levels.T, shared.deviations, strict=True):
            effect += sd * rng.standard_normal(column.max() + 1)[column]
        failed = rng.random(len(p)) < expit(logits + effect)
        limits = {"limit_worse": found.worse.limit, "limit_better": found.better.limit}
        series = running_series(failed, p, **limits)
        worse += series.worse.signal.any()
        better += series.better.signal.any()
    return worse / seasons, better / seasons


@pytest.mark.slow
def test_seasons_with_batches_signal_as_often_as_asked():
    p, shared = season(), batches()
    found = calibrate(p, shared, false_alarm_chance=0.05, replicates=8000, seed=1)
    assert found.worse.false_share <= 0.05
    shares = simulated_false_share(p, shared, found)
    assert shares == pytest.approx((0.05, 0.05), abs=0.02)
    # limits for independent courses would take bad batches for the operator
    naive = calibrate(p, false_alarm_chance=0.05, replicates=8000, seed=1)
    assert naive.worse.limit < found.worse.limit
    assert simulated_false_share(p, shared, naive, 1500)[0] > 0.09
    assert naive.worse.detection > found.worse.detection


def test_a_seed_gives_the_same_limits_and_another_ones_near():
    p, shared = season(), batches()
    one = calibrate(p, shared, false_alarm_chance=0.05, replicates=8000, seed=1)
    assert astuple(
        calibrate(p, shared, false_alarm_chance=0.05, replicates=8000, seed=1)
    ) == astuple(one)
    other = calibrate(p, shared, false_alarm_chance=0.05, replicates=8000, seed=2)
    assert other.worse.limit == pytest.approx(one.worse.limit, rel=0.08)
    assert other.worse.detection == pytest.approx(one.worse.detection, abs=0.05)


def test_a_longer_season_needs_a_higher_limit_and_misses_less():
    short, long = (calibrate(season(n), batches(n), replicates=4000) for n in (40, 240))
    assert long.worse.limit > short.worse.limit
    assert long.worse.detection > short.worse.detection
    assert np.isnan(short.worse.median_courses)
    assert 1 <= long.worse.median_courses <= 240


def test_too_few_courses_for_any_signal_get_a_limit_out_of_reach():
    found = calibrate([0.2, 0.2], replicates=2000)
    assert found.better.false_share == found.better.detection == 0
    best = running_series([0, 0], [0.2, 0.2]).better.value.max()
    assert found.better.limit > best


@pytest.mark.parametrize(
    ("risks", "setting", "words"),
    [
        ([], {}, "without courses"),
        ([0.2, np.nan], {}, "missing"),
        ([0.2, 1.0], {}, "between 0 and 1"),
        ([0.2], {"false_alarm_chance": 1.5}, "false alarm"),
        ([0.2], {"odds_ratio": 1.0}, "not above 1"),
    ],
)
def test_a_season_that_allows_no_limit_gives_a_reason(risks, setting, words):
    found = calibrate(risks, **setting)
    assert words in found.message
    assert np.isnan([found.worse.limit, found.better.limit]).all()


@pytest.mark.parametrize(("chance", "reached"), [(0.05, 5), (0.059, 5), (0.01, 1)])
def test_a_limit_lies_half_way_above_the_last_value_too_common(chance, reached):
    top = np.random.default_rng(1).permutation(100).astype(float)
    assert _limit(top, chance) == 100 - reached - 0.5
    # of values that tie none is parted: four of 20 are too many for 15 %
    tied = np.repeat(np.arange(5.0), 4)
    assert _limit(tied, 0.2) == 3.5
    assert _limit(tied, 0.15) > 4


def test_what_a_limit_does_is_counted_by_hand():
    first = np.array([0, 7, 3, 0, 5])
    found = _described(2.0, np.array([1.0, 2, 3, 1, 0]), first)
    assert found == SeriesLimit(2.0, 0.4, 0.6, 7.0)
    half = _described(2.0, np.array([1.0]), np.array([0, 4, 2, 0]))
    assert half.median_courses == 4
    few = _described(2.0, np.array([1.0]), np.array([0, 4, 0, 0]))
    assert (few.detection, np.isnan(few.median_courses)) == (0.25, True)


def test_as_many_seasons_are_drawn_as_are_asked_for(monkeypatch):
    monkeypatch.setattr(calibrate_module, "AT_ONCE", 300)
    found = calibrate(season(), false_alarm_chance=0.05, replicates=700, seed=1)
    for one in (found.worse, found.better):
        # shares of 700 seasons, and no more than asked for
        for share in (one.false_share, one.detection):
            assert share * 700 == pytest.approx(round(share * 700), abs=1e-9)
        assert 0 < one.false_share <= 0.05
