"""Folds, predictions out of fold, and the measures of predictions."""

from __future__ import annotations

import numpy as np
import pytest
from delong import delong_se
from queen_outcomes.stats.logistic.plain import fit_plain
from queen_outcomes.stats.logistic.validate import (
    _places,
    auc,
    auc_limits,
    forward_split,
    group_folds,
    out_of_fold,
    validate,
)
from random_courses import courses
from scipy.special import expit


def test_folds_split_no_batch_and_are_alike_in_size_and_answers():
    _, y, batch = courses(n=1000, batches=60)
    fold = group_folds(batch, y, 10)
    for b in np.unique(batch):
        assert len(np.unique(fold[batch == b])) == 1
    sizes, yes = np.bincount(fold), np.bincount(fold, y)
    assert len(sizes) == 10
    assert sizes.max() - sizes.min() < 20
    assert yes.max() - yes.min() < 20


def test_folds_do_not_depend_on_the_order_of_rows():
    _, y, batch = courses()
    order = np.random.default_rng(1).permutation(300)
    np.testing.assert_array_equal(
        group_folds(batch[order], y[order]), group_folds(batch, y)[order]
    )


def test_few_groups_give_as_many_folds_and_one_group_none():
    assert set(group_folds(["a", "b", "b"], [0, 1, 1], 10)) == {0, 1}
    assert set(group_folds(["a", "a"], [0, 1])) == {0}
    assert group_folds([], []).shape == (0,)


def test_folds_by_hand():
    # of 6 yes and 6 no: a has 2 and 2, b 3 and 0, c 0 and 3, d 1 and 1. a goes first; b
    # where nothing is; c beside b, with which it shares no answer; d beside a
    groups = np.repeat(list("abcd"), [4, 3, 3, 2])
    y = [1, 1, 0, 0, 1, 1, 1, 0, 0, 0, 1, 0]
    assert group_folds(groups, y, 2).tolist() == [0] * 4 + [1] * 6 + [0] * 2
    # where nothing is shared, into the emptiest fold
    groups = np.repeat(list("abc"), [4, 3, 2])
    y = [1] * 4 + [0] * 3 + [1] * 2
    assert group_folds(groups, y, 3).tolist() == [0] * 4 + [1] * 3 + [2] * 2
    assert group_folds(["a"], [1]).tolist() == [0]
    before, last = forward_split([2026])
    assert (before.tolist(), last.tolist()) == ([False], [True])


def test_measures_of_four_predictions_by_hand():
    y, p = np.array([1.0, 0, 1, 0]), np.array([0.8, 0.7, 0.6, 0.3])
    gap = np.append(y, 1), np.append(p, np.nan), [1, 1, 1, 1, 2]
    found = validate(*gap, base=[0.5, 0.5, 0.25, 0.25, 0.9])
    assert (found.n, found.yes, found.auc) == (4, 2, 0.75)
    assert found.brier == pytest.approx((0.04 + 0.49 + 0.16 + 0.09) / 4)
    assert found.base_brier == pytest.approx((0.25 + 0.25 + 0.5625 + 0.0625) / 4)
    assert found.message == "too few groups with both answers for limits of the AUC"
    plain = validate(y, p, [1, 1, 1, 1])
    assert plain.base_brier == 0.25
    one = validate([1.0], [0.4], [1])
    assert (one.n, one.yes, one.brier) == (1, 1, pytest.approx(0.36))
    assert one.message == "calibration: more terms (2) than rows (1)"
    seen, base = out_of_fold(
        lambda train, test: np.full(test.sum(), 0.1 * train.sum()), [0, 0, 1], [1, 0, 1]
    )
    assert seen == pytest.approx([0.1, 0.1, 0.2])
    assert base.tolist() == [1, 1, 0.5]


@pytest.mark.parametrize(("level", "groups"), [(0.95, 4), (0.8, 4), (0.95, 2)])
def test_limits_are_quantiles_over_groups_drawn_again(level, groups):
    rng = np.random.default_rng(5)
    y, p = np.tile([0.0, 1.0], 10), np.round(rng.random(20), 1)
    group = rng.permutation(20) % groups
    draws = np.random.default_rng(7).multinomial(groups, [1 / groups] * groups, 40)
    each = []
    for draw in draws:
        rows = np.repeat(np.arange(20), draw[group])
        pairs = [
            (a > b) + 0.5 * (a == b)
            for a in p[rows][y[rows] == 1]
            for b in p[rows][y[rows] == 0]
        ]
        each.append(np.mean(pairs))
    expected = np.quantile(each, [(1 - level) / 2, (1 + level) / 2])
    found = auc_limits(y, p, group, level=level, seed=7, replicates=40)
    assert found == pytest.approx(tuple(expected))


@pytest.mark.parametrize("seed", range(1, 6))
def test_half_of_the_resamples_must_hold_both_answers(seed):
    draws = np.random.default_rng(seed).multinomial(2, [0.5, 0.5], 101)
    both = (draws == 1).all(axis=1).sum()
    assert 40 < both < 61
    found = auc_limits([1.0, 0.0], [0.8, 0.3], [1, 2], seed=seed, replicates=101)
    assert found == pytest.approx(
        (1, 1) if 2 * both > 101 else (np.nan,) * 2, nan_ok=True
    )


def test_of_very_many_predictions_a_thousand_places_are_told_apart():
    assert _places(np.array([0.3, 0.1, 0.3])).tolist() == [2.5, 1, 2.5]
    assert _places(np.arange(2000.0))[:4].tolist() == [0, 1, 1, 2]


def test_the_last_season_is_held_back():
    before, last = forward_split([2024, 2025, 2026, 2026])
    assert (before.sum(), last.sum()) == (2, 2)
    assert not forward_split([2026, 2026])[0].any()
    assert forward_split([])[0].shape == (0,)


def test_every_course_is_predicted_by_a_model_that_has_not_seen_it():
    X, y, batch = courses()
    folds = group_folds(batch, y, 5)
    seen = []

    def fit_predict(train, test):
        seen.append((train & test).any())
        return expit(X[test] @ fit_plain(X[train], y[train]).beta)

    p, base = out_of_fold(fit_predict, folds, y)
    assert np.isfinite(p).all()
    assert not any(seen)
    assert len(seen) == 5
    assert len(np.unique(base)) <= 5
    one, _ = out_of_fold(fit_predict, np.zeros(300), y)
    assert np.isnan(one).all()


def test_auc_counts_pairs_and_halves_ties():
    y, p = np.array([0, 0, 1, 1, 1.0]), np.array([0.1, 0.5, 0.5, 0.9, 0.05])
    pairs = [(a > b) + 0.5 * (a == b) for a in p[y == 1] for b in p[y == 0]]
    assert auc(y, p) == pytest.approx(np.mean(pairs))
    assert auc(np.repeat(y, 2), np.repeat(p, 2)) == auc(y, p)
    assert auc(y, -p) == pytest.approx(1 - auc(y, p))


def test_predictions_that_are_right_are_calibrated_and_beat_the_base_rate():
    rng = np.random.default_rng(2)
    p = rng.uniform(0.05, 0.95, 6000)
    y = (rng.random(6000) < p).astype(float)
    found = validate(y, p, np.arange(6000) % 200)
    assert found.slope == pytest.approx(1.0, abs=0.1)
    assert found.intercept == pytest.approx(0.0, abs=0.1)
    assert found.brier < found.base_brier
    assert found.auc_low < found.auc < found.auc_high
    width = (found.auc_high - found.auc_low) / 2 / 1.96
    assert width == pytest.approx(delong_se(y, p), rel=0.15)


def test_predictions_twice_too_bold_have_half_the_slope():
    rng = np.random.default_rng(3)
    eta = rng.normal(size=20000)
    y = (rng.random(20000) < expit(eta)).astype(float)
    found = validate(y, expit(2 * eta), np.arange(20000) % 50, replicates=20)
    assert found.slope == pytest.approx(0.5, abs=0.03)


def test_the_base_rate_itself_is_no_better():
    _, y, batch = courses()
    found = validate(y, np.full(300, y.mean()), batch)
    assert found.brier == pytest.approx(found.base_brier)
    assert found.auc == 0.5
    assert "calibration" in found.message


def test_the_same_seed_gives_the_same_limits_in_any_order_of_rows():
    _, y, batch = courses()
    p = np.linspace(0.1, 0.9, 300)
    order = np.arange(300)[::-1]
    one = auc_limits(y, p, batch, replicates=200)
    assert one == auc_limits(y[order], p[order], batch[order], replicates=200)
    assert one != auc_limits(y, p, batch, replicates=200, seed=9)


def test_degenerate_predictions_give_words_not_errors():
    none = validate([1.0, 0.0], [np.nan, np.nan], [1, 2])
    assert (none.n, none.yes, none.message) == (0, 0, "no course was predicted")
    assert np.isnan([none.auc, none.auc_low, none.brier, none.slope]).all()
    one = validate(np.ones(8), np.linspace(0.1, 0.9, 8), np.arange(8))
    assert np.isnan(one.auc)
    assert "every answer is yes" in one.message
    assert validate([], [], []).n == 0
    assert np.isnan(auc([], []))
    single = validate([1.0, 0.0, 1.0], [0.2, 0.3, 0.4], [1, 1, 1])
    assert np.isnan(single.auc_low)
