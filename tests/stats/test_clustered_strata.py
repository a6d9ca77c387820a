"""The difference over blocks, with limits by batch."""

from __future__ import annotations

import numpy as np
import pytest
from blocked import stratified_difference
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.shares.clustered_strata import Blocked
from queen_outcomes.stats.shares.strata import risk_difference, strata_of
from scipy import stats


def trial(seed=1, batches=8, size=10, *, whole=False, p=(0.8, 0.6), spread=0.15):
    """Give yes, arm, block and batch; whole batches to an arm, or blocks in batches."""
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), size)
    first = batch % 2 == 0 if whole else np.arange(batches * size) % 2 == 0
    block = batch // 4 if whole else batch
    chance = np.where(first, *p) + rng.uniform(-spread, spread, batches)[batch]
    yes = (rng.random(len(batch)) < chance).astype(float)
    return yes, first, block, batch


def by_hand(yes, first, block, batch):
    """CR2 with a constant for each block and n by n matrices, as in the papers."""
    levels = [(np.asarray(block) == b).astype(float) for b in np.unique(block)]
    X = np.column_stack([np.asarray(first, float), *levels])
    M = np.linalg.inv(X.T @ X)
    rest = np.eye(len(yes)) - X @ M @ X.T
    residual = rest @ yes
    parts, vectors = [], []
    for g in np.unique(batch):
        own = np.flatnonzero(batch == g)
        values, turn = np.linalg.eigh(rest[np.ix_(own, own)])
        free = values > 1e-9
        adjust = (turn[:, free] / np.sqrt(values[free])) @ turn[:, free].T
        parts.append(M[0] @ X[own].T @ adjust @ residual[own])
        vectors.append(rest[:, own] @ adjust @ X[own] @ M[0])
    G = np.array(vectors) @ np.array(vectors).T
    return M[0] @ X.T @ yes, np.sum(np.square(parts)), np.trace(G) ** 2 / np.sum(G**2)


@pytest.mark.parametrize("whole", [True, False])
def test_the_large_matrices_give_the_same(whole):
    data = trial(whole=whole)
    kept = np.arange(80) % 7 != 3  # unequal batches and arms
    data = tuple(v[kept] for v in data)
    estimate, variance, df = by_hand(*data)
    found = stratified_difference(*data)
    assert found.method == "batches"
    assert found.estimate == pytest.approx(estimate, rel=1e-10)
    assert found.se == pytest.approx(np.sqrt(variance), rel=1e-8)
    assert found.df == pytest.approx(df, rel=1e-8)


def test_equal_whole_batches_give_the_two_sample_t_test_on_batch_shares():
    yes, first, _, batch = trial(seed=3, batches=10, whole=True)
    found = stratified_difference(yes, first, np.zeros(100), batch)
    share = yes.reshape(10, 10).mean(axis=1)
    test = stats.ttest_ind(share[::2], share[1::2])
    assert found.df == pytest.approx(8)
    assert found.p() == pytest.approx(test.pvalue, rel=1e-9)
    limits = test.confidence_interval()
    assert (found.low, found.high) == pytest.approx((limits.low, limits.high))


def test_equal_arms_within_batches_give_the_paired_t_test():
    yes, first, block, batch = trial(seed=5, batches=9)
    found = stratified_difference(yes, first, block, batch)
    one = yes[first].reshape(9, 5).mean(axis=1)
    other = yes[~first].reshape(9, 5).mean(axis=1)
    test = stats.ttest_rel(one, other)
    assert found.df == pytest.approx(8)
    assert found.p() == pytest.approx(test.pvalue, rel=1e-9)


def test_matched_pairs_of_whole_batches_give_the_paired_t_test():
    yes, first, _, batch = trial(seed=6, batches=12, whole=True)
    found = stratified_difference(yes, first, batch // 2, batch)
    share = yes.reshape(12, 10).mean(axis=1)
    test = stats.ttest_rel(share[::2], share[1::2])
    assert found.p() == pytest.approx(test.pvalue, rel=1e-9)


def test_each_course_its_own_batch_gives_sato_s_limits():
    yes, first, block, _ = trial()
    found = stratified_difference(yes, first, block, np.arange(80))
    sato = risk_difference(found.strata)
    assert found.method == "independent"
    assert (found.low, found.high) == pytest.approx((sato.low, sato.high))
    one = stratified_difference(yes, first, block, np.zeros(80))
    assert (one.low, one.high) == pytest.approx((sato.low, sato.high))
    assert "one batch" in one.message


@settings(deadline=None)
@given(st.integers(0, 10**6), st.booleans(), st.floats(-0.5, 0.5))
def test_p_and_limits_never_contradict_each_other(seed, whole, d0):
    found = stratified_difference(*trial(seed, whole=whole))
    if not np.isfinite(found.low):
        return
    near = min(abs(d0 - found.low), abs(d0 - found.high))
    if near > 1e-9:
        assert (found.p(d0) > 0.05) == (found.low < d0 < found.high)
        assert (found.p_above(d0) < 0.025) == (d0 < found.low)


@settings(deadline=None)
@given(st.integers(0, 10**6), st.booleans())
def test_order_and_names_change_nothing_and_swapping_arms_the_sign(seed, whole):
    yes, first, block, batch = trial(seed, batches=6, size=6, whole=whole)
    found = stratified_difference(yes, first, block, batch)
    order = np.random.default_rng(seed).permutation(36)
    names = np.array([f"G{b:02d}" for b in batch])
    turned = stratified_difference(*(v[order] for v in (yes, ~first, block, names)))
    wanted = (-found.high, -found.low, found.df)
    got = (turned.low, turned.high, turned.df)
    assert got == pytest.approx(wanted, abs=1e-9, nan_ok=True)


def test_limits_cover_as_they_say_where_sato_s_do_not():
    covered, sato = 0, 0
    for seed in range(300):
        data = trial(seed, batches=8, whole=True, p=(0.7, 0.6), spread=0.3)
        data = (data[0], data[1], np.zeros(80), data[3])
        found = stratified_difference(*data)
        plain = risk_difference(found.strata)
        covered += found.low <= 0.1 <= found.high
        sato += plain.low <= 0.1 <= plain.high
    assert 0.92 <= covered / 300 <= 0.99
    assert sato / 300 < 0.90


def test_other_answers_of_the_same_courses_leave_nothing_behind():
    yes, first, block, batch = trial()
    placed = Blocked(first, block, batch)
    for answers in (yes, 1 - yes, np.zeros(80), yes):
        found = placed.difference(answers, 0.9)
        alone = stratified_difference(answers, first, block, batch, 0.9)
        assert (found.method, found.message) == (alone.method, alone.message)
        for name in ("estimate", "low", "high", "se", "df"):
            same = getattr(found, name), getattr(alone, name)
            np.testing.assert_array_equal(*same)


def test_an_arm_of_one_batch_has_no_limits():
    yes, first = [1, 1, 0, 0, 1, 0], [True] * 3 + [False] * 3
    found = stratified_difference(yes, first, [0] * 6, list("AAABBB"))
    assert found.estimate == pytest.approx(1 / 3)
    assert found.method == "none"
    assert np.isnan([found.low, found.high, found.p(), found.p_above()]).all()
    assert "single batch" in found.message


@pytest.mark.parametrize("answer", [0, 1])
def test_all_alike_is_no_certainty(answer):
    first, batch = [1, 0] * 6, np.repeat(np.arange(3), 4)
    found = stratified_difference([answer] * 12, first, batch, batch)
    assert found.method == "score"
    assert found.estimate == 0
    assert found.low < -0.3
    assert found.high > 0.3
    assert found.p() == 1
    assert found.p(found.low) == pytest.approx(0.05, abs=1e-6)


def test_batches_that_agree_by_chance_are_no_certainty():
    yes, first = [1, 0, 1, 1, 0, 0] * 3, [True, True, True, False, False, False] * 3
    batch = np.repeat(np.arange(3), 6)
    found = stratified_difference(yes, first, batch, batch)
    assert found.se == risk_difference(found.strata).se > 0
    assert found.df == pytest.approx(2)
    assert "agree" in found.message


def test_blocks_with_one_arm_are_left_out_and_counted():
    found = stratified_difference(
        [1, 0, 1, 1], [1, 0, 1, 1], list("aabb"), list("wxyz")
    )
    assert (found.left_out, len(found.strata.n)) == (2, 1)
    nothing = stratified_difference([1, 1], [1, 1], ["a", "b"], ["w", "x"])
    assert (nothing.method, nothing.left_out) == ("none", 2)
    assert np.isnan(nothing.estimate)
    assert stratified_difference([], [], [], []).method == "none"


def test_counts_of_millions_do_not_overflow():
    million = np.array([3_000_000], dtype=np.int32)
    found = risk_difference(strata_of(million // 2, million, million // 3, million))
    assert found.estimate == pytest.approx(1 / 6)
    assert found.se == pytest.approx(np.sqrt((1 / 4 + 2 / 9) / 3e6), rel=1e-3)
