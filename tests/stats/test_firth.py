"""Firth's fit against logistf 1.26.1 and brglm2 0.9 in R 4.2.2."""

from __future__ import annotations

import numpy as np
import pytest
from logistic_data import births
from queen_outcomes.stats.logistic.penalised import fit_firth, penalised_lr_test
from scipy.special import expit

FIVE = ("lwt", "race", "smoke", "ht", "ui")


@pytest.fixture(scope="module")
def fit():
    return fit_firth(*births(*FIVE))


def test_birthwt_gives_logistf_s_coefficients_and_likelihood(fit):
    beta = [-0.0355254, -0.0154324, 1.2787229, 0.8903533, 0.9964247, 1.7661937]
    np.testing.assert_allclose(fit.beta, [*beta, 0.8844126], atol=2e-6)
    assert fit.penalised_log_likelihood == pytest.approx(-91.3779048, abs=1e-6)


def test_birthwt_gives_logistf_s_profile_limits_and_p(fit):
    smoke, ht = 4, 5
    assert fit.low[smoke] == pytest.approx(0.2615472, abs=2e-5)
    assert fit.high[smoke] == pytest.approx(1.7667253, abs=2e-5)
    assert fit.low[ht] == pytest.approx(0.5098841, abs=2e-5)
    assert fit.high[ht] == pytest.approx(3.1332833, abs=2e-5)
    assert penalised_lr_test(*births(*FIVE), [smoke]).p == pytest.approx(
        0.0076373, abs=1e-6
    )


def test_all_factors_at_once_against_logistf_s_null():
    # logistf prints the penalised log-likelihood of the null model as -106.109707
    test = penalised_lr_test(*births(*FIVE), range(1, 7))
    assert test.df == 6
    assert test.statistic / 2 == pytest.approx(106.109707 - 91.3779048, abs=1e-5)


def test_standard_errors_are_those_of_the_fisher_information():
    # brglm2's definition; logistf inverts another matrix and prints smaller ones
    X, y = births(*FIVE)
    firth = fit_firth(X, y, profile=False)
    p = expit(X @ firth.beta)
    cov = np.linalg.inv((X * (p * (1 - p))[:, None]).T @ X)
    np.testing.assert_allclose(firth.cov, cov, rtol=1e-8)


def test_a_two_by_two_table_with_an_empty_cell_has_the_closed_form():
    # 0 of 10 against 5 of 20; a half added to each cell; limits and P by logistf 1.26.1
    X = np.column_stack([np.ones(30), np.repeat([1.0, 0.0], [10, 20])])
    y = np.r_[np.zeros(10), np.ones(5), np.zeros(15)]
    fit = fit_firth(X, y)
    exact = np.log(0.5 * 15.5 / (10.5 * 5.5))
    assert exact == pytest.approx(-2.0084305, abs=5e-8)
    assert fit.beta[1] == pytest.approx(exact, abs=1e-9)
    assert fit.low[1] == pytest.approx(-6.9251291, abs=1e-4)
    assert fit.high[1] == pytest.approx(0.3358827, abs=1e-5)
    assert penalised_lr_test(X, y, [1]).p == pytest.approx(0.1025566, abs=1e-6)


def test_the_corrected_intercept_brings_back_the_observed_share(fit):
    # Puhr et al. 2017: FLIC; the uncorrected mean is too near one half
    X, y = births(*FIVE)
    assert abs(expit(X @ fit.beta).mean() - y.mean()) > 1e-3
    assert expit(X @ fit.flic_beta).mean() == pytest.approx(y.mean(), abs=1e-12)
    np.testing.assert_array_equal(fit.flic_beta[1:], fit.beta[1:])
