"""The adjusted failure rate: what it must be for any courses, and where it ends."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.logistic.odds_shift import odds_shift
from queen_outcomes.stats.shares import adjusted_rate as module
from queen_outcomes.stats.shares.adjusted_rate import adjusted_rate
from queen_outcomes.stats.shares.poisson_binomial import batch_tails, independent_counts
from queen_outcomes.stats.shares.shared_effects import SharedEffects, conditional_logits
from scipy.special import expit, logit, ndtr
from scipy.stats import binom

many_risks = st.lists(st.floats(0.01, 0.99), min_size=2, max_size=40)


def courses(n=60, seed=0):
    return expit(np.random.default_rng(seed).normal(-1.5, 0.7, n))


@given(many_risks, st.data())
@settings(max_examples=50, deadline=None)
def test_the_changed_odds_expect_what_was_seen(risks, data):
    failures = data.draw(st.integers(1, len(risks) - 1))
    logits = logit(np.array(risks))
    change = odds_shift(logits, failures)
    assert expit(logits + change).sum() == pytest.approx(failures, abs=1e-6)


@given(many_risks, many_risks, st.data())
@settings(max_examples=40, deadline=None)
def test_limits_enclose_the_rate_and_meet_their_tails(risks, station, data):
    failures = data.draw(st.integers(0, len(risks)))
    found = adjusted_rate(risks, failures, station)
    assert not found.message
    assert 0 <= found.low <= found.adjusted <= found.high <= 1
    own, whole = logit(np.array(risks)), logit(np.array(station))
    for limit, tail in ((found.low, "mid_upper"), (found.high, "mid_lower")):
        if 0 < limit < 1:
            change = odds_shift(whole, limit * len(whole))
            counts = independent_counts(expit(own + change))
            assert getattr(counts, tail)(failures) == pytest.approx(0.025, rel=1e-5)


def test_as_many_failures_as_expected_give_the_station_back():
    p = courses(200)
    p *= 30 / p.sum()
    found = adjusted_rate(p, 30, p)
    assert found.ratio == pytest.approx(1)
    assert found.delta == pytest.approx(0, abs=1e-9)
    assert found.adjusted == pytest.approx(0.15)


def test_like_courses_have_the_mid_p_limits_of_a_share():
    # 7 of 50: the adjusted rate is the crude one, its limits those of a binomial
    found = adjusted_rate(np.full(50, 0.2), 7, np.full(10, 0.2))
    assert found.adjusted == pytest.approx(0.14)
    below = (binom.cdf(7, 50, found.high) + binom.cdf(6, 50, found.high)) / 2
    above = (binom.sf(6, 50, found.low) + binom.sf(7, 50, found.low)) / 2
    assert (below, above) == pytest.approx((0.025, 0.025), rel=1e-3)


def test_hard_courses_are_allowed_for():
    easy, hard = np.full(40, 0.1), np.full(40, 0.4)
    station = np.r_[easy, hard]
    one, other = adjusted_rate(easy, 8, station), adjusted_rate(hard, 8, station)
    assert other.adjusted < 0.25 < one.adjusted


def test_none_and_all_failing_have_one_limit():
    p = courses(30)
    none, every = adjusted_rate(p, 0, p), adjusted_rate(p, 30, p)
    assert (none.adjusted, none.low, none.ratio) == (0, 0, 0)
    assert 0 < none.high < 0.3
    # half the chance of no failure is 0.025 at the limit
    change = odds_shift(logit(p), none.high * 30)
    clear = np.prod(1 - expit(logit(p) + change))
    assert clear == pytest.approx(0.05, rel=1e-3)
    assert (every.adjusted, every.high) == (1, 1)
    assert 0.7 < every.low < 1


@pytest.mark.parametrize("failures", [0, 2, 12, 60])
def test_batches_widen_the_limits(failures):
    p = courses()
    levels = np.column_stack([np.arange(60) // 15, np.arange(60) // 30])
    shared = SharedEffects(levels, np.array([0.5, 0.4]))
    alone = adjusted_rate(p, failures, p)
    wide = adjusted_rate(p, failures, p, shared=shared, seed=1)
    assert wide.adjusted == alone.adjusted
    assert wide.low <= alone.low
    assert wide.high >= alone.high
    assert wide.high - wide.low > alone.high - alone.low
    again = adjusted_rate(p, failures, p, shared=shared, seed=1)
    assert again == wide
    other = adjusted_rate(p, failures, p, shared=shared, seed=2)
    assert (other.low, other.high) == pytest.approx((wide.low, wide.high), abs=0.01)


@pytest.mark.parametrize(("n", "failures"), [(60, 9), (60, 1), (400, 70), (1200, 210)])
def test_limits_of_batches_meet_their_tails(n, failures):
    p = courses(n)
    levels = np.column_stack([np.arange(n) // 12, np.arange(n) // 5])
    shared = SharedEffects(levels, np.array([0.5, 0.4]))
    found = adjusted_rate(p, failures, p, shared=shared, seed=1)
    # the draws of limits are the first of those of a single tail: near, not the same
    for limit, tail in ((found.low, "above"), (found.high, "below")):
        change = odds_shift(logit(p), limit * n)
        tails = batch_tails(expit(logit(p) + change), failures, shared, seed=1)
        assert getattr(tails, tail) == pytest.approx(0.025, rel=0.1)


def test_limits_cover_the_truth_when_batches_are_shared():
    rng = np.random.default_rng(12)
    p = courses(50)
    code = np.arange(50) // 10
    shared = SharedEffects(code[:, None], np.array([0.7]))
    logits = conditional_logits(p, np.full(50, 0.7))
    effects = 0.7 * rng.standard_normal((1000, 5))[:, code]
    failures = (rng.random((1000, 50)) < expit(logits + effects)).sum(axis=1)
    covered = {}
    for batches in (shared, None):
        inside = []
        for count, seasons in zip(
            *np.unique(failures, return_counts=True), strict=True
        ):
            found = adjusted_rate(p, int(count), p, shared=batches)
            inside.append(seasons * (found.low <= p.mean() <= found.high))
        covered[batches is not None] = sum(inside) / 1000
    assert covered[True] == pytest.approx(0.95, abs=0.02)
    assert covered[False] < 0.9


@pytest.mark.parametrize(
    ("risks", "failures", "station", "words"),
    [
        ([], 0, [0.2], "no decided courses"),
        ([0.2], 0, [], "no decided courses"),
        ([0.2, np.nan], 1, [0.2], "missing"),
        ([0.2, 1.0], 1, [0.2], "between 0 and 1"),
        ([0.2, 0.3], 3, [0.2], "3 failures do not fit 2 courses"),
    ],
)
def test_courses_that_allow_no_rate_give_a_reason(risks, failures, station, words):
    found = adjusted_rate(risks, failures, station)
    assert words in found.message
    assert np.isnan([found.adjusted, found.low, found.high, found.ratio]).all()


@pytest.mark.parametrize("known", [2, 3, 4, 6])
def test_a_zero_is_read_off_the_polynomial_through_what_is_known(known):
    values = np.array([2.0, -1.0, 0.7, -0.3, 1.4, -2.2])[:known]
    places = np.polynomial.Polynomial([0.4, -1.3, 0.2, 0.05, -0.01, 0.003][:known])
    read = module._read_off(list(places(values)), list(values))
    assert read == pytest.approx(0.4, abs=1e-12)


def test_a_smooth_function_is_met_after_few_looks():
    looks = []

    def over(place):
        looks.append(place)
        return float(1.5 - np.arctan(place) * 2)

    assert module._between(over, 0.0, 1.5) == pytest.approx(np.tan(0.75), abs=1e-8)
    assert len(looks) < 10


def visited(chance, start, step):
    """Where a crossing of a tail of ndtr(-10) is looked for, and where it is found."""
    looks = []

    def seen(place):
        looks.append(place)
        return chance(place)

    return module._crossing(seen, ndtr(-10.0), start, step), looks


def test_the_way_to_a_limit_is_gone_in_doubled_steps():
    found, looks = visited(lambda place: ndtr(-place), 0.0, 1.0)
    assert found == pytest.approx(10)
    assert list(dict.fromkeys(looks))[:6] == [0, 1, 2, 4, 8, 16]
    found, looks = visited(ndtr, 0.0, -1.0)
    assert found == pytest.approx(-10)
    assert list(dict.fromkeys(looks))[:6] == [0, -1, -2, -4, -8, -16]
    # from beyond the limit, back the same way
    found, looks = visited(lambda place: ndtr(-place), 20.0, 1.0)
    assert found == pytest.approx(10)
    assert list(dict.fromkeys(looks))[:5] == [20, 19, 17, 13, 5]


@pytest.mark.parametrize("step", [1.0, -1.0])
def test_a_limit_that_is_nowhere_is_infinite(step):
    for chance, far in ((0.9, np.inf), (1e-30, -np.inf)):
        found, looks = visited(lambda _, chance=chance: chance, 0.0, step)
        assert found == far * step
        assert len(looks) < 10


def test_limits_set_out_from_the_rate_by_what_a_count_strays(monkeypatch):
    asked = []
    monkeypatch.setattr(
        module, "_crossing", lambda chance, tail, *at: asked.append(at) or at[1]
    )
    # 8 courses at even odds: a count strays by sqrt(2), of which 2 go to a log odds
    logits, stray = np.zeros(8), np.sqrt(2) / 2
    assert module._Counter(logits, 4, None).deviation(0.0) == pytest.approx(stray)
    shared = SharedEffects(np.zeros((8, 1), int), np.array([0.5]))
    counts = module._counter(logits, 4, shared, 0)
    # all of one batch, a deviation of which moves the count by 8 x 0.25 x 0.5
    assert counts.deviation(0.0) == pytest.approx(np.sqrt(2 + 1) / 2)
    assert len(counts.points.weights) == module.POINTS
    many = SharedEffects(np.zeros((1000, 1), int), np.array([0.5]))
    counts = module._counter(np.zeros(1000), 4, many, 0)
    assert len(counts.points.weights) == module.POINTS_FOR_MANY
    step = 1.959964 * stray
    found = module._limits(module._Counter(logits, 4, None), 0.025)
    assert asked == [pytest.approx((0, -step)), pytest.approx((0, step))]
    assert found == pytest.approx((-step, step))
    asked.clear()
    low, high = module._limits(module._Counter(logits, 0, None), 0.025)
    assert low == -np.inf
    assert asked[0][0] == pytest.approx(logit(0.5 / 8))
    asked.clear()
    low, high = module._limits(module._Counter(logits, 8, None), 0.025)
    assert high == np.inf
    assert asked[0][0] == pytest.approx(logit(7.5 / 8))
