"""Restricted cubic splines against Hmisc 4.8-0 and rms 6.5-0 in R 4.2.2."""

from __future__ import annotations

import numpy as np
import pytest
from logistic_data import births, birthwt
from queen_outcomes.stats.logistic.plain import fit_plain, likelihood_ratio, wald_test
from queen_outcomes.stats.logistic.splines import rcs_basis, rcs_knots


@pytest.mark.parametrize(
    ("k", "knots"),
    [
        (3, [99.6, 121, 170]),
        (4, [94.4, 115.0, 130.2, 188.2]),
        (5, [94.4, 110, 121, 137.3, 188.2]),
    ],
)
def test_default_knots_of_mother_s_weight(k, knots):
    np.testing.assert_allclose(rcs_knots(birthwt()["lwt"], k), knots, rtol=1e-12)


@pytest.mark.parametrize(
    ("x", "curved"),
    [
        (182, [50.8542462, 14.2463576]),
        (155, [22.4900376, 5.0860916]),
        (105, [0.1353667, 0.0]),
    ],
)
def test_basis_of_four_knots(x, curved):
    knots = rcs_knots(birthwt()["lwt"], 4)
    np.testing.assert_allclose(rcs_basis([x], knots)[0], [x, *curved], atol=5e-8)


def test_a_spline_of_weight_in_a_logistic_model():
    # rms::lrm(low ~ rcs(lwt, 4) + smoke)
    X, y = births("smoke")
    knots = rcs_knots(birthwt()["lwt"], 4)
    curved = np.column_stack([X[:, 0], rcs_basis(birthwt()["lwt"], knots), X[:, 1]])
    fit, line = fit_plain(curved, y), fit_plain(*births("lwt", "smoke"))
    beta = [4.5860677, -0.0515430, 0.2279946, -0.5901704, 0.6312951]
    se = [3.1782275, 0.0304948, 0.2026885, 0.5624819, 0.3292771]
    np.testing.assert_allclose(fit.beta, beta, rtol=2e-6)
    np.testing.assert_allclose(fit.se, se, rtol=2e-6)
    assert -2 * fit.log_likelihood == pytest.approx(222.609696, abs=1e-6)
    assert -2 * line.log_likelihood == pytest.approx(224.340651, abs=1e-6)
    assert likelihood_ratio(fit, line).statistic == pytest.approx(1.730955, abs=1e-6)
    bent, weight = (
        wald_test(fit.beta, fit.cov, c).statistic for c in ([2, 3], [1, 2, 3])
    )
    assert bent == pytest.approx(1.691419, abs=1e-6)
    assert weight == pytest.approx(6.635767, abs=1e-6)
    at = np.array([90, 110, 130, 160, 200])
    eta = np.column_stack([np.ones(5), rcs_basis(at, knots), np.zeros(5)]) @ fit.beta
    expected = [-0.0528025, -0.9852857, -1.1717601, -1.3266481, -1.8666552]
    np.testing.assert_allclose(eta, expected, atol=2e-7)
