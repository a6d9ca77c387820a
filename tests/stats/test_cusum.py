"""Running series: what holds for any cases, restarts and undecided cases."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.series.cusum import (
    changed_risks,
    cusum_path,
    weights,
)
from queen_outcomes.stats.series.learning import alike_signal_chance, learning_curve
from run_lengths import average_run_length, signal_chance

scores = st.lists(
    st.one_of(st.just(np.nan), st.floats(-0.7, 0.7, allow_nan=False)), max_size=40
)


@given(st.floats(0.001, 0.999), st.floats(0.1, 10).filter(lambda r: abs(r - 1) > 0.01))
@settings(max_examples=60, deadline=None)
def test_weights_are_log_likelihood_ratios(risk, ratio):
    success, failure = weights(risk, ratio)
    other = changed_risks(risk, ratio)
    assert failure == pytest.approx(np.log(other / risk), abs=1e-9)
    assert success == pytest.approx(np.log((1 - other) / (1 - risk)), abs=1e-9)
    # without change the CUSUM falls on average
    assert risk * failure + (1 - risk) * success < 0


@given(scores, st.floats(0.3, 3))
@settings(max_examples=80, deadline=None)
def test_undecided_cases_change_nothing_but_their_place(made, limit):
    made = np.array(made, float)
    seen = ~np.isnan(made)
    whole, short = cusum_path(made, limit), cusum_path(made[seen], limit)
    np.testing.assert_array_equal(whole.value[seen], short.value)
    np.testing.assert_array_equal(whole.signal[seen], short.signal)
    assert not whole.signal[~seen].any()


@given(scores, st.floats(0.3, 3))
@settings(max_examples=80, deadline=None)
def test_after_a_signal_the_series_starts_again(made, limit):
    found = cusum_path(made, limit)
    assert (found.value >= 0).all()
    np.testing.assert_array_equal(found.signal, found.value >= limit - 1e-9)
    for case in np.flatnonzero(found.signal):
        rest = cusum_path(made[case + 1 :], limit)
        np.testing.assert_array_equal(found.value[case + 1 :], rest.value)


def test_an_undecided_case_after_a_signal_carries_zero():
    found = cusum_path([1.0, 1.5, np.nan, 0.5, np.nan], limit=2.0)
    assert found.value.tolist() == [1.0, 2.5, 0.0, 0.5, 0.5]
    assert found.signal.tolist() == [False, True, False, False, False]


def test_a_sum_of_decimals_reaches_the_limit_it_equals():
    assert 0.1 + 0.1 + 0.1 - 0.1 - 0.1 - 0.1 != 0
    assert cusum_path([0.1] * 10, limit=1.0).signal[-1]


def test_no_cases_make_an_empty_series():
    assert len(cusum_path([]).value) == 0


def test_a_learner_without_an_answer_stands_still():
    found = learning_curve([0, np.nan, 0, 1], 0.3, 0.1, 0.4)
    assert found.value[1] == found.value[0]
    assert found.competent_at == 3


@given(st.lists(st.floats(0.02, 0.6), min_size=1, max_size=30), st.floats(0.5, 3))
@settings(max_examples=25, deadline=None)
def test_chances_of_a_signal_grow_with_cases_and_with_the_change(risks, limit):
    still = signal_chance(risks, limit, cells=500)
    moved = signal_chance(risks, limit, change=2, cells=500)
    assert (np.diff(still) >= -1e-12).all()
    assert (moved >= still - 1e-12).all()
    assert -1e-12 <= still[0] <= moved[-1] <= 1 + 1e-9


def test_chances_of_varying_risks_agree_with_simulation():
    rng = np.random.default_rng(2)
    p = rng.beta(2, 8, 60)
    success, failure = weights(p, 2)
    now, signalled = np.zeros(20_000), np.zeros(20_000, bool)
    for case in range(60):
        failed = rng.random(20_000) < p[case]
        now = np.maximum(0, now + np.where(failed, failure[case], success[case]))
        signalled |= now >= 2.5
    found = signal_chance(p, 2.5)[-1]
    assert signalled.mean() == pytest.approx(found, abs=0.012)


def test_run_length_is_the_sum_of_the_chances_of_no_signal_yet():
    down, up = (float(w) for w in weights(0.3, 2))
    none_yet = 1 - alike_signal_chance(up, down, 0.3, 1.0, 1500)
    length = 1 + none_yet.sum()
    assert average_run_length([0.3], [1], 1.0) == pytest.approx(length, rel=2e-3)


def test_failures_that_never_come_give_no_run_length():
    assert average_run_length([0.2], [1], 2.0, change=0.0) == np.inf
