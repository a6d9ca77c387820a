"""The number of failures: what holds for any risks, and what batches do to it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.shares import poisson_binomial as module
from queen_outcomes.stats.shares.poisson_binomial import (
    CountDistribution,
    batch_points,
    batch_tails,
    independent_counts,
    mixture_tails,
)
from queen_outcomes.stats.shares.shared_effects import (
    SharedEffects,
    conditional_logits,
    effect_columns,
)
from scipy.special import expit, ndtr, roots_hermitenorm
from scipy.stats import binom, poisson_binom

some_risks = st.lists(st.floats(0, 1), min_size=1, max_size=70)


def risks_around(mean, n, seed=0):
    rng = np.random.default_rng(seed)
    return expit(np.log(mean / (1 - mean)) + rng.normal(0, 0.5, n))


def in_batches(n, batches, deviation, seed=1):
    code = np.random.default_rng(seed).integers(0, batches, n)
    return SharedEffects(code[:, None], np.array([deviation]))


def tails_of(risks, shared, seed=0):
    """Give the tails at every number of failures, shape (n + 1, 2)."""
    found = [batch_tails(risks, k, shared, seed=seed) for k in range(len(risks) + 1)]
    return np.array([(one.below, one.above) for one in found])


def counts_of(risks, shared, seed=0):
    """Give the distribution whose tails they are."""
    pmf, before = [], 0.0
    for below, _ in tails_of(risks, shared, seed):
        pmf.append(2 * (below - before))
        before += pmf[-1]
    return CountDistribution(np.array(pmf))


def one_grouping(risks, shared):
    """Integrate every batch of a single grouping by itself and convolve them."""
    code, deviation = shared.levels[:, 0], shared.deviations[0]
    places, weights = roots_hermitenorm(60)
    weights = weights / weights.sum()
    logits = conditional_logits(risks, np.full(len(risks), deviation))
    whole = np.ones(1)
    for batch in np.unique(code):
        at = logits[code == batch]
        each = (independent_counts(expit(at + deviation * z)).pmf for z in places)
        batch_pmf = sum(w * pmf for w, pmf in zip(weights, each, strict=True))
        whole = np.convolve(whole, batch_pmf)
    return CountDistribution(whole)


@given(some_risks)
@settings(max_examples=60, deadline=None)
def test_independent_courses_have_the_sums_of_their_risks(risks):
    found = independent_counts(risks)
    p = np.array(risks)
    assert found.pmf.sum() == pytest.approx(1, abs=1e-12)
    assert (found.pmf >= 0).all()
    assert found.mean == pytest.approx(p.sum(), abs=1e-10)
    assert found.variance == pytest.approx((p * (1 - p)).sum(), abs=1e-9)


@given(some_risks, st.integers(-2, 72))
@settings(max_examples=60, deadline=None)
def test_tails_fit_together(risks, k):
    found = independent_counts(risks)
    turned = independent_counts(1 - np.array(risks))
    assert found.lower(k) + found.upper(k + 1) == pytest.approx(1, abs=1e-12)
    assert found.mid_lower(k) + found.mid_upper(k) == pytest.approx(1, abs=1e-12)
    assert 0 <= found.two_sided(k) <= 1
    other = turned.upper(len(risks) - k)
    assert found.lower(k) == pytest.approx(other, abs=1e-12)


@pytest.mark.parametrize("n", [1, 33, 400])
def test_like_courses_are_binomial_far_into_the_tail(n):
    found = independent_counts(np.full(n, 0.13))
    expected = binom.pmf(np.arange(n + 1), n, 0.13)
    # relative: no digit is lost where chances are small
    seen = expected > 1e-280
    np.testing.assert_allclose(found.pmf[seen], expected[seen], rtol=1e-9)


def test_unlike_courses_agree_with_a_reference_library():
    p = risks_around(0.2, 120)
    found = independent_counts(p).pmf
    np.testing.assert_allclose(
        found, poisson_binom.pmf(np.arange(121), p), atol=1e-13, rtol=0
    )


@given(st.floats(1e-6, 1 - 1e-6), st.floats(0, 2))
@settings(max_examples=60, deadline=None)
def test_a_shifted_risk_averages_back_to_itself(risk, deviation):
    eta = conditional_logits([risk], [deviation])
    mean = integrate_random(eta, deviation, nodes=150)[0]
    assert mean == pytest.approx([risk], rel=1e-5)


def test_a_risk_of_nothing_or_everything_stays():
    eta = conditional_logits([0.0, 1.0], [0.7, 0.7])
    np.testing.assert_array_equal(expit(eta), [0, 1])
    shared = SharedEffects(np.zeros((2, 1), int), np.array([0.7]))
    np.testing.assert_allclose(counts_of([0.0, 1.0], shared).pmf, [0, 1, 0])


@given(
    st.lists(st.floats(0.02, 0.98), min_size=1, max_size=60),
    st.floats(0.1, 1.0),
    st.integers(0, 5),
)
@settings(max_examples=25, deadline=None)
def test_batches_keep_the_mean_and_widen(risks, deviation, batches):
    p = np.array(risks)
    code = np.arange(len(p)) % (batches + 1)
    shared = SharedEffects(code[:, None], np.array([deviation]))
    found, alone = counts_of(p, shared, seed=2), independent_counts(p)
    sd = np.sqrt(found.variance)
    assert found.mean == pytest.approx(p.sum(), abs=0.02 * sd + 1e-6)
    assert found.variance >= alone.variance * 0.98


@pytest.mark.parametrize(
    ("n", "batches", "deviation", "mean"),
    [
        (60, 4, 0.5, 0.2),
        (400, 12, 0.6, 0.15),
        (300, 300, 0.5, 0.2),
        (1500, 30, 0.5, 0.02),
        (1500, 40, 0.5, 0.9),
    ],
)
def test_tails_of_batches_are_those_of_exact_integration(n, batches, deviation, mean):
    p, shared = risks_around(mean, n), in_batches(n, batches, deviation)
    exact = one_grouping(p, shared)
    below = np.cumsum(exact.pmf)
    for tail, near in ((0.001, 0.15), (0.025, 0.07), (0.25, 0.03)):
        k = int(np.searchsorted(below, tail))
        found = batch_tails(p, k, shared, seed=5)
        assert found.below == pytest.approx(exact.mid_lower(k), rel=near)
        k = int(np.searchsorted(below, 1 - tail))
        found = batch_tails(p, k, shared, seed=5)
        assert found.above == pytest.approx(exact.mid_upper(k), rel=near)


def test_crossed_batches_agree_with_simulation():
    p = risks_around(0.2, 90)
    levels = np.column_stack([np.arange(90) // 15, np.arange(90) % 4])
    shared = SharedEffects(levels, np.array([0.6, 0.5]))
    found = counts_of(p, shared, seed=3)
    rng = np.random.default_rng(8)
    logits = conditional_logits(p, np.full(90, np.hypot(0.6, 0.5)))
    graft = 0.6 * rng.standard_normal((40_000, 6))[:, levels[:, 0]]
    semen = 0.5 * rng.standard_normal((40_000, 4))[:, levels[:, 1]]
    failed = rng.random((40_000, 90)) < expit(logits + graft + semen)
    drawn = failed.sum(axis=1)
    assert drawn.mean() == pytest.approx(found.mean, abs=0.1)
    assert drawn.var() == pytest.approx(found.variance, rel=0.03)
    for k in (8, 14, 20, 27, 33):
        assert np.mean(drawn <= k) == pytest.approx(found.lower(k), abs=0.01)


def test_the_expansion_is_the_exact_distribution_given_the_batches(monkeypatch):
    p, shared = risks_around(0.3, 300), in_batches(300, 6, 0.4)
    columns = effect_columns(shared, 300)
    points = batch_points(p, columns, 0, 64)
    logits = conditional_logits(p, columns.total_deviation)
    counts = range(0, 301, 7)
    quick = [mixture_tails(logits, points, k) for k in counts]
    monkeypatch.setattr(
        "queen_outcomes.stats.shares.poisson_binomial.FEW_FOR_DRAWS", 300
    )
    exact = [mixture_tails(logits, points, k) for k in counts]
    np.testing.assert_allclose(quick, exact, atol=2e-6)


@pytest.mark.parametrize(("n", "mean"), [(40, 0.2), (40, 0.8), (300, 0.3), (300, 0.9)])
def test_tails_of_batches_fit_together(n, mean):
    p, shared = risks_around(mean, n), in_batches(n, 6, 0.4)
    counts = np.linspace(0, n, 11).astype(int).tolist()
    found = [batch_tails(p, k, shared, seed=7) for k in counts]
    below, above = np.array([(one.below, one.above) for one in found]).T
    np.testing.assert_allclose(below + above, 1, atol=1e-12)
    assert (np.diff(below) >= -1e-12).all()
    # successes are counted from the other end, by the same batches turned about
    turned = [batch_tails(1 - p, n - k, shared, seed=7).above for k in counts]
    np.testing.assert_allclose(below, turned, atol=0.01)


@pytest.mark.parametrize(("n", "kind"), [(100, "exact"), (101, "moments"), (999, "")])
def test_draws_of_few_courses_are_built_exactly(n, kind):
    p, shared = risks_around(0.3, n), in_batches(n, 6, 0.4)
    columns = effect_columns(shared, n)
    points = batch_points(p, columns, 0, 16)
    logits = conditional_logits(p, columns.total_deviation)
    exact, moments = module._given_draws(logits, points)
    if kind == "exact":
        assert exact.all()
        assert moments.shape == (16, 0)
        return
    chance = expit(logits[:, None] + points.sums(np.arange(16))).T
    spread = chance * (1 - chance)
    assert moments[:, 0] == pytest.approx(chance.sum(axis=1))
    assert moments[:, 1] == pytest.approx(spread.sum(axis=1))
    # third and fourth cumulants of a yes: pq (1 - 2p), pq (1 - 6pq)
    assert moments[:, 2] == pytest.approx((spread * (1 - 2 * chance)).sum(axis=1))
    assert moments[:, 3] == pytest.approx((spread * (1 - 6 * spread)).sum(axis=1))
    assert exact.tolist() == (spread.sum(axis=1) < 25).tolist()


def test_an_exact_distribution_holds_all_chances_there_are():
    n, shared = 1000, in_batches(1000, 8, 0.3)
    p = np.full(n, 0.02)
    columns = effect_columns(shared, n)
    points = batch_points(p, columns, 0, 8)
    given = np.full(n, np.log(0.02 / 0.98)), points, np.ones(8, bool)
    for failures in (0, 20, n):
        assert sum(module._exact(*given, failures)) == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("failures", [0, 7, 25, 60])
def test_what_the_lower_tail_leaves_of_one_is_the_upper(failures, monkeypatch):
    shared = in_batches(90, 5, 0.6)
    points = batch_points(np.full(90, 0.1), effect_columns(shared, 90), 3)
    given = np.full(90, np.log(0.1 / 0.9)), points, np.ones(len(points.weights), bool)
    found = module._exact(*given, failures)
    monkeypatch.setattr(module, "PLAIN", 2.0)  # nothing is left out
    whole = module._exact(*given, failures)
    assert found == pytest.approx(whole, rel=1e-10)
    # 60 of 90 lie so far out that nothing taken from 1 could tell
    assert failures < 60 or found[1] < module.PLAIN * 1e-9


@pytest.mark.parametrize(("room", "is_kept"), [(16 * 30, True), (16 * 30 - 1, False)])
def test_what_draws_do_to_odds_is_kept_while_there_is_room(room, is_kept, monkeypatch):
    columns = effect_columns(in_batches(30, 3, 0.4), 30)
    points = batch_points(np.full(30, 0.2), columns, 0, 16)
    monkeypatch.setattr(module, "KEPT", room)
    logits, rows = np.linspace(-2, 1, 30), np.array([3, 0, 7])
    found = points.chances(logits, rows)
    assert found == pytest.approx(expit(logits[:, None] + points.sums(rows)), rel=1e-12)
    assert ("_against" in vars(points)) is is_kept


def test_draws_have_the_deviations_of_the_batches_whatever_the_weights():
    p, shared = risks_around(0.2, 90), in_batches(90, 5, 0.6)
    columns = effect_columns(shared, 90)
    points = batch_points(p, columns, 3)
    assert points.weights.sum() == pytest.approx(1)
    assert not points.effects[:, -1].any()
    normal = points.effects[:, :-1] / 0.6
    mean = points.weights @ normal
    assert mean == pytest.approx(np.zeros(5), abs=0.02)
    cov = (normal * points.weights[:, None]).T @ normal
    assert cov == pytest.approx(np.eye(5), abs=0.08)
    # along the direction that moves the count most they are most even
    lead = np.bincount(shared.levels[:, 0], p * (1 - p))
    lead /= np.linalg.norm(lead)
    assert points.weights @ (normal @ lead) == pytest.approx(0, abs=2e-3)
    assert points.weights @ (normal @ lead) ** 2 == pytest.approx(1, abs=5e-3)


def test_many_courses_are_drawn_for_with_fewer_digits(monkeypatch):
    asked = []

    def even(points, columns, seed, digits):
        asked.append(digits)
        return np.zeros((points, columns))

    monkeypatch.setattr(module, "_even_normals", even)
    for n in (999, 1000):
        columns = effect_columns(in_batches(n, 3, 0.4), n)
        batch_points(np.full(n, 0.2), columns, 0, 4)
    assert asked == [30, 20]


def test_draws_are_the_first_of_an_even_sequence_or_plain_ones_of_very_many():
    for digits, rest in ((20, 0.5), (30, 0.0)):
        place = ndtr(module._even_normals(16, 3, 5, digits)) * 2.0**digits
        assert (place - rest - np.round(place - rest)) == pytest.approx(
            np.zeros((16, 3)), abs=1e-5
        )
    few, more = (module._even_normals(n, 3, 5, 30) for n in (16, 1024))
    assert (more[:16] == few).all()
    plain = np.random.default_rng(5).standard_normal((2, 20_001))
    assert (module._even_normals(2, 20_001, 5, 30) == plain).all()


def test_the_rarer_of_failures_and_successes_is_counted(monkeypatch):
    asked = []

    def tails(logits, points, count):
        asked.append((float(logits[0]), float(points.effects[0, 0]), count))
        return 0.25, 0.5

    monkeypatch.setattr(module, "mixture_tails", tails)
    columns = effect_columns(in_batches(10, 2, 0.4), 10)
    points = batch_points(np.full(10, 0.2), columns, 0, 4)
    one = module.tails_given(np.full(10, -1.0), points, 3)
    other = module.tails_given(np.full(10, 1.0), points, 3)
    effect = points.effects[0, 0]
    assert asked == [(-1, effect, 3), (-1, -effect, 7)]
    assert (one.below, one.above) == (other.above, other.below) == (0.25, 0.5)


def test_order_of_courses_and_names_of_batches_do_not_matter():
    p = risks_around(0.2, 200)
    levels = np.column_stack([np.arange(200) // 20, np.arange(200) % 7])
    deviations = np.array([0.5, 0.3])
    counts = (20, 40, 60)
    one = SharedEffects(levels, deviations)
    order = np.random.default_rng(1).permutation(200)
    named = levels[order] * 10 + 3  # other numbers in the same order
    other = SharedEffects(named, deviations)
    np.testing.assert_allclose(
        [batch_tails(p[order], k, other, seed=4).below for k in counts],
        [batch_tails(p, k, one, seed=4).below for k in counts],
        rtol=1e-11,
    )


def test_unknown_batches_and_deviations_of_zero_share_nothing():
    p = risks_around(0.2, 50)
    alone = independent_counts(p).tails(12)
    unknown = SharedEffects(np.full((50, 1), -1), np.array([0.5]))
    zero = SharedEffects(np.zeros((50, 1), int), np.array([0.0]))
    for shared in (unknown, zero, None):
        assert batch_tails(p, 12, shared) == alone
    partly = np.column_stack([np.arange(50) // 10, np.zeros(50, int)])
    both = SharedEffects(partly, np.array([0.5, 0.0]))
    first = SharedEffects(partly[:, :1], np.array([0.5]))
    found = batch_tails(p, 12, both, seed=1)
    assert found == batch_tails(p, 12, first, seed=1)
    assert found != alone


def test_no_courses_have_no_failures():
    shared = SharedEffects(np.empty((0, 2), int), np.array([0.5, 0.2]))
    np.testing.assert_array_equal(independent_counts([]).pmf, [1])
    for found in (independent_counts([]).tails(0), batch_tails([], 0, shared)):
        assert found.two_sided == 1
