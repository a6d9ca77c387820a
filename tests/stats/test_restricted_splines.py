"""Shape and degenerate cases of restricted cubic splines."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.logistic.splines import rcs_basis, rcs_knots


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
