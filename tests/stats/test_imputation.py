"""Filled gaps: plausible, repeatable, honest about what was lost."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from queen_outcomes.stats.histories.pooling import (
    freedom_by_gaps,
    freedom_with_gaps,
    pool,
    unsettled_of,
    unsettled_part,
)
from queen_outcomes.stats.logistic import imputation
from queen_outcomes.stats.logistic.imputation import (
    _chain_of,
    _dummies,
    _inverse,
    _standardised,
    draw_levels,
    impute,
    match_means,
)
from queen_outcomes.stats.logistic.plain import fit_plain
from random_courses import courses
from scipy.stats import t


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


def test_two_fillings_of_two_coefficients_by_hand():
    # means 2 and 1; between [[2, -2], [-2, 2]], three halves of which are added
    within = np.array([[0.5, 0.1], [0.1, 0.25]])
    pooled = pool([[1.0, 2.0], [3.0, 0.0]], [within, within], whole=[30, np.inf])
    assert pooled.beta.tolist() == [2, 1]
    assert pooled.between.tolist() == [[2, -2], [-2, 2]]
    assert pooled.cov == pytest.approx(np.array([[3.5, -2.9], [-2.9, 3.25]]))
    part = 3 / np.array([3.5, 3.25])
    assert pooled.df[1] == pytest.approx(1 / part[1] ** 2)
    left = 31 / 33 * 30 * (1 - part[0])
    assert pooled.df[0] == pytest.approx(1 / (part[0] ** 2 + 1 / left))
    arm = t.ppf(0.975, pooled.df) * np.sqrt([3.5, 3.25])
    assert pooled.low == pytest.approx(pooled.beta - arm)
    assert pooled.high == pytest.approx(pooled.beta + arm)
    assert (pooled.used, pooled.message) == (2, "")
    # of their sum nothing varies between; of their difference 8, and 0.55 within
    assert unsettled_part(pooled, [[1, 1], [1, -1]]) == pytest.approx([0, 12 / 12.55])
    assert freedom_by_gaps(pooled, [1, -1]) == pytest.approx([(12.55 / 12) ** 2])
    assert freedom_by_gaps(pooled, [1, 1], 30) == pytest.approx([31 / 33 * 30])
    assert unsettled_part(pooled, [2]) == pytest.approx([6 / 7])
    one = pool([[1.0]], [[[0.25]]], 30)
    assert (one.cov[0, 0], one.df[0]) == (0.25, pytest.approx(31 / 33 * 30))
    assert freedom_with_gaps(1, 0.5) == pytest.approx(4)
    assert unsettled_of(0.0, 0.0, 2) == 0
    none = pool([], [])
    assert (len(none.beta), none.message) == (0, "no filling could be fitted")
    nothing = pool([[np.nan, 1]], [within])
    assert (nothing.beta.shape, nothing.cov.shape) == ((2,), (2, 2))


class Told:
    """A generator that gives what it is told, chi-square its degrees of freedom."""

    def __init__(self, normal=(), picks=(), even=()):
        self.normal, self.picks, self.even = normal, picks, even

    def standard_normal(self, shape):
        return np.zeros(shape) + np.reshape(self.normal, shape)

    def chisquare(self, free):
        self.free = free
        return float(free)

    def integers(self, reach, size):
        self.reach = reach
        return np.resize(self.picks, size)

    def random(self, size):
        return np.resize(self.even, size)


def test_a_number_is_one_of_the_five_courses_that_are_nearest():
    x = np.array([*np.arange(20.0), 7.2, -3, 40])
    X = np.column_stack([np.ones(23), (x - 9.5) / 5.8])
    values, gap = 2 * x, np.arange(23) >= 20
    values[gap] = np.nan
    wanted = ([14, 16, 12, 18, 10], [0, 2, 4, 6, 8], [38, 36, 34, 32, 30])
    for pick in range(5):
        rng = Told(normal=[0, 0], picks=[pick])
        found = match_means(X, values, gap, rng)
        assert found.tolist() == [near[pick] for near in wanted]
        assert (rng.free, rng.reach) == (18, 5)
    # two were seen, fewer than columns: one degree of freedom
    few = match_means(
        X[[3, 4, 21]][:, [0, 1, 1]], values[[3, 4, 21]], gap[[3, 4, 21]],
        Told(normal=[0, 0, 0], picks=[1]),
    )  # fmt: skip
    assert few.tolist() == [8]


def test_where_a_gap_belongs_is_drawn_as_far_as_the_line_is_uncertain():
    # a fine line with a wave on it that no line sees; ten deviations to one side
    x = np.linspace(-2, 2, 400)
    values = 3 * x + np.tile([1.0, -1, -1, 1], 100)
    X = np.column_stack([np.ones(402), [*x, 0.3, -0.8]])
    gap = np.arange(402) >= 400
    known = sm.OLS(values, X[:400]).fit()
    normal = np.array([10.0, -6])
    drawn = known.params + np.linalg.cholesky(known.cov_params()) @ normal
    found = match_means(X, np.append(values, [np.nan] * 2), gap, Told(normal, [0]))
    # a value that was seen stands one off the line
    assert np.abs(found - X[400:] @ drawn) == pytest.approx([1, 1], abs=0.05)


def test_a_word_is_drawn_by_the_chances_of_its_levels():
    group = np.array([0] * 10 + [1] * 10)
    codes = np.array([3] * 6 + [5] * 2 + [8] * 2 + [5] * 10)
    at = np.array([*group, 0, 0, 0, 1, 1])
    X = np.column_stack([np.ones(25), at - 0.5])
    gap = np.arange(25) >= 20
    rng = Told(normal=np.zeros((2, 3)), even=[0.59, 0.61, 0.81, 0.001, 0.999])
    found = draw_levels(X, np.append(codes, [-1] * 5), gap, rng)
    assert found.tolist() == [3, 5, 8, 5, 5]
    assert rng.free == 18
    assert found.dtype.kind == "i"


def test_chances_of_levels_are_drawn_as_far_as_they_are_uncertain():
    # 6, 2 and 2 of ten: the first chance 0.6 with the error sqrt(2.4 / 9 / 10) = 0.1633,
    # one of which raises it to 0.7633 of 1.1633
    codes = np.array([3] * 6 + [5] * 2 + [8] * 2 + [-1] * 2)
    rng = Told(normal=[[1.0, 0, 0]], even=[0.6555, 0.657])
    found = draw_levels(np.ones((12, 1)), codes, codes < 0, rng)
    assert found.tolist() == [3, 5]
    assert rng.free == 9


def test_a_ridge_of_a_ten_thousandth_a_course_keeps_columns_apart():
    found = _inverse(np.ones((10, 2)))
    known = np.linalg.inv(np.array([[10.001, 10], [10, 10.001]]))
    np.testing.assert_allclose(found, known, rtol=1e-9)


def test_a_batch_tells_of_a_course_by_its_others():
    made = _chain_of(
        {"dose": np.array([1.0, 2, 6, np.nan]), "none": np.full(4, np.nan)},
        {"line": np.array([0, 2, -1, 2]), "no": np.full(4, -1)},
        np.array(["b", "b", "b", "c"]),
    )
    assert made.gaps.keys() == {"dose", "line"}
    assert made.gaps["line"].tolist() == [False, False, True, False]
    # (2 + 6 + the mean of all, 3) / 3, and so on; nobody else in batch c
    found = made._batch_mean(np.array([1.0, 2, 6, 0]), np.array([1.0, 1, 1, 0]))
    assert found == pytest.approx([11 / 3, 10 / 3, 6 / 3, 3])
    dummies = _dummies(made.given.words["line"])
    assert [column.tolist() for column in dummies] == [[0, 1, 0, 1]]
    scaled = _standardised([np.array([1.0, 2, 3, 2]), np.full(4, 7.0)], 4)
    assert (
        pytest.approx(np.array([[-np.sqrt(2), 0, np.sqrt(2), 0], [0, 0, 0, 0]]))
        == scaled.T
    )
    assert _standardised([], 4).shape == (4, 0)


def test_the_factor_with_the_fewest_gaps_is_filled_first_and_all_take_part(monkeypatch):
    rng = np.random.default_rng(3)
    dose, age, line = rng.normal(size=30), rng.normal(size=30), np.arange(30) % 3
    dose[:6], line[:4] = np.nan, -1
    asked = []

    def fill(X, values, gap, rng):
        asked.append((X.shape[1], int(gap.sum())))
        return np.resize(values[~gap], gap.sum())

    monkeypatch.setattr(imputation, "match_means", fill)
    monkeypatch.setattr(imputation, "draw_levels", fill)
    outcome = rng.normal(size=30)
    made = list(
        impute(
            {"dose": dose, "age": age}, {"line": line}, [outcome] * 3,
            np.arange(30) % 5, cycles=2,
        )
    )  # fmt: skip
    assert len(made) == 3
    # ones, the outcome and its batch's mean, the others (a word of three levels is two
    # columns) and the batch's own mean of the factor at hand; twice, then once more each
    assert asked == [(7, 4), (7, 6)] * 4


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
