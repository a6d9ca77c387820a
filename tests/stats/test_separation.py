"""Separation is found, named and not imagined; so are columns that say nothing new."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.logistic import separation
from queen_outcomes.stats.logistic.collinear import independent_columns
from queen_outcomes.stats.logistic.plain import fit_plain
from queen_outcomes.stats.logistic.separation import find_separation
from random_courses import courses


def test_overlapping_answers_are_not_separated():
    X, y, _ = courses()
    assert find_separation(X, y).kind == "none"


def test_a_level_without_a_single_yes_is_named():
    X, y, _ = courses()
    y[X[:, 3] == 1] = 0.0
    found = find_separation(X, y, ("one", "dose", "age", "line"))
    assert (found.kind, found.columns) == ("quasi", (3,))
    assert "line" in found.message


def test_a_dose_that_tells_every_answer_is_complete():
    X, _, _ = courses()
    found = find_separation(X, (X[:, 1] > 10).astype(float))
    assert (found.kind, found.columns) == ("complete", (0, 1))


def test_a_border_shared_by_both_answers_is_separation_in_part():
    dose = np.array([1.0, 2, 3, 5, 5, 6, 7])
    X, y = np.column_stack([np.ones(7), dose]), np.array([0.0, 0, 0, 0, 1, 1, 1])
    assert find_separation(X, y).kind == "quasi"
    y[0] = 1.0
    assert find_separation(X, y).kind == "none"


@pytest.mark.parametrize("seed", range(12))
def test_it_agrees_with_whether_the_plain_fit_has_a_maximum(seed):
    X, y, _ = courses(n=14, batches=4, seed=seed)
    found = find_separation(X, y)
    assert (found.kind == "none") == fit_plain(X, y).converged


@pytest.mark.parametrize("seed", range(12))
def test_residuals_prove_no_more_than_the_search_finds(seed, monkeypatch):
    X, y, _ = courses(n=16, batches=4, seed=seed)
    found = find_separation(X, y)
    monkeypatch.setattr(separation, "_has_maximum", lambda X, y: False)
    assert find_separation(X, y) == found


def test_where_a_fit_has_a_maximum_nothing_is_searched(monkeypatch):
    X, y, _ = courses()
    monkeypatch.setattr(separation, "_solve", None)
    assert find_separation(X, y).kind == "none"


def test_units_do_not_matter():
    X, y, _ = courses()
    y[X[:, 3] == 1] = 0.0
    assert find_separation(X * [1, 1e6, 1e-6, 1e3], y).columns == (3,)


def test_doubled_columns_are_not_taken_for_separation():
    X, y, _ = courses()
    assert find_separation(np.column_stack([X, 2 * X[:, 1]]), y).kind == "none"


def test_answers_all_alike_and_gaps_are_said():
    X, y, _ = courses(n=20)
    assert find_separation(X, np.ones(20)).message == "every answer is yes"
    X[0, 1] = np.nan
    assert find_separation(X, y).kind == "unknown"


def test_the_later_of_two_equal_columns_is_aliased():
    X, _, _ = courses()
    doubled = np.column_stack([X, X[:, 1] - 3 * X[:, 3], np.full(300, 5.0)])
    assert independent_columns(doubled) == [0, 1, 2, 3]


def test_aliasing_does_not_depend_on_units_and_knows_an_empty_column():
    X, _, _ = courses()
    wide = np.column_stack([X * [1, 1e9, 1e-9, 1], np.zeros(300)])
    assert independent_columns(wide) == [0, 1, 2, 3]


def test_years_next_to_ones_are_kept_and_a_full_set_of_levels_is_not():
    year = 2020.0 + np.arange(40) % 3
    assert independent_columns(np.column_stack([np.ones(40), year])) == [0, 1]
    levels = [(year == y).astype(float) for y in (2020, 2021, 2022)]
    assert independent_columns(np.column_stack([np.ones(40), *levels])) == [0, 1, 2]


def test_gaps_keep_every_column_and_no_rows_none():
    assert independent_columns(np.empty((0, 3))) == []
    assert independent_columns([[1.0, np.nan]]) == [0, 1]
    assert independent_columns(np.ones((2, 4))) == [0]
