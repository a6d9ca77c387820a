"""The onset model against a direct likelihood, other curves of onset, and known truth.

Sources: Farewell VT, Biometrics 1982;38:1041-1046 (the mixture); interval-censored
lognormal regression as survreg of R's survival has it, here maximised directly with
scipy; Finkelstein DM, Wolfe RA, Biometrics 1985 (data); simulation with known truth.
"""

import numpy as np
import pytest
from queen_outcomes.stats.onset.onset_averages import days_shift, laying_by
from queen_outcomes.stats.onset.onset_fit import fit_onset
from queen_outcomes.stats.times.turnbull import fit_turnbull, share_by
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import norm

INF = np.inf
LOOKS = (7, 11, 14, 21, 28, 45)


def looked_at(day, rng):
    """What checks on some of the usual days, give or take one, tell of an onset."""
    after, by = np.zeros(len(day)), np.full(len(day), INF)
    for usual in LOOKS:
        look = usual + rng.integers(-1, 2, len(day))
        did = (rng.random(len(day)) < 0.85) & np.isinf(by)
        after = np.where(did & (day > look), look, after)
        by = np.where(did & (day <= look), look, by)
    ended = np.isinf(by) & (rng.random(len(day)) < 0.1)
    return after, np.where(ended, after + 6, by), ended


def station(seed, courses, shape="lognormal", batches=40):
    """Courses of a known truth; layers' days have the shape, with a like deviation."""
    rng = np.random.default_rng(seed)
    factor, schedule = rng.normal(size=courses), rng.integers(0, 2, courses)
    batch = rng.integers(0, batches, courses)
    shift = rng.normal(0, 0.3, batches)[batch]
    lays = rng.random(courses) < expit(1.2 + 0.5 * factor + shift)
    scale = np.exp(2.4 + 0.15 * schedule)
    noise = {
        "lognormal": lambda: np.exp(rng.normal(0, 0.35, courses)),
        "gamma": lambda: rng.gamma(8.0, 1 / 8.0, courses),
        "loglogistic": lambda: np.exp(rng.logistic(0, 0.19, courses)),
    }[shape]()
    day = np.where(lays, np.ceil(scale * noise), INF)
    ones = np.ones(courses)
    X, Z = np.column_stack([ones, factor]), np.column_stack([ones, schedule])
    return X, Z, *looked_at(day, rng), batch, day


def test_where_everybody_lays_it_is_the_lognormal_regression():
    X, Z, after, by, ended, batch, _ = station(1, 800)
    own = np.isfinite(by) & ~ended
    X, Z, after, by = X[own], Z[own], after[own], by[own]
    fit = fit_onset(X, Z, after, by, np.zeros(own.sum(), bool), batch[own])
    low = np.log(np.where(after > 0, after, 1e-300))

    def direct(parameter):
        middle, sigma = Z @ parameter[:2], np.exp(parameter[2])
        upper = norm.cdf((np.log(by) - middle) / sigma)
        return -np.log(upper - norm.cdf((low - middle) / sigma)).sum()

    options = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 5000}
    best = minimize(direct, [2, 0, -1], method="Nelder-Mead", options=options)
    assert fit.kind == "everybody"
    assert fit.converged
    assert "the chance is fixed at 1" in fit.message
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-7)
    np.testing.assert_allclose([*fit.beta, np.log(fit.sigma)], best.x, atol=2e-6)
    np.testing.assert_allclose(expit(X @ fit.gamma), 1, atol=1e-12)


def test_right_censored_layers_of_a_sure_station_are_the_same_regression():
    # every one will lay, some were last seen in the first days
    rng = np.random.default_rng(3)
    day = np.ceil(np.exp(rng.normal(2.4, 0.3, 300)))
    last = np.where(rng.random(300) < 0.3, rng.integers(1, 9, 300), 60.0)
    after, by = np.where(day <= last, day - 1, last), np.where(day <= last, day, INF)
    ones = np.ones((300, 1))
    fit = fit_onset(ones, ones, after, by, np.zeros(300, bool))

    def direct(parameter):
        middle, sigma = parameter[0], np.exp(parameter[1])
        upper = norm.cdf((np.log(by) - middle) / sigma)
        low = np.log(np.where(after > 0, after, 1e-300))
        return -np.log(upper - norm.cdf((low - middle) / sigma)).sum()

    options = {"xatol": 1e-9, "fatol": 1e-11}
    best = minimize(direct, [2, -1], method="Nelder-Mead", options=options)
    assert (fit.kind, fit.converged) == ("everybody", True)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-7)
    np.testing.assert_allclose([*fit.beta, np.log(fit.sigma)], best.x, atol=2e-6)
    assert np.isfinite(laying_by(fit, ones, ones, 21).low)


def test_the_mixture_is_the_largest_direct_likelihood():
    X, Z, after, by, ended, batch, _ = station(5, 500)
    fit = fit_onset(X, Z, after, by, ended, batch)
    low = np.log(np.where(after > 0, after, 1e-300))

    def direct(parameter):
        chance, middle = expit(X @ parameter[:2]), Z @ parameter[2:4]
        sigma = np.exp(parameter[4])
        layer = norm.cdf((np.log(by) - middle) / sigma)
        layer = chance * (layer - norm.cdf((low - middle) / sigma))
        never = np.where(ended | np.isinf(by), 1 - chance, 0)
        return -np.log(np.maximum(layer + never, 1e-300)).sum()

    best = minimize(direct, [1, 0.3, 2.3, 0, -1], method="BFGS", options={"gtol": 1e-5})
    assert fit.converged
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-6)
    found = [*fit.gamma, *fit.beta, np.log(fit.sigma)]
    np.testing.assert_allclose(found, best.x, atol=2e-4)


def test_without_a_factor_it_agrees_with_the_curve_of_any_shape():
    _, _, after, by, ended, batch, _ = station(7, 2400)
    ones = np.ones((2400, 1))
    fit = fit_onset(ones, ones, after, by, ended, batch)
    for day in (14, 21, 28):
        curve = share_by(fit_turnbull(after, by, ended), [day])[0]
        assert laying_by(fit, ones, ones, day).estimate == pytest.approx(
            curve, abs=0.02
        )


def test_lognormal_truth_is_recovered_within_its_limits():
    # the batches' shift makes the average slope a little smaller than 0.5
    truth = np.array([2.4, 0.15])
    far, covered = [], []
    for seed in range(30):
        X, Z, after, by, ended, batch, _ = station(100 + seed, 600)
        fit = fit_onset(X, Z, after, by, ended, batch)
        assert fit.converged
        error = np.sqrt(np.diag(fit.cov_joint))
        far.append((fit.beta - truth) / error[2:4])
        # the true share by 21, averaged over batches and the factor by simulation
        share = laying_by(fit, X, Z, 21)
        covered.append(share.low <= 0.71164 <= share.high)
    assert np.abs(np.mean(far, axis=0)).max() < 3 / np.sqrt(30)
    assert np.mean(np.abs(far) < 2.02) >= 0.87
    assert np.mean(covered) >= 0.87


@pytest.mark.parametrize("shape", ["lognormal", "gamma", "loglogistic"])
def test_another_shape_moves_laying_by_21_by_under_two_points(shape):
    off = []
    for seed in range(6):
        X, Z, after, by, ended, batch, day = station(200 + seed, 2400, shape)
        fit = fit_onset(X, Z, after, by, ended, batch)
        off.append(laying_by(fit, X, Z, 21).estimate - (day <= 21).mean())
    assert abs(np.mean(off)) < 0.02


def test_a_schedules_delay_is_recovered_in_days():
    X, Z, after, by, ended, batch, _ = station(9, 2400)
    fit = fit_onset(X, Z, after, by, ended, batch)
    none, both = Z * [1, 0], Z * [1, 0] + [0, 1]
    shift = days_shift(fit, none, both)
    truth = np.exp(2.55) - np.exp(2.4)
    assert shift.low < truth < shift.high
    assert shift.high - shift.low < 1.6
