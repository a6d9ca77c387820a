"""What holds for any plain fit, and what a fit says about data that allow none."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.logistic.plain import collapse_rows, fit_plain, wald_test
from random_courses import courses
from scipy.special import expit


def test_units_do_not_change_the_fitted_probabilities():
    X, y, _ = courses()
    by_thousand = X * np.array([1.0, 1000.0, 0.001, 1.0])
    one, other = fit_plain(X, y), fit_plain(by_thousand, y)
    np.testing.assert_allclose(
        expit(by_thousand @ other.beta), expit(X @ one.beta), atol=1e-10
    )
    assert other.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-12)


def test_shuffled_rows_sorted_back_give_the_same_fit():
    X, y, _ = courses()
    one = fit_plain(*collapse_rows(X, y))
    order = np.random.default_rng(5).permutation(len(y))
    other = fit_plain(*collapse_rows(X[order], y[order]))
    np.testing.assert_array_equal(one.beta, other.beta)
    shuffled = fit_plain(X[order], y[order])
    np.testing.assert_allclose(shuffled.beta, one.beta, rtol=1e-10)


def test_turning_yes_and_no_round_turns_the_signs():
    X, y, _ = courses()
    np.testing.assert_allclose(fit_plain(X, 1 - y).beta, -fit_plain(X, y).beta)


def test_rows_of_weight_zero_take_no_part():
    X, y, _ = courses(n=100)
    weights = np.r_[np.ones(60), np.zeros(40)]
    np.testing.assert_array_equal(
        fit_plain(X, y, weights).beta, fit_plain(X[:60], y[:60]).beta
    )


def test_the_mean_fitted_probability_is_the_observed_share():
    X, y, _ = courses()
    assert expit(X @ fit_plain(X, y).beta).mean() == pytest.approx(y.mean(), abs=1e-12)


def faulty():
    X, y, _ = courses(n=40)
    holed, apart = X.copy(), (X[:, 1] > 10).astype(float)
    holed[3, 1] = np.nan
    twice = np.column_stack([X, np.full(40, 7.0)])
    return {
        "every answer is yes": (X, np.ones(40)),
        "every answer is no": (X, np.zeros(40)),
        "missing": (holed, y),
        "neither": (X, y + 1),
        "determine: 4": (twice, y),
        "more terms": (X[:3], y[:3]),
        "differ in length": (X, y[:5]),
        "there are no courses": (X, y, np.zeros(40)),
        "no finite estimate": (X, apart),
    }


@pytest.mark.parametrize("words", list(faulty()))
def test_data_that_allow_no_fit_give_a_reason_and_no_number(words):
    fit = fit_plain(*faulty()[words])
    assert words in fit.message
    assert not fit.converged
    assert np.isnan(fit.beta).all()
    assert np.isnan(fit.log_likelihood)


def test_no_rows_at_all_give_a_reason():
    assert not fit_plain(np.empty((0, 2)), np.empty(0)).converged


def test_a_column_far_from_zero_is_fitted_as_well_as_a_centred_one():
    X, y, _ = courses()
    year = 2020.0 + np.arange(300) % 4
    far = fit_plain(np.column_stack([X, year]), y)
    near = fit_plain(np.column_stack([X, year - 2021]), y)
    np.testing.assert_allclose(far.beta[1:], near.beta[1:], rtol=1e-8)


def test_a_singular_covariance_gives_no_wald_test():
    assert np.isnan(wald_test([1.0, 2.0], np.zeros((2, 2)), [0, 1]).statistic)
