"""Properties of the onset curve: a maximum, whatever the order and the copies."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.times.curve_limits import (
    MOST_PARTS,
    _jackknife,
    batch_limits,
    by_lot,
    logit_limits,
    share_limits,
    wilson_limits,
)
from queen_outcomes.stats.times.turnbull import (
    KKT,
    NEWTON_STEPS,
    _lengths,
    fit_turnbull,
    fit_weighted_many,
    maximise,
    share_by,
)
from scipy.special import logit
from scipy.stats import t
from statsmodels.stats.proportion import proportion_confint

COURSE = st.tuples(
    st.integers(0, 40), st.integers(1, 15) | st.just(np.inf), st.booleans()
)
COURSES = st.lists(COURSE, min_size=1, max_size=40)
INF = np.inf


def arrays(courses):
    after = np.array([c[0] for c in courses], float)
    by = after + np.array([c[1] for c in courses], float)
    return after, by, np.array([c[2] for c in courses])


def station(seed, courses=400, batches=40):
    """Batches that share their chance of laying, looked at every few days."""
    rng = np.random.default_rng(seed)
    batch = rng.integers(0, batches, courses)
    shift = rng.normal(0, 0.5, batches)[batch]
    lays = rng.random(courses) < 1 / (1 + np.exp(-(1.4 + shift)))
    day = np.ceil(np.exp(rng.normal(np.log(11), 0.35, courses)))
    looks = np.array([7, 11, 14, 21, 28, 60])
    place = np.searchsorted(looks, day)
    known = lays & (place < len(looks))
    after = np.where(known, np.append(0, looks)[place], 28.0)
    return after, np.where(known, np.append(looks, INF)[place], INF), batch


@given(COURSES)
@settings(max_examples=150, deadline=None)
def test_no_set_could_take_mass_and_raise_the_likelihood(courses):
    after, by, never = arrays(courses)
    fit = fit_turnbull(after, by, never)
    left, right = fit.support.T
    holds = (left >= after[:, None]) & (right <= by[:, None]) & np.isfinite(right)
    holds |= (never | np.isinf(by))[:, None] & np.isinf(left)
    chance = holds @ fit.mass
    gradient = holds.T @ (1 / chance) / len(after)
    assert fit.converged
    assert gradient.max() <= 1 + 1e-8
    assert np.allclose(gradient[fit.mass > 1e-6], 1, atol=1e-6)
    assert fit.mass.sum() == pytest.approx(1, abs=1e-12)
    assert fit.mass.min() >= 0


@pytest.mark.slow
@given(COURSES, st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_the_order_of_the_courses_changes_nothing(courses, random):
    shuffled = courses.copy()
    random.shuffle(shuffled)
    one, other = fit_turnbull(*arrays(courses)), fit_turnbull(*arrays(shuffled))
    assert np.array_equal(one.support, other.support)
    np.testing.assert_allclose(one.mass, other.mass, atol=1e-12)


@given(st.lists(st.tuples(COURSE, st.integers(0, 4)), min_size=1, max_size=25))
@settings(max_examples=60, deadline=None)
def test_a_weight_is_as_many_copies(weighted):
    weights = np.array([w for _, w in weighted])
    if not weights.any():
        return
    after, by, never = arrays([course for course, _ in weighted])
    copies = [np.repeat(values, weights) for values in (after, by, never)]
    one, other = fit_turnbull(after, by, never, weights), fit_turnbull(*copies)
    assert np.array_equal(one.support, other.support)
    np.testing.assert_allclose(one.mass, other.mass, atol=1e-12)
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-9)


def test_many_weightings_reach_the_likelihood_of_single_fits():
    after, by, batch = station(1)
    never = np.zeros(len(after), bool)
    draws = np.random.default_rng(2).multinomial(40, np.full(40, 1 / 40), 12)
    weights = draws[:, batch].astype(float)
    many = fit_weighted_many(after, by, never, weights)
    assert many.kkt.max() <= 1 + 1e-8
    together = share_by(many, np.arange(61))
    for row, share in zip(weights, together, strict=True):
        single = share_by(fit_turnbull(after, by, never, row), np.arange(61))
        np.testing.assert_allclose(share, single, atol=1e-6)
    by_batch = fit_weighted_many(after, by, never, draws, clusters=batch)
    np.testing.assert_allclose(by_batch.mass, many.mass, atol=1e-12)


def test_a_weighting_goes_as_far_as_its_likelihood_rises_by_a_tenth_of_its_slope():
    """By hand, of two sets and as many observations beside one that has no weight.

    From 0.9 and 0.1 the mean log-likelihood is log(0.09) / 2. It falls to nothing at 0 and 1,
    is the same at 0.1 and 0.9, whose slope of 3.6 asks for 0.36 more, and is highest at one
    half. From 0.1 and 0.9 it only falls towards 0 and 1.
    """
    holds = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 0.0]])
    mass = np.array([[0.9, 0.1], [0.9, 0.1], [0.9, 0.1], [0.1, 0.9], [0.5, 0.5]])
    best = np.array([[0.0, 1.0], [0.1, 0.9], [0.5, 0.5], [0.0, 1.0], [0.5, 0.5]])
    share = np.tile([0.5, 0.5, 0.0], (5, 1))
    chance = np.where(share > 0, mass @ holds.T, 1.0)
    assert _lengths(holds, share, chance, mass, best).tolist() == [0.5, 0.5, 1, 0, 1]


@pytest.mark.parametrize(
    ("holds", "share", "start", "best"),
    [
        # a set that lost all its mass takes it back where the likelihood rises with it
        ([[1, 1, 0], [0, 1, 1]], [0.5, 0.5], [0.5, 0, 0.5], [0, 1, 0]),
        # one with too much gives up some, and keeps what its observations need
        ([[1, 0], [0, 1]], [0.3, 0.7], [0.9, 0.1], [0.3, 0.7]),
        ([[1, 0], [0, 1]], [0.3, 0.7], None, [0.3, 0.7]),
        ([[1, 0, 0], [0, 1, 0], [0, 0, 1]], [0.2, 0.2, 0.6], [0.2, 0.6, 0.2], [0.2, 0.2, 0.6]),
    ],
)
def test_a_fit_goes_to_the_maximum_from_wherever_it_starts(holds, share, start, best):
    begin = None if start is None else np.array(start, float)
    mass, kkt, steps = maximise(np.array(holds, float), np.array(share), begin)
    np.testing.assert_allclose(mass, best, atol=1e-7)
    assert kkt <= KKT
    assert steps < NEWTON_STEPS


def test_a_course_that_may_never_have_laid_stays_open_between_the_two():
    # 6 laid by 7 and 3 never looked like it after 60; one ended at 20 unsettled
    after = [*[4] * 6, *[60] * 3, 10]
    by = [*[7] * 6, *[INF] * 3, 20]
    never = [*[False] * 9, True]
    fit = fit_turnbull(after, by, never)
    # nobody else lays in (10, 20], so that the course goes with those that never do
    np.testing.assert_allclose(share_by(fit, [6, 7, 100]), [0, 0.6, 0.6], atol=1e-9)
    laid = fit_turnbull([*after, 12], [*by, 15], [*never, False])
    # one more surely laid in (12, 15]: by hand, log late + log(late + never) + 3 log
    # never is largest where 1 / late + 1 / (late + never) = 11, the courses
    late = share_by(laid, [20])[0] - share_by(laid, [7])[0]
    never_mass = 1 - share_by(laid, [20])[0]
    assert 1 / late + 1 / (late + never_mass) == pytest.approx(11, abs=1e-6)


def test_mass_that_may_as_well_be_never_counts_as_never():
    fit = fit_turnbull([0, 0], [5, 5], [True, True])
    assert share_by(fit, [5, 50]).tolist() == [0, 0]
    assert fit.converged


def test_a_set_that_a_day_cuts_counts_from_its_right_end():
    fit = fit_turnbull([4], [9], [False])
    assert share_by(fit, [8, 9]).tolist() == [0, 1]
    assert fit.last_day == 9


@pytest.mark.parametrize(
    ("after", "by", "words"),
    [
        ([], [], "no courses"),
        ([5.0], [5.0], "empty"),
        ([np.nan], [5.0], "1 intervals are empty"),
        ([0.0, 5.0, np.nan, 9.0], [5.0, 5.0, 6.0, 8.0], "3 intervals are empty"),
        ([0.0, 1.0, 2.0], [5.0, 6.0], "one length"),
    ],
)
def test_input_that_forbids_a_fit_is_said_in_words(after, by, words):
    fit = fit_turnbull(after, by, np.zeros(len(after), bool))
    assert not fit.converged
    assert words in fit.message
    assert np.isnan(share_by(fit, [21])).all()
    many = fit_weighted_many(after, by, np.zeros(len(after), bool), np.ones((2, 1)))
    assert np.isnan(share_by(many, [21])).all()


def test_limits_by_batch_are_wider_where_batches_differ():
    after, by, batch = station(3)
    never = np.zeros(len(after), bool)
    together = batch_limits(after, by, never, clusters=batch, days=[21], seed=1)
    alone = np.arange(len(after))
    apart = batch_limits(after, by, never, clusters=alone, days=[21], seed=1)
    assert together.method == "jackknife over 40 batches"
    assert "in 50 parts" in apart.method
    assert together.low[0] < together.estimate[0] < together.high[0]
    assert together.se[0] > apart.se[0]


def test_limits_of_many_batches_depend_on_the_lot_and_not_on_the_order():
    after, by, batch = station(4, batches=70)
    never = np.zeros(len(after), bool)
    order = np.random.default_rng(0).permutation(len(after))
    one = batch_limits(after, by, never, clusters=batch, days=[14, 21], seed=7)
    other = batch_limits(
        after[order], by[order], never, clusters=batch[order], days=[14, 21], seed=7
    )
    np.testing.assert_allclose(one.low, other.low, atol=1e-12)
    np.testing.assert_allclose(one.high, other.high, atol=1e-12)
    third = batch_limits(after, by, never, clusters=batch, days=[14, 21], seed=8)
    assert not np.array_equal(one.low, third.low)


def test_few_batches_are_left_out_one_at_a_time():
    after, by, batch = station(5, courses=60, batches=6)
    never = np.zeros(60, bool)
    limits = batch_limits(after, by, never, clusters=batch, days=[21], seed=1)
    assert limits.method == "jackknife over 6 batches"
    without = [
        share_by(fit_turnbull(*(v[batch != b] for v in (after, by, never))), [21])[0]
        for b in range(6)
    ]
    expected = np.sqrt(5 / 6 * np.sum((without - np.mean(without)) ** 2))
    assert limits.se[0] == pytest.approx(expected, abs=1e-9)
    low, _ = logit_limits(limits.estimate, limits.se, 5)
    assert limits.low[0] == low[0]


def test_one_batch_and_one_answer_still_get_limits():
    single = batch_limits([0.0], [7.0], [False], clusters=["a"], days=[7], seed=1)
    low, high = wilson_limits([1.0], [1])
    assert (single.low[0], single.high[0]) == (low[0], high[0])
    after, by, _ = station(6, courses=30)
    never = np.zeros(30, bool)
    same = batch_limits(after, by, never, clusters=np.ones(30), days=[21], seed=1)
    assert same.method == "jackknife over 30 courses of one batch"
    assert same.low[0] < same.estimate[0] < same.high[0]
    without = [
        share_by(fit_turnbull(*(np.delete(v, i) for v in (after, by, never))), [21])[0]
        for i in range(30)
    ]
    expected = np.sqrt(29 / 30 * np.sum((without - np.mean(without)) ** 2))
    assert same.se[0] == pytest.approx(expected, abs=1e-9)
    all_laid = batch_limits(
        np.zeros(30),
        np.full(30, 9.0),
        np.zeros(30, bool),
        clusters=np.arange(30),
        days=[9],
        seed=1,
    )
    # Wilson, n of n: n / (n + z squared)
    assert all_laid.low[0] == pytest.approx(30 / (30 + 1.959964**2), abs=1e-7)
    assert all_laid.high[0] == pytest.approx(1, abs=1e-12)


def test_courses_of_one_batch_known_alike_are_left_out_one_at_a_time():
    """Also where some may never have laid, and some differ in nothing else."""
    after = np.array([0, 0, 0, 7, 7, 7, 7, 14, 14, 14, 14], float)
    by = np.array([9, 9, 9, 14, 14, 14, 14, INF, INF, 21, 21])
    never = np.array([0, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1], bool)
    given_ = after, by, never
    limits = batch_limits(*given_, clusters=np.ones(11), days=[9, 14, 21], seed=1)
    without = np.array(
        [
            share_by(fit_turnbull(*(np.delete(v, i) for v in given_)), [9, 14, 21])
            for i in range(11)
        ]
    )
    expected = np.sqrt(10 / 11 * np.sum((without - without.mean(axis=0)) ** 2, axis=0))
    np.testing.assert_allclose(limits.se, expected, atol=1e-7)
    assert (limits.se > 0.01).all()
    assert limits.batches == 11


def test_no_courses_have_no_limits():
    limits = batch_limits([], [], [], clusters=[], days=[21], seed=1)
    assert np.isnan(limits.low).all()
    assert (limits.batches, limits.method) == (0, "there are no courses")
    assert fit_turnbull([], [], []).iterations == 0


@pytest.mark.parametrize("weights", [[-1, 2], [0, 0], [np.nan, 1], [np.inf, 1]])
def test_weights_that_forbid_a_fit_are_said_in_words(weights):
    fit = fit_turnbull([0.0, 1], [5.0, 6], [False, False], weights)
    assert "weights" in fit.message
    assert not fit.converged


def test_a_weighting_of_nothing_has_no_fit_and_others_keep_theirs():
    weights = [[0, 0], [0, 1], [1, 0]]
    many = fit_weighted_many([0.0, 8], [5.0, 9], [False, False], weights)
    np.testing.assert_allclose(share_by(many, [5, 9])[1:], [[0, 1], [1, 1]])
    assert np.isnan(many.mass[0]).all()


@pytest.mark.parametrize("n", [1, 2, 30])
def test_wilson_s_limits_of_a_curve_agree_with_a_reference_library(n):
    for yes in (0, n / 2, n):
        low, high = wilson_limits([yes / n], [n])
        expected = proportion_confint(yes, n, method="wilson")
        assert (low[0], high[0]) == pytest.approx(expected, abs=1e-12)
    assert [float(limit[0]) for limit in wilson_limits([0.5], [0])] == [0, 1]


def test_limits_on_the_log_odds_by_hand():
    low, high = logit_limits([0.8], [0.05], 1)
    reach = t.ppf(0.975, 1) * 0.05 / 0.16
    assert logit([low[0], high[0]]) == pytest.approx(
        logit(0.8) + reach * np.array([-1, 1])
    )
    assert np.isnan(logit_limits([0.8], [0.05], 0)[0]).all()
    ends = logit_limits([0.0, 1.0], [0.05, 0.05], 5)
    assert [part.tolist() for part in ends] == [[0, 1], [0, 1]]


def test_a_share_that_does_not_vary_has_the_limits_of_its_count():
    share, se = [0.0, 1.0, 0.4, 0.4], [0.1, 0.1, 0.0, 0.1]
    low, high = share_limits(share, se, [9, 9, 9, 9], 1)
    own = wilson_limits(share, [9] * 4)
    usual = logit_limits(share, se, 1)
    assert low.tolist() == [*own[0][:3], usual[0][3]]
    assert high.tolist() == [*own[1][:3], usual[1][3]]
    assert share_limits(0.4, 0.1, 9, 0)[0] == own[0][3]


def test_a_jackknife_by_hand_with_refits_that_several_share():
    # 0.2 left out once and 0.6 three times: mean 0.5, squares 0.09 and 3 x 0.01
    shares = np.array([[0.2, 0.1], [np.nan, 0.9], [0.6, 0.1]])
    found = _jackknife(shares, np.array([1, 5, 3]))
    assert found == pytest.approx([np.sqrt(3 / 4 * 0.12), 0])
    assert _jackknife(shares[[0, 2]], np.ones(2))[0] == pytest.approx(0.2)
    assert np.isnan(_jackknife(shares[:2], np.array([1, 5]))).tolist() == [True, True]


def test_parts_hold_as_many_batches_or_one_more():
    assert by_lot(MOST_PARTS, seed=1).tolist() == list(range(MOST_PARTS))
    sizes = np.bincount(by_lot(3 * MOST_PARTS + 7, seed=1))
    assert sorted(sizes) == [3] * (MOST_PARTS - 7) + [4] * 7
    assert not np.array_equal(by_lot(90, seed=1), by_lot(90, seed=2))


@pytest.mark.parametrize("batches", [40, 130])
def test_limits_are_as_wide_as_batches_drawn_again_make_them(batches):
    """The bootstrap over clusters (Efron and Tibshirani 1993, chapter 13; from memory)."""
    after, by, batch = station(8, courses=12 * batches, batches=batches)
    never, days = np.zeros(len(after), bool), np.array([14, 21])
    found = batch_limits(after, by, never, clusters=batch, days=days, seed=1)
    draws = np.random.default_rng(3).multinomial(
        batches, np.full(batches, 1 / batches), 400
    )
    many = fit_weighted_many(after, by, never, draws, np.asarray(batch))
    spread = share_by(many, days).std(axis=0, ddof=1)
    # the error of the deviation itself: about 1 / sqrt(2 x 49) of it
    np.testing.assert_allclose(found.se, spread, rtol=0.3)


def test_limits_where_nothing_is_known_stand_on_the_courses_settled():
    # by day 7 two of three are settled: one laid by 7, one not looked at before 8
    found = batch_limits(
        [0.0, 8, 5], [7.0, 9, 12], [False] * 3, clusters=[1, 1, 2], days=[0], seed=1
    )
    low, high = wilson_limits([0.0], [3])
    assert (found.low[0], found.high[0]) == (low[0], high[0])
    empty = batch_limits([0.0], [7.0], [False], clusters=[1], days=[3], seed=1)
    assert (empty.low[0], empty.high[0]) == (0, 1)
