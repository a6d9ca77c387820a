"""Tails and points of distributions, against scipy's own and printed tables."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats import tails
from scipy import stats

X = np.array([0.0, 1e-9, 0.5, 1.96, 8.0, 40.0])
P = np.array([1e-12, 0.025, 0.05, 0.5, 0.975, 1 - 1e-12])
DF = (0.5, 1, 3.7, 30, 1e6)


@pytest.mark.parametrize("df", DF)
def test_tails_and_points_are_those_of_scipy_stats(df):
    both = np.concatenate([-X, X])
    assert np.array_equal(tails.norm_sf(both), stats.norm.sf(both))
    assert np.array_equal(tails.norm_isf(P), stats.norm.isf(P))
    assert np.array_equal(tails.t_sf(both, df), stats.t.sf(both, df))
    assert np.array_equal(tails.t_isf(P, df), stats.t.isf(P, df))
    assert np.array_equal(tails.chi2_sf(both, df), stats.chi2.sf(both, df))
    assert np.array_equal(tails.chi2_isf(P, df), stats.chi2.isf(P, df))
    assert np.array_equal(tails.f_sf(X, 3, df), stats.f.sf(X, 3, df))


def test_points_are_those_of_printed_tables():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1 to 1.3.6.7.4
    assert tails.norm_isf(0.025) == pytest.approx(1.960, abs=5e-4)
    assert tails.t_isf(0.025, 10) == pytest.approx(2.228, abs=5e-4)
    assert tails.chi2_isf(0.05, 3) == pytest.approx(7.815, abs=5e-4)
    assert tails.f_sf(3.326, 5, 10) == pytest.approx(0.05, abs=5e-5)


def test_without_degrees_of_freedom_there_is_no_tail():
    assert np.isnan(tails.chi2_sf(1.0, 0))
    assert np.isnan(tails.t_sf(1.0, 0))
