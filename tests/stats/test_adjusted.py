"""Adjusted probabilities: derivative, weights, random intercepts, degenerate cases."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.logistic.adjusted import (
    adjusted_probabilities,
    contrast,
    e_value,
)
from queen_outcomes.stats.logistic.plain import fit_plain
from random_courses import courses
from scipy.special import expit


def design(value):
    X, _, _ = courses()
    return np.column_stack([X[:, :1], np.full(300, value), X[:, 2:]])


@pytest.fixture(scope="module")
def fit():
    X, y, _ = courses()
    return fit_plain(X, y)


def test_the_gradient_is_the_derivative(fit):
    found = adjusted_probabilities(design, [9.0], fit.beta, fit.cov)
    for j in range(4):
        step = np.zeros(4)
        step[j] = 1e-6
        up, down = (expit(design(9.0) @ (fit.beta + s)).mean() for s in (step, -step))
        assert found.gradient[0, j] == pytest.approx((up - down) / 2e-6, rel=1e-5)


def test_limits_lie_within_zero_and_one_and_hold_the_estimate(fit):
    found = adjusted_probabilities(design, [-40.0, 10.0, 60.0], fit.beta, fit.cov)
    assert np.all((found.low > 0) & (found.high < 1))
    assert np.all((found.low < found.probability) & (found.probability < found.high))


def test_the_average_over_a_random_intercept_lies_nearer_one_half(fit):
    nodes, weight = np.polynomial.hermite_e.hermegauss(25)
    weight = weight / weight.sum()

    def averaged(eta):
        p = expit(eta[:, None] + 1.5 * nodes)
        return p @ weight, (p * (1 - p)) @ weight

    plain = adjusted_probabilities(design, [13.0], fit.beta, fit.cov)
    mixed = adjusted_probabilities(
        design, [13.0], fit.beta, fit.cov, mean_probability=averaged
    )
    assert 0.5 < mixed.probability[0] < plain.probability[0]


def test_weights_choose_the_courses_that_are_averaged(fit):
    weights = (np.arange(300) < 50).astype(float)
    found = adjusted_probabilities(design, [9.0], fit.beta, fit.cov, weights=weights)
    assert found.probability[0] == pytest.approx(
        expit(design(9.0)[:50] @ fit.beta).mean()
    )


def test_ratios_agree_with_the_probabilities_and_with_each_other(fit):
    found = adjusted_probabilities(design, [9.0, 11.0], fit.beta, fit.cov)
    there, back = contrast(found, 0, 1), contrast(found, 1, 0)
    p, q = found.probability
    assert there.odds_ratio.estimate == pytest.approx(p / (1 - p) / (q / (1 - q)))
    assert there.failure_ratio.estimate == pytest.approx((1 - p) / (1 - q))
    assert there.difference.low == pytest.approx(-back.difference.high)
    for name in ("odds_ratio", "risk_ratio", "failure_ratio"):
        one, other = getattr(there, name), getattr(back, name)
        assert one.low == pytest.approx(1 / other.high)
    assert there.p == pytest.approx(back.p)


def test_few_degrees_of_freedom_widen_the_limits(fit):
    wide = adjusted_probabilities(design, [9.0, 11.0], fit.beta, fit.cov, df=5)
    narrow = adjusted_probabilities(design, [9.0, 11.0], fit.beta, fit.cov)
    assert np.all(wide.high > narrow.high)
    assert contrast(wide, 0, 1, df=5).p > contrast(narrow, 0, 1).p


def test_a_model_without_a_fit_gives_words_and_no_number():
    blank = np.full(4, np.nan)
    found = adjusted_probabilities(design, [9.0], blank, np.full((4, 4), np.nan))
    assert found.message == "the model gives no estimate"
    assert np.isnan(found.probability).all()


def test_the_same_value_twice_differs_by_nothing(fit):
    found = adjusted_probabilities(design, [9.0, 9.0], fit.beta, fit.cov)
    pair = contrast(found, 0, 1)
    assert pair.difference.estimate == pair.difference.se == 0.0
    assert np.isnan(pair.p)


def test_an_e_value_of_one_and_of_nonsense():
    assert e_value(1.0, 0.5, 2.0).estimate == 1.0
    assert np.isnan(e_value(-1.0, 0.0, 0.0).estimate)
