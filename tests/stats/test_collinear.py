"""Columns that others determine, against the rank of each set of columns."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.logistic.collinear import column_scale, independent_columns


def test_a_column_goes_where_it_adds_nothing_to_the_rank():
    rng = np.random.default_rng(2)
    for _ in range(40):
        X = rng.integers(-1, 2, (6, 7)).astype(float)
        ranks = [0, *(np.linalg.matrix_rank(X[:, : j + 1]) for j in range(7))]
        assert independent_columns(X) == [
            j for j in range(7) if ranks[j + 1] > ranks[j]
        ]


@pytest.mark.parametrize("unit", [1e-150, 1.0, 1e150])
def test_units_and_zeros_take_no_column_along(unit):
    X = np.column_stack([np.ones(4), np.zeros(4), unit * np.arange(4.0)])
    assert independent_columns(X) == [0, 2]
    scale = column_scale(X)
    # 0, 1, 4, 9 over 4 courses
    assert scale == pytest.approx([1, 1, unit * np.sqrt(3.5)])


def test_nothing_and_nonsense():
    assert independent_columns(np.empty((0, 3))) == []
    assert independent_columns(np.array([[1.0, np.nan], [1.0, 2.0]])) == [0, 1]
    nearly = np.column_stack([np.ones(3), 1 + 1e-9 * np.arange(3.0)])
    assert independent_columns(nearly) == [0]
    assert independent_columns(
        np.column_stack([np.ones(3), 1 + 1e-5 * np.arange(3.0)])
    ) == [0, 1]
