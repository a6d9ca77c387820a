"""Coefficients drawn to zero: a ridge by another library, and by large matrices."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from logistic_data import births
from queen_outcomes.stats.logistic import mixed
from queen_outcomes.stats.logistic.mixed import fit_again, fit_mixed, prepare
from queen_outcomes.stats.logistic.mixed_laplace import Laplace
from queen_outcomes.stats.logistic.plain import fit_plain, wald_test
from queen_outcomes.stats.logistic.robust import cluster_cov, satterthwaite_df
from random_courses import courses
from scipy.special import expit

FACTORS = ("lwt", "race", "smoke", "ht", "ui")
PULL = np.array([0.0, 400.0, 0.0, 6.0, 1.5, 0.0, 10.0])
"""By column of the births' factors, the constant first."""


def information(X, beta):
    chance = expit(X @ beta)
    return (X * (chance * (1 - chance))[:, None]).T @ X


def test_a_plain_fit_with_drawn_columns_is_statsmodels_ridge():
    # Hosmer & Lemeshow's births; statsmodels' elastic net, all of it ridge
    X, y = births(*FACTORS)
    model = sm.GLM(y, X, family=sm.families.Binomial())
    known = model.fit_regularized(alpha=PULL / len(y), L1_wt=0.0, cnvrg_tol=1e-12)
    found = fit_plain(X, y, pull=PULL)
    np.testing.assert_allclose(found.beta, known.params, rtol=2e-4, atol=2e-5)
    cov = np.linalg.inv(information(X, found.beta) + np.diag(PULL))
    np.testing.assert_allclose(found.cov, cov, rtol=1e-8)
    free = fit_plain(X, y).beta
    assert PULL @ found.beta**2 < 0.9 * (PULL @ free**2)


def test_a_mixed_fit_without_spread_is_the_plain_one():
    X, y = births(*FACTORS)
    # everybody alone or in one level: there is no spread to find
    found = fit_mixed(X, y, {"batch": np.zeros(len(y), int)}, pull=PULL)
    plain = fit_plain(X, y, pull=PULL)
    assert found.theta_sd == {"batch": 0.0}
    np.testing.assert_allclose(found.beta, plain.beta, rtol=1e-5, atol=1e-7)
    np.testing.assert_allclose(found.cov_beta, plain.cov, rtol=1e-4, atol=1e-10)


def station(seed=3):
    rng = np.random.default_rng(seed)
    groups = {"graft": np.repeat(np.arange(40), 10), "hand": rng.integers(0, 6, 400)}
    x = rng.normal(0, 1, 400)
    X = np.column_stack([np.ones(400), x, x**2])
    eta = X @ [0.8, 0.4, -0.3] + rng.normal(0, 0.7, 40)[groups["graft"]]
    return X, (rng.random(400) < expit(eta)).astype(float), groups


def test_the_slope_with_drawn_columns_is_that_of_the_value():
    X, y, groups = station()
    ones, pull = np.ones(400), np.array([0.0, 0.0, 9.0])
    ready = prepare(X, y, list(groups.values()), ones, ones, pull)
    model, point = Laplace(ready.rows, ready.pull), ready.start + 0.3
    sd = np.array([0.6, 0.2])
    slope = model.slope(point, sd)[1]
    for place in range(3):
        move = np.zeros(3)
        move[place] = 1e-5
        rise = model.value(point + move, sd) - model.value(point - move, sd)
        assert rise / 2e-5 == pytest.approx(slope[place], abs=1e-5)


def test_units_of_a_drawn_column_change_nothing_but_its_coefficient():
    X, y, groups = station()
    one = fit_mixed(X, y, groups, pull=np.array([0.0, 0.0, 9.0]))
    other = fit_mixed(X * [1, 1, 100.0], y, groups, pull=np.array([0.0, 0.0, 9e4]))
    assert other.beta[2] * 100 == pytest.approx(one.beta[2], rel=1e-6)
    assert other.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-9)


def test_an_endless_pull_leaves_the_column_out_and_none_the_free_fit():
    X, y, groups = station()
    free, less = fit_mixed(X, y, groups), fit_mixed(X[:, :2], y, groups)
    held = fit_mixed(X, y, groups, pull=np.array([0.0, 0.0, 1e8]))
    np.testing.assert_allclose(held.beta, [*less.beta, 0.0], atol=1e-5)
    assert np.array_equal(fit_mixed(X, y, groups, pull=np.zeros(3)).beta, free.beta)
    some = fit_mixed(X, y, groups, pull=np.array([0.0, 0.0, 100.0]))
    assert abs(held.beta[2]) < abs(some.beta[2]) < abs(free.beta[2])
    assert some.cov_beta[2, 2] < free.cov_beta[2, 2]


def test_a_fit_begun_from_another_draws_as_a_new_one():
    X, y, groups = station()
    pull = np.array([0.0, 0.0, 50.0])
    y_2 = y.copy()
    y_2[:3] = 1 - y_2[:3]
    first = fit_mixed(X, y, groups, pull=pull)
    again = fit_again(first, X, y_2, groups, pull=pull)
    anew = fit_mixed(X, y_2, groups, pull=pull)
    np.testing.assert_allclose(again.beta, anew.beta, atol=0.02)
    assert np.abs(again.beta - fit_mixed(X, y_2, groups).beta).max() > 0.02


def test_answers_that_differ_little_are_followed_and_not_searched_anew(monkeypatch):
    X, y, groups = station()
    first, steps = fit_mixed(X, y, groups), []
    y_2 = y.copy()
    y_2[:80] = 1 - y_2[:80]
    expected = fit_mixed(X, y_2, groups)
    slope = mixed.Search.slope
    monkeypatch.setattr(
        mixed.Search, "slope", lambda *at: steps.append(at) or slope(*at)
    )
    monkeypatch.delattr(mixed, "fit_mixed")
    again = fit_again(first, X, y_2, groups)
    # deviations stay those of the fit before
    np.testing.assert_allclose(again.beta, expected.beta, atol=0.2)
    assert 2 < len(steps) < 7  # each mends the curvature that the next one falls by


def test_a_robust_covariance_adds_how_far_drawing_leads_astray():
    X, y, batch = courses(n=120, batches=12, seed=4)
    pull = np.zeros(X.shape[1])
    pull[-1] = 5.0
    beta = fit_plain(X, y, pull=pull).beta
    M = np.linalg.inv(information(X, beta) + np.diag(pull))
    scores = X * (y - expit(X @ beta))[:, None]
    meat = sum(np.outer(s, s) for s in (scores[batch == g].sum(0) for g in np.unique(batch)))
    by_hand = M @ (meat + np.diag(pull)) @ M
    found = cluster_cov(X, y, beta, batch, "CR0", pull=pull)
    np.testing.assert_allclose(found, by_hand, rtol=1e-9)
    wider = cluster_cov(X, y, beta, batch, "CR2", pull=pull)
    assert (np.diag(wider) > np.diag(found)).all()
    df = satterthwaite_df(X, beta, batch, pull=pull)
    assert ((df > 1) & (df < 12)).all()


def test_where_there_is_no_effect_a_drawn_factor_is_found_as_often_as_stated():
    # estimates as they fall when all coefficients are zero: normal, with the covariance
    # that the likelihood alone leaves after drawing
    rng = np.random.default_rng(8)
    X = np.column_stack([np.ones(300), rng.normal(0, 1, (300, 2))])
    X[:, 2] += 0.9 * X[:, 1]
    data = X.T @ X / 4
    for size in (3.0, 30.0, 300.0):
        pull = np.array([0.0, 0.0, size])
        V = np.linalg.inv(data + np.diag(pull))
        drawn = rng.multivariate_normal(np.zeros(3), V @ data @ V, 4000)
        p = np.array([wald_test(b, V, [1, 2], pull=pull).p for b in drawn])
        assert 0.039 < np.mean(p < 0.05) < 0.061
        p = np.array([wald_test(b, V, [2], pull=pull).p for b in drawn])
        assert 0.039 < np.mean(p < 0.05) < 0.061


def test_what_draws_must_be_a_number_from_0_on_for_every_column():
    X, y, groups = station()
    for wrong in (np.zeros(2), np.array([0.0, -1.0, 0.0]), np.array([0.0, np.nan, 0.0])):
        found = fit_mixed(X, y, groups, pull=wrong)
        assert not found.converged
        assert "draws coefficients to zero" in found.message
