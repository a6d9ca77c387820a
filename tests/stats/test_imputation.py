"""Filled gaps: plausible, repeatable, honest about what was lost."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.histories.pooling import freedom_with_gaps, pool
from queen_outcomes.stats.logistic.imputation import impute
from queen_outcomes.stats.logistic.plain import fit_plain
from random_courses import courses


def with_gaps(n=600, seed=0):
    """Courses whose dose is missing more often in one line: dose, age, line, answer."""
    X, y, batch = courses(n=n, seed=seed)
    rng = np.random.default_rng(seed + 100)
    dose, line = X[:, 1].copy(), X[:, 3].astype(int)
    dose[rng.random(n) < 0.1 + 0.4 * line] = np.nan
    gappy = line.copy()
    gappy[rng.random(n) < 0.2] = -1
    return {"dose": dose, "age": X[:, 2]}, {"line": gappy}, y, batch, X


def test_only_gaps_are_filled_and_only_with_values_that_were_seen():
    numbers, words, y, batch, _ = with_gaps()
    found = list(impute(numbers, words, [y] * 3, batch, cycles=3))
    gap = np.isnan(numbers["dose"])
    assert len(found) == 3
    for run in found:
        np.testing.assert_array_equal(run.numbers["dose"][~gap], numbers["dose"][~gap])
        assert np.isin(run.numbers["dose"], numbers["dose"][~gap]).all()
        assert set(np.unique(run.words["line"])) == {0, 1}
    one, two = (run.numbers["dose"][gap] for run in found[:2])
    assert np.mean(one != two) > 0.5
    assert np.isnan(numbers["dose"]).any()


def test_the_same_seed_fills_the_same_and_more_runs_leave_the_first_alone():
    numbers, words, y, batch, _ = with_gaps(n=200)
    few = list(impute(numbers, words, [y] * 2, batch, cycles=2))
    more = list(impute(numbers, words, [y] * 3, batch, cycles=2))
    assert (len(few), len(more)) == (2, 3)
    for a, b in zip(few, more, strict=False):
        np.testing.assert_array_equal(a.numbers["dose"], b.numbers["dose"])
        np.testing.assert_array_equal(a.words["line"], b.words["line"])


def pooled_fit(seed):
    numbers, words, y, batch, X = with_gaps(n=2000, seed=seed)
    found = list(impute(numbers, words, [y] * 8, batch))
    fits = [
        fit_plain(
            np.column_stack(
                [X[:, 0], run.numbers["dose"], run.numbers["age"], run.words["line"]]
            ),
            y,
        )
        for run in found
    ]
    one, two = (run.numbers["dose"] for run in found[:2])
    assert not np.array_equal(one, two)
    return pool([f.beta for f in fits], [f.cov for f in fits]), fit_plain(X, y)


def test_pooled_coefficients_come_close_to_those_without_gaps():
    pooled, whole = pooled_fit(seed=1)
    away = (pooled.beta - whole.beta) / np.sqrt(np.diag(pooled.cov))
    assert np.all(np.abs(away) < 1.5)
    assert np.all(np.diag(pooled.cov)[[1, 3]] > np.diag(whole.cov)[[1, 3]] * 1.05)
    assert pooled.df[1] < pooled.df[2]


def test_more_than_two_levels_keep_their_shares():
    rng = np.random.default_rng(4)
    line = rng.choice(3, size=1500, p=[0.6, 0.3, 0.1])
    y = (rng.random(1500) < 0.3 + 0.2 * line).astype(float)
    gappy = np.where(rng.random(1500) < 0.3, -1, line)
    found = impute({}, {"line": gappy}, [y] * 5, np.arange(1500) % 30, cycles=2)
    gap = gappy < 0
    drawn = np.concatenate([run.words["line"][gap] for run in found])
    np.testing.assert_allclose(
        np.bincount(drawn) / len(drawn), np.bincount(line[gap]) / gap.sum(), atol=0.05
    )


def test_a_factor_without_values_is_left_out():
    empty, y = {"dose": np.full(6, np.nan)}, np.tile([0.0, 1.0], 3)
    (found,) = impute(empty, {}, [y], np.arange(6))
    assert found.numbers == {}


def test_each_outcome_is_what_its_own_gaps_are_filled_by():
    """With the dose told by the outcome, a filling follows its own outcome only."""
    rng = np.random.default_rng(6)
    one, two = rng.normal(size=(2, 900))
    dose = np.where(np.arange(900) % 3 == 0, np.nan, one)
    gap = np.isnan(dose)
    made = list(impute({"dose": dose}, {}, [one, two, one], np.arange(900)))
    alike = [np.corrcoef(run.numbers["dose"][gap], one[gap])[0, 1] for run in made]
    assert alike[0] > 0.95
    assert abs(alike[1]) < 0.2
    assert alike[2] > 0.95


def test_few_courses_are_filled_all_the_same():
    dose = np.array([8.0, np.nan, 10.0, np.nan])
    line = np.array([0, 0, -1, 1])
    y = np.array([0, 1, 0, 1])
    _, last = impute({"dose": dose}, {"line": line}, [y, y], [1, 1, 2, 2])
    assert np.isfinite(last.numbers["dose"]).all()
    assert (last.words["line"] >= 0).all()


def test_rubin_s_rules_by_hand():
    # m = 3: mean 2, within 0.5, between 1, total 0.5 + 4/3
    pooled = pool([[1.0], [2.0], [3.0]], [[[0.5]]] * 3)
    total = 0.5 + 4 / 3
    assert pooled.beta[0] == 2.0
    assert pooled.cov[0, 0] == pytest.approx(total)
    assert pooled.df[0] == pytest.approx(2 / (4 / 3 / total) ** 2)


def test_without_gaps_pooling_changes_nothing():
    pooled = pool([[1.0], [1.0]], [[[0.25]], [[0.25]]])
    assert (pooled.cov[0, 0], pooled.df[0]) == (0.25, np.inf)
    assert pooled.high[0] == pytest.approx(1 + 1.959964 * 0.5, abs=1e-6)


def test_imputations_without_a_fit_are_passed_over_and_counted():
    nan = np.full((1, 1), np.nan)
    pooled = pool([[1.0], nan[0], [3.0]], [[[0.5]], nan, [[0.5]]])
    assert (pooled.used, pooled.beta[0]) == (2, 2.0)
    assert pooled.message == "1 of 3 fillings could not be fitted"
    assert pool([nan[0]], [nan]).used == 0


def test_freedom_with_gaps_is_barnard_and_rubin_s():
    # m = 20, half unsettled, 30 without gaps: 1 / (1 / 76 + 1 / (31 / 33 * 30 / 2))
    expected = 1 / (1 / 76 + 33 / (31 * 15))
    assert freedom_with_gaps(20, 0.5, 30) == pytest.approx(expected)
    assert freedom_with_gaps(20, 0.5) == pytest.approx(76)
    assert freedom_with_gaps(20, 0.0, 30) == pytest.approx(31 / 33 * 30)
