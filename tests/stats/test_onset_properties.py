"""The onset model: derivatives, robust variance, averages, and data that forbid a fit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.onset.onset_averages import (
    Average,
    days_shift,
    followed_share,
    laying_by,
    laying_shift,
    median_day,
    onset_day,
    p_of,
)
from queen_outcomes.stats.onset.onset_fit import (
    Courses,
    derivatives,
    fit_onset,
    log_likelihood,
)
from scipy.linalg import sqrtm
from scipy.special import expit
from scipy.stats import t

INF = np.inf


def station(seed, courses=300, batches=25):
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(courses), rng.normal(size=courses)])
    Z = np.column_stack([np.ones(courses), rng.integers(0, 2, courses)])
    lays = rng.random(courses) < expit(1 + 0.6 * X[:, 1])
    day = np.exp(2.4 + 0.2 * Z[:, 1] + rng.normal(0, 0.35, courses))
    looks = np.array([0, 7, 11, 14, 21, 28, 60])
    place = np.searchsorted(looks, day)
    known = lays & (place < len(looks))
    after = np.where(known, looks[np.maximum(place - 1, 0)], 28.0)
    by = np.where(known, np.append(looks, INF)[place], INF)
    ended = ~known & (rng.random(courses) < 0.3)
    by, after = np.where(ended, 18, by), np.where(ended, 9, after)
    return X, Z, after, by, ended, rng.integers(0, batches, courses)


@given(
    st.lists(st.floats(-2, 2), min_size=5, max_size=5),
    st.integers(0, 50),
    st.booleans(),
)
@settings(max_examples=40, deadline=None)
def test_the_derivatives_are_those_of_the_likelihood(shift, seed, everybody):
    X, Z, after, by, ended, _ = station(seed, courses=40)
    with np.errstate(divide="ignore"):
        ends = np.log(after), np.log(by), ended | np.isinf(by)
    courses = Courses(X[:, :0] if everybody else X, Z, *ends, everybody)
    parameter = np.array([1, 0.5, 2.4, 0.2, -1]) + np.multiply(shift, 0.4)
    parameter = parameter[2:] if everybody else parameter
    found, step = derivatives(courses, parameter), 1e-5
    sides = step * np.eye(len(parameter))
    slope = [
        (
            log_likelihood(courses, parameter + e)
            - log_likelihood(courses, parameter - e)
        )
        / (2 * step)
        for e in sides
    ]
    np.testing.assert_allclose(found.scores.sum(axis=0), slope, rtol=1e-6, atol=1e-5)
    bend = [
        (
            derivatives(courses, parameter + e).scores.sum(axis=0)
            - derivatives(courses, parameter - e).scores.sum(axis=0)
        )
        / (2 * step)
        for e in sides
    ]
    np.testing.assert_allclose(-found.information, bend, rtol=1e-5, atol=1e-4)


def test_the_likelihood_stays_finite_far_out_in_both_tails():
    ones = np.ones((2, 1))
    for middle in (-60.0, 60.0):
        courses = Courses(
            ones,
            ones,
            np.array([2.0, -INF]),
            np.array([2.1, 2.0]),
            np.zeros(2, bool),
            False,
        )
        found = derivatives(courses, np.array([0.0, middle, 0.0]))
        assert np.isfinite(found.value)
        assert np.isfinite(found.scores).all()


def at_the_maximum(fit, X, Z, after, by, ended, rows=slice(None)):
    """Give scores and information of some of the courses."""
    with np.errstate(divide="ignore"):
        ends = np.log(after), np.log(by), ended | np.isinf(by)
    courses = Courses(X[rows], Z[rows], *(part[rows] for part in ends), False)
    return derivatives(courses, np.array([*fit.gamma, *fit.beta, np.log(fit.sigma)]))


def test_the_variance_of_many_batches_is_the_sandwich():
    *data, batch = station(1, courses=400, batches=40)
    fit = fit_onset(*data, batch)
    at = at_the_maximum(fit, *data)
    np.testing.assert_allclose(at.scores.sum(axis=0), 0, atol=1e-4)
    sums = np.array([at.scores[batch == b].sum(axis=0) for b in range(40)])
    bread = np.linalg.inv(at.information)
    expected = bread @ (sums.T @ sums) @ bread * 40 / 39
    np.testing.assert_allclose(fit.cov_joint, expected, rtol=1e-6, atol=1e-9)
    assert (fit.clusters, fit.converged, fit.message) == (40, True, "")
    assert fit.df(np.ones(5)) == 39


def test_the_variance_of_few_batches_is_raised_for_their_pull():
    """Scores raised by (1 - T)^(-1/2), T the batch's part; by another square root."""
    *data, batch = station(1, batches=12)
    fit = fit_onset(*data, batch)
    whole = at_the_maximum(fit, *data)
    root = np.real(sqrtm(np.linalg.inv(whole.information)))
    expected = np.zeros((5, 5))
    for b in range(12):
        part = at_the_maximum(fit, *data, rows=batch == b)
        less = np.eye(5) - root @ part.information @ root
        pull = root @ np.linalg.inv(sqrtm(less)) @ root @ part.scores.sum(axis=0)
        expected += np.outer(pull, pull)
    np.testing.assert_allclose(fit.cov_joint, expected, rtol=1e-5, atol=1e-8)
    for contrast in np.eye(5):
        assert 1 <= fit.df(contrast) < 11


def test_a_factor_of_two_whole_batches_has_few_degrees_of_freedom():
    *data, batch = station(5, batches=12)
    X = np.column_stack([data[0][:, 0], batch < 2])
    fit = fit_onset(X, *data[1:], batch)
    assert fit.df([0, 1, 0, 0, 0]) < 3
    assert fit.df([0, 0, 1, 0, 0]) > 6


def test_the_order_of_the_courses_changes_nothing():
    data = station(2)
    order = np.random.default_rng(0).permutation(len(data[0]))
    one, other = fit_onset(*data), fit_onset(*(part[order] for part in data))
    np.testing.assert_allclose(one.gamma, other.gamma, atol=1e-8)
    np.testing.assert_allclose(one.cov_joint, other.cov_joint, atol=1e-8)


def test_units_of_a_column_change_its_coefficient_alone():
    X, Z, after, by, ended, batch = station(3)
    one = fit_onset(X, Z, after, by, ended, batch)
    other = fit_onset(X * [1, 1e4], Z * [1, 1e-3], after, by, ended, batch)
    np.testing.assert_allclose(other.gamma * [1, 1e4], one.gamma, rtol=1e-6)
    np.testing.assert_allclose(other.beta * [1, 1e-3], one.beta, rtol=1e-6)
    here = laying_by(one, X, Z, 21)
    there = laying_by(other, X * [1, 1e4], Z * [1, 1e-3], 21)
    assert there.low == pytest.approx(here.low, rel=1e-6)


def test_the_averages_have_the_delta_methods_limits():
    X, Z, after, by, ended, batch = station(4)
    fit = fit_onset(X, Z, after, by, ended, batch)
    parameter = np.array([*fit.gamma, *fit.beta, np.log(fit.sigma)])

    def moved(by_):
        p = parameter + by_
        values = (p[:2], p[2:4], float(np.exp(p[4])), fit.cov_joint, 0.0, True, "")
        return type(fit)(*values, "mixture", fit.clusters, fit.layers)

    later, sooner = (X, Z), (X * [1, 2], Z * [1, 0])
    figures = (
        lambda f: laying_by(f, X, Z, 21),
        lambda f: laying_shift(f, later, sooner, 21),
        lambda f: days_shift(f, Z * [1, 0], Z * [1, 0] + [0, 1]),
        lambda f: median_day(f, Z),
    )
    for figure in figures:
        slope = [
            (figure(moved(e)).estimate - figure(moved(-e)).estimate) / 2e-5
            for e in 1e-5 * np.eye(5)
        ]
        se = np.sqrt(slope @ fit.cov_joint @ slope)
        found = figure(fit)
        assert found.se == pytest.approx(se, rel=1e-6)
        assert found.low < found.estimate < found.high
    shift = figures[2](fit)
    assert 5 < shift.df < 24  # under 40 batches each contrast has its own
    reach = t.ppf(0.975, shift.df) * shift.se
    assert shift.high - shift.estimate == pytest.approx(reach)
    tail = 2 * t.sf(abs(shift.estimate / shift.se), shift.df)
    assert p_of(shift) == pytest.approx(tail)
    day = figures[3](fit)
    assert day.estimate == pytest.approx(onset_day(fit, Z).mean())
    assert day.high / day.estimate == pytest.approx(day.estimate / day.low)


def test_laying_rises_with_the_day_to_the_chance_of_laying():
    X, Z, after, by, ended, batch = station(5)
    fit = fit_onset(X, Z, after, by, ended, batch)
    shares = [laying_by(fit, X, Z, day).estimate for day in (0, 5, 14, 21, 1e6)]
    assert shares == sorted(shares)
    assert shares[0] == 0
    assert shares[-1] == pytest.approx(expit(X @ fit.gamma).mean())
    early, late = onset_day(fit, Z, 0.5), onset_day(fit, Z, 0.95)
    assert (early < late).all()
    assert followed_share(fit, Z, late) == 1
    assert followed_share(fit, Z, early) == 0
    assert followed_share(fit, Z[:0], []) == 1


def test_a_course_counts_in_an_average_for_what_it_is_worth():
    X, Z, after, by, ended, batch = station(5)
    fit = fit_onset(X, Z, after, by, ended, batch)
    worth = np.arange(300) % 3
    copies = np.repeat(np.arange(300), worth)
    late = X * [1, 2], Z * [1, 0]
    figures = (
        lambda rows, worth: laying_by(fit, X[rows], Z[rows], 21, worth),
        lambda rows, worth: laying_shift(
            fit, (X[rows], Z[rows]), tuple(part[rows] for part in late), 21, worth
        ),
        lambda rows, worth: days_shift(fit, Z[rows], late[1][rows], worth),
        lambda rows, worth: median_day(fit, Z[rows], worth),
    )
    for figure in figures:
        one, other = figure(slice(None), worth), figure(copies, None)
        assert (one.estimate, one.se) == pytest.approx((other.estimate, other.se))
    share = followed_share(fit, Z, after, worth=worth)
    assert share == pytest.approx(followed_share(fit, Z[copies], after[copies]))
    assert 0 < share < 1


def test_without_a_deviation_or_a_fit_there_is_no_p_and_nobody_is_followed():
    assert np.isnan(p_of(Average(1.0, 1.0, 1.0, 0.0, 9)))
    assert p_of(Average(1.0, 0.0, 2.0, 0.5, 9)) == pytest.approx(2 * t.sf(2, 9))
    none = fit_onset(np.ones(3), np.ones(3), [0] * 3, [9] * 3, [False] * 3)
    assert np.isnan(followed_share(none, np.ones((2, 1)), [1, 2]))


def test_nobody_laying_is_an_answer_in_words():
    ones = np.ones((20, 1))
    fit = fit_onset(ones, ones, np.full(20, 30.0), np.full(20, INF), np.zeros(20, bool))
    assert (fit.kind, fit.converged) == ("nobody", False)
    assert fit.message == "no course is known to have laid"
    share = laying_by(fit, ones, ones, 21)
    assert share.estimate == 0
    assert np.isnan(share.low)
    assert laying_shift(fit, (ones, ones), (ones, ones), 21).estimate == 0


def test_a_line_that_always_lays_is_named_as_separated():
    X, Z, after, by, ended, batch = station(6)
    line = (np.arange(300) % 3 == 0).astype(float)
    own = (line == 0) | ~(ended | np.isinf(by))
    with_line = np.column_stack([X, line])[own]
    rest = (part[own] for part in (Z, after, by, ended, batch))
    fit = fit_onset(with_line, *rest)
    assert not fit.converged
    assert "separates" in fit.message


def test_days_all_in_one_interval_do_not_tell_a_spread():
    ones = np.ones((30, 1))
    by = np.array([*[9.0] * 20, *[INF] * 10])
    after = np.array([*[8.0] * 20, *[40.0] * 10])
    fit = fit_onset(ones, ones, after, by, np.zeros(30, bool))
    assert not fit.converged
    assert "narrow" in fit.message or "determine" in fit.message


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"X": np.ones((30, 2))}, "chance depend on each other"),
        ({"Z": np.ones((30, 2))}, "day depend on each other"),
        ({"X": np.full((30, 1), np.nan)}, "what is no number"),
        ({"by": np.zeros(30)}, "day 0 or before"),
        ({"by": np.ones(29)}, "one length"),
        ({"X": np.ones((0, 1))}, "no courses"),
        ({"by": np.array([9.0] + [INF] * 29)}, "too few"),
    ],
)
def test_data_that_forbid_a_fit_are_said_in_words(change, words):
    given_ = {
        "X": np.ones((30, 1)),
        "Z": np.ones((30, 1)),
        "after": np.zeros(30),
        "by": np.tile([9.0, 14.0], 15),
        "or_never": np.zeros(30, bool),
    }
    fit = fit_onset(**(given_ | change))
    assert (fit.kind, fit.converged) == ("none", False)
    assert words in fit.message
    assert np.isnan(fit.gamma).all()


def test_one_batch_lets_every_course_stand_for_itself():
    X, Z, after, by, ended, _ = station(8)
    one = fit_onset(X, Z, after, by, ended, np.zeros(300))
    alone = fit_onset(X, Z, after, by, ended)
    assert one.clusters == alone.clusters == 300
    assert np.array_equal(one.cov_joint, alone.cov_joint)
