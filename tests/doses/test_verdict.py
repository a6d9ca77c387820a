"""Every pair of limits has one verdict, and verdicts are ordered."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.doses.differences import (
    simultaneous_level,
    simultaneous_p,
    verdict,
)
from queen_outcomes.stats.shares.multiplicity import holm
from queen_outcomes.stats.shares.proportions import score_limits, score_test

DONE = (100, 100)
RISING = ("worse", "inconclusive", "not_worse", "better")


def rank(word):
    return RISING.index("not_worse" if word == "not_worse_though_lower" else word)


@pytest.mark.parametrize(
    ("low", "high", "word"),
    [
        (0.01, 0.2, "better"),
        (0.0, 0.2, "not_worse"),
        (-0.05, 0.1, "not_worse"),
        (-0.05, 0.0, "not_worse"),
        (-0.09, -0.01, "not_worse_though_lower"),
        (-0.1, -0.01, "inconclusive"),
        (-0.2, 0.3, "inconclusive"),
        (-0.2, -0.1, "inconclusive"),
        (-0.3, -0.11, "worse"),
    ],
)
def test_verdict_by_the_limits(low, high, word):
    assert verdict(low, high, 0.1, *DONE).word == word


limits = st.tuples(st.floats(-1, 1), st.floats(-1, 1)).map(sorted)


@settings(deadline=None)
@given(limits, st.floats(0.001, 0.5))
def test_there_is_always_one_verdict_and_it_is_true_of_the_limits(pair, margin):
    low, high = pair
    word = verdict(low, high, margin, *DONE).word
    true = {
        "better": low > 0,
        "not_worse": -margin < low <= 0 <= high,
        "not_worse_though_lower": low > -margin and high < 0,
        "worse": high < -margin,
        "inconclusive": low <= -margin <= high,
    }
    assert [name for name, holds in true.items() if holds] == [word]


@settings(deadline=None)
@given(limits, st.floats(0.001, 0.5), st.floats(0, 1))
def test_higher_limits_never_give_a_lower_verdict(pair, margin, up):
    one = verdict(*pair, margin, *DONE).word
    other = verdict(pair[0] + up, pair[1] + up, margin, *DONE).word
    assert rank(other) >= rank(one)


@settings(deadline=None)
@given(limits, st.floats(0.001, 0.25), st.floats(0, 0.25))
def test_a_wider_margin_never_takes_back_not_worse(pair, margin, more):
    one = verdict(*pair, margin, *DONE).word
    other = verdict(*pair, margin + more, *DONE).word
    assert rank(other) >= rank(one)


@pytest.mark.parametrize(
    ("low", "margin", "counts", "word", "said"),
    [
        (0.1, None, DONE, "none", "no margin"),
        (0.1, 0.0, DONE, "none", "no margin"),
        (0.1, np.nan, DONE, "none", "no margin"),
        (0.1, 0.1, (99, 100), "interim", "99 of 100"),
        (np.nan, 0.1, DONE, "none", "no limits"),
        (0.1, 0.1, (5,), "better", "better"),
    ],
)
def test_what_stands_in_the_way_of_a_verdict(low, margin, counts, word, said):
    found = verdict(low, 0.3, margin, *counts)
    assert found.word == word
    assert said in found.said


@pytest.mark.slow
@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=1, max_size=4)
)
def test_simultaneous_limits_and_p_never_contradict_each_other(arms):
    level = simultaneous_level(len(arms))
    p = simultaneous_p([score_test(x, 30, y, 30, 0.0).p for x, y in arms])
    for (x, y), own in zip(arms, p, strict=True):
        found = score_limits(x, 30, y, 30, level)
        if min(abs(found.low), abs(found.high)) > 1e-9:
            assert (own < 0.05) == (found.low > 0 or found.high < 0)


def test_simultaneous_figures():
    assert simultaneous_level(1) == pytest.approx(0.95)
    assert simultaneous_level(5) == pytest.approx(0.99)
    assert simultaneous_level(0) == pytest.approx(0.95)
    p = simultaneous_p([0.01, np.nan, 0.4, 0.9])
    np.testing.assert_allclose(p, [0.03, np.nan, 1.0, 1.0])
    assert np.all(holm([0.01, 0.4, 0.9]) <= p[[0, 2, 3]])
