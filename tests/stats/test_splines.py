"""Restricted cubic splines against Hmisc 4.8-0 and rms 6.5-0 in R 4.2.2.

Shape and degenerate cases of restricted cubic splines.
"""

from __future__ import annotations

import numpy as np
import pytest
from likelihood_tests import likelihood_ratio
from logistic_data import births, birthwt
from queen_outcomes.stats.logistic.plain import fit_plain, wald_test
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


@pytest.mark.parametrize("k", [3, 4, 5, 6, 7])
def test_beyond_the_outer_knots_every_column_is_a_line(k):
    x = np.random.default_rng(k).normal(10, 2, 500)
    knots = rcs_knots(x, k)
    for start, step in ((knots[0], -1.0), (knots[-1], 1.0)):
        basis = rcs_basis(start + step * np.arange(6), knots)
        assert basis.shape == (6, k - 1)
        np.testing.assert_allclose(np.diff(basis, 2, axis=0), 0.0, atol=1e-9)


def test_columns_scale_with_the_unit_of_x():
    x = np.linspace(5, 15, 101)
    knots = rcs_knots(x, 4)
    np.testing.assert_allclose(
        rcs_basis(x * 1000, knots * 1000), rcs_basis(x, knots) * 1000, rtol=1e-9
    )


def test_a_hundred_values_use_quantiles_at_the_ends_and_fewer_the_fifth():
    x = np.arange(100.0)
    assert rcs_knots(x, 4)[0] == pytest.approx(4.95)
    assert rcs_knots(x[:99], 4)[0] == 4.0
    assert rcs_knots(x[:99], 4)[-1] == 94.0


def test_ten_values_are_enough_for_knots():
    assert rcs_knots(np.arange(10.0), 3).tolist() == [4, 4.5, 5]
    assert len(rcs_knots(np.arange(9.0), 3)) == 0


def test_tied_values_get_fewer_knots_or_none():
    x = np.repeat([8.0, 10.0, 12.0], 60)
    assert len(rcs_knots(x, 5)) == 3
    assert len(rcs_knots(np.full(50, 8.0), 4)) == 0
    assert len(rcs_knots([1.0, 2.0, np.nan], 3)) == 0
    assert len(rcs_knots(np.full(30, np.nan), 3)) == 0


def test_without_knots_the_basis_is_x_and_gaps_stay_gaps():
    np.testing.assert_array_equal(rcs_basis([1.0, 2.0], []), [[1.0], [2.0]])
    basis = rcs_basis([1.0, np.nan], [0.0, 1.0, 2.0])
    assert np.isfinite(basis[0]).all()
    assert np.isnan(basis[1]).all()


def test_another_number_of_knots_is_refused():
    with pytest.raises(ValueError, match="3 to 7"):
        rcs_knots(np.arange(100.0), 2)
