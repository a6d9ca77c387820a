"""Firth's fit against logistf 1.26.1 and brglm2 0.9 in R 4.2.2.

Firth's fit where the plain one has none, and what may not change it.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from likelihood_tests import penalised_lr_test
from logistic_data import births
from queen_outcomes.stats.logistic import penalised
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.logistic.odds_shift import odds_shift
from queen_outcomes.stats.logistic.penalised import (
    _hessian,
    _remarks,
    climb,
    fit_firth,
    place,
)
from queen_outcomes.stats.logistic.plain import Rows, basis_of
from random_courses import courses
from scipy.special import expit
from scipy.stats import chi2

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


def separated():
    """Ten courses that a dose of five tells apart."""
    dose = np.arange(10.0)
    return np.column_stack([np.ones(10), dose]), (dose >= 5).astype(float)


def penalised_log_likelihood(X, y, beta):
    eta = X @ beta
    p = expit(eta)
    information = (X * (p * (1 - p))[:, None]).T @ X
    return (
        np.sum(y * eta - np.logaddexp(0, eta)) + np.linalg.slogdet(information)[1] / 2
    )


def test_separated_answers_have_finite_estimates_and_limits():
    fit = fit_firth(*separated())
    assert fit.converged
    assert np.isfinite(fit.beta).all()
    assert 0 < fit.low[1] < fit.beta[1] < fit.high[1]
    assert penalised_lr_test(*separated(), [1]).p < 0.01


def test_the_estimate_is_a_maximum_of_the_penalised_likelihood():
    X, y, _ = courses(n=60)
    fit = fit_firth(X, y, profile=False)
    top = penalised_log_likelihood(X, y, fit.beta)
    assert fit.penalised_log_likelihood == pytest.approx(top, abs=1e-9)
    for away in np.vstack([np.diag(fit.beta), -np.diag(fit.beta)]) * 1e-3:
        assert penalised_log_likelihood(X, y, fit.beta + away) < top


def test_at_a_limit_the_likelihood_has_fallen_by_just_enough():
    X, y = separated()
    fit = fit_firth(X, y)
    for limit in (fit.low[1], fit.high[1]):
        grid = np.linspace(-limit * 12, 0, 20001)
        held = max(
            penalised_log_likelihood(X, y, np.array([a, limit])) for a in grid[::50]
        )
        near = 2 * (fit.penalised_log_likelihood - held)
        assert near == pytest.approx(chi2.isf(0.05, 1), abs=2e-2)


def test_the_curvature_is_the_derivative_of_the_score():
    X, y, _ = courses(n=50)
    Z = basis_of(X)[0].Z
    rows = Rows(X, y, np.tile([1.0, 3.0], 25))
    gamma = np.array([0.3, -0.5, 0.8, 0.1])
    curvature = _hessian(rows, Z, place(rows, Z, gamma))
    for j, step in enumerate(np.eye(4) * 1e-5):
        up, down = (place(rows, Z, gamma + s).score for s in (step, -step))
        np.testing.assert_allclose(curvature[j], (up - down) / 2e-5, rtol=1e-6)


@pytest.mark.parametrize("seed", range(15))
def test_saturated_and_separated_small_data_have_every_limit(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(6, 12))
    X = np.column_stack([np.ones(n), rng.normal(size=(n, 4))])
    y = (rng.random(n) < 0.3).astype(float)
    fit = fit_firth(X, y)
    assert fit.converged
    assert np.all((fit.low < fit.beta) & (fit.beta < fit.high))
    p = np.array([penalised_lr_test(X, y, [j]).p for j in range(5)])
    assert np.all((p > 0.05) == ((fit.low < 0) & (fit.high > 0)))


def test_units_and_order_do_not_change_the_fit():
    X, y, _ = courses(n=80)
    scale, order = np.array([1.0, 1000.0, 0.001, 1.0]), np.arange(80)[::-1]
    one, other = fit_firth(X, y), fit_firth(X[order] * scale, y[order])
    for name in ("beta", "low", "high"):
        np.testing.assert_allclose(
            getattr(other, name) * scale, getattr(one, name), rtol=1e-6
        )
    again = fit_firth(X[order], y[order])
    np.testing.assert_array_equal(again.beta, one.beta)


def test_answers_all_alike_are_fitted_and_said():
    X = np.column_stack([np.ones(12), np.arange(12.0)])
    fit = fit_firth(X, np.zeros(12))
    assert fit.converged
    assert fit.message == "every answer is no"
    np.testing.assert_array_equal(fit.flic_beta, fit.beta)


def test_an_intercept_alone_adds_half_a_course_to_either_answer():
    fit = fit_firth(np.ones((20, 1)), np.r_[np.ones(3), np.zeros(17)])
    assert fit.beta[0] == pytest.approx(np.log(3.5 / 17.5), abs=1e-10)


@pytest.mark.parametrize(
    ("X", "y", "words"),
    [
        (np.ones((5, 2)), np.ones(5), "more terms"),
        (np.ones((2, 3)), np.ones(2), "more terms"),
        ([[1, np.nan], [1, 0]], [0, 1], "missing"),
        (np.empty((0, 2)), [], "no courses"),
        ([[1, 2, 4], [1, 3, 6], [1, 1, 2]], [0, 1, 1], "determine"),
    ],
)
def test_data_that_allow_no_fit_give_a_reason(X, y, words):
    fit = fit_firth(X, y)
    assert words in fit.message
    assert not fit.converged
    assert np.isnan(fit.low).all()
    assert np.isnan(penalised_lr_test(X, y, [1]).p)


def test_a_shift_reaches_extreme_shares():
    X, _ = separated()
    eta = X @ [40.0, 3.0]
    assert expit(eta + odds_shift(eta, 1.0)).mean() == pytest.approx(0.1, abs=1e-9)


def test_a_shift_of_averaged_odds_meets_any_number():
    eta = np.array([-30.0, -1.0, 0.0, 2.0, 25.0])

    def averaged(x):
        return integrate_random(x, 3.0)[0]

    for observed in (1e-3, 0.5, 2.5, 4.9, 4.999):
        moved = odds_shift(eta, observed, averaged)
        assert averaged(eta + moved).sum() == pytest.approx(observed, abs=1e-9)
    assert odds_shift(eta, 0.0) == -np.inf
    assert odds_shift(eta, 5.0) == np.inf
    assert odds_shift(eta[:1], 1.0) == np.inf


def small():
    X, y, _ = courses(n=50)
    Z = basis_of(X)[0].Z
    return Rows(X, y, np.ones(50)), Z


def test_a_climb_goes_by_the_information_first_and_then_by_the_curvature(monkeypatch):
    rows, Z = small()
    monkeypatch.setattr(penalised, "FIRST_BY_SCORING", 2)
    flags, bent, step = [], [], penalised._step

    def spy(rows, Z, now, k, newton):
        flags.append(newton)
        return step(rows, Z, now, k, newton)

    monkeypatch.setattr(penalised, "_step", spy)
    monkeypatch.setattr(
        penalised, "_hessian", lambda *at: bent.append(at) or _hessian(*at)
    )
    found = climb(rows, Z, np.zeros(4))
    assert found.reached
    assert found.score == pytest.approx(np.zeros(4), abs=1e-6)
    assert flags == [False] * 2 + [True] * (len(flags) - 2)
    assert len(bent) == len(flags) - 2 > 0
    assert len(flags) < 9
    held = climb(rows, Z, np.array([0.0, 0, 0, 0.5]), held=1)
    assert held.gamma[3] == 0.5
    assert held.score[:3] == pytest.approx(np.zeros(3), abs=1e-6)
    assert climb(rows, Z[:, :1], np.array([0.3]), held=1).gamma == [0.3]


def test_a_step_is_halved_until_it_does_not_lead_down(monkeypatch):
    rows, Z = small()
    now = place(rows, Z, np.zeros(4))
    far = 40 * np.linalg.solve(now.information, now.score)
    values = [place(rows, Z, far / 2**k).value for k in range(20)]
    first = next(k for k, value in enumerate(values) if value >= now.value)
    assert first > 1
    found = penalised._upwards(rows, Z, now, far)
    assert found.gamma == pytest.approx(far / 2**first, rel=1e-12)
    looks = []
    monkeypatch.setattr(penalised, "place", lambda *at: looks.append(at) or place(*at))
    penalised._upwards(rows, Z, now, 0 * far)
    assert len(looks) == 1


def walked(drop, slope, se=1.0):
    """Walk to a fall of 4 in likelihood, from 10; where it has been and where it ends."""
    seen = []

    def fall(value, start):
        seen.append(value)
        return drop(value - 10), slope, start

    profile = SimpleNamespace(fall=fall, best=None)
    return penalised._limit(profile, 10.0, se, 4.0), seen


def test_a_limit_is_walked_to_by_newton_s_steps_within_its_bracket():
    assert walked(lambda away: away**2, 0.0) == (12, [12])
    found, seen = walked(abs, 1.0)
    assert (found, seen) == (14, [12, 14])
    found, seen = walked(abs, -1.0, se=-1.0)
    assert (found, seen) == (6, [8, 6])
    # without a slope: half as far again on either side, then halves
    found, seen = walked(abs, 0.0)
    assert seen[:5] == [12, 16, 14]
    found, seen = walked(lambda away: away / 1.1, 0.0)
    assert seen[:4] == [12, 16, 14, 15]
    assert found == pytest.approx(14.4)
    # a slope that leads out of the bracket is not followed
    assert walked(lambda away: away / 1.1, -1.0)[1][:3] == [12, 16, 14]
    assert walked(lambda away: away / 1.1, 1e-3)[1][:2] == [12, 16]
    assert np.isnan(walked(lambda away: -1e-3, 0.0)[0])
    for side in (1.0, -1.0):
        assert walked(lambda away: 0.5, 0.0, side)[0] == side * np.inf


def test_columns_without_a_limit_are_named():
    rows, _ = small()
    low, high = np.array([np.nan, 0.0, 0]), np.array([1.0, 1, np.inf])
    assert _remarks(rows, low[1:2], high[1:2]) == ""
    words = "no limit was found for columns: 0, 2"
    assert _remarks(rows, low, high) == words
    alike = replace(rows, y=np.zeros(50))
    assert _remarks(alike, low, high) == f"every answer is no; {words}"
    assert _remarks(alike, low[1:2], high[1:2]) == "every answer is no"
    assert fit_firth(np.ones(3), [0, 1, 1]).cov.shape == (0, 0)
