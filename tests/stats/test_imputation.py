"""Filled gaps: plausible, repeatable, honest about what was lost."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.histories.pooling import freedom_with_gaps, pool
from queen_outcomes.stats.logistic.imputation import impute, impute_in_turn
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
    found = impute(numbers, words, y, batch, times=3, cycles=3)
    gap = np.isnan(numbers["dose"])
    assert found.filled == {
        "dose": gap.sum(),
        "age": 0,
        "line": (words["line"] < 0).sum(),
    }
    for run in found.completed:
        np.testing.assert_array_equal(run.numbers["dose"][~gap], numbers["dose"][~gap])
        assert np.isin(run.numbers["dose"], numbers["dose"][~gap]).all()
        assert set(np.unique(run.words["line"])) == {0, 1}
    one, two = (run.numbers["dose"][gap] for run in found.completed[:2])
    assert np.mean(one != two) > 0.5
    assert np.isnan(numbers["dose"]).any()


def test_the_same_seed_fills_the_same_and_more_runs_leave_the_first_alone():
    numbers, words, y, batch, _ = with_gaps(n=200)
    few = impute(numbers, words, y, batch, times=2, cycles=2)
    more = impute(numbers, words, y, batch, times=3, cycles=2)
    assert (len(few.completed), len(more.completed)) == (2, 3)
    for a, b in zip(few.completed, more.completed, strict=False):
        np.testing.assert_array_equal(a.numbers["dose"], b.numbers["dose"])
        np.testing.assert_array_equal(a.words["line"], b.words["line"])


def pooled_fit(seed):
    numbers, words, y, batch, X = with_gaps(n=2000, seed=seed)
    found = impute(numbers, words, y, batch, times=8, cycles=5)
    fits = [
        fit_plain(
            np.column_stack(
                [X[:, 0], run.numbers["dose"], run.numbers["age"], run.words["line"]]
            ),
            y,
        )
        for run in found.completed
    ]
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
    found = impute({}, {"line": gappy}, y, np.arange(1500) % 30, times=5, cycles=2)
    gap = gappy < 0
    drawn = np.concatenate([run.words["line"][gap] for run in found.completed])
    np.testing.assert_allclose(
        np.bincount(drawn) / len(drawn), np.bincount(line[gap]) / gap.sum(), atol=0.05
    )


def test_a_factor_without_values_and_an_outcome_with_gaps_are_said():
    empty = {"dose": np.full(6, np.nan)}
    found = impute(empty, {}, np.tile([0.0, 1.0], 3), np.arange(6), times=2)
    assert found.left_out == ("dose",)
    assert found.completed[0].numbers == {}
    assert impute(empty, {}, np.full(6, np.nan), np.arange(6)).message


def test_few_courses_are_filled_all_the_same():
    dose = np.array([8.0, np.nan, 10.0, np.nan])
    line = np.array([0, 0, -1, 1])
    found = impute({"dose": dose}, {"line": line}, [0, 1, 0, 1], [1, 1, 2, 2], times=2)
    assert np.isfinite(found.completed[1].numbers["dose"]).all()
    assert (found.completed[1].words["line"] >= 0).all()


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


def test_a_chain_that_goes_on_fills_each_outcome_s_gaps_alike():
    numbers, words, y, batch, X = with_gaps(n=2000, seed=1)
    made = list(impute_in_turn(numbers, words, [y] * 8, batch, cycles=5, seed=3))
    fits = [
        fit_plain(
            np.column_stack(
                [X[:, 0], run.numbers["dose"], run.numbers["age"], run.words["line"]]
            ),
            y,
        )
        for run in made
    ]
    pooled, whole = (
        pool([f.beta for f in fits], [f.cov for f in fits]),
        fit_plain(X, y),
    )
    away = (pooled.beta - whole.beta) / np.sqrt(np.diag(pooled.cov))
    assert np.all(np.abs(away) < 1.5)
    assert not np.array_equal(made[0].numbers["dose"], made[1].numbers["dose"])
