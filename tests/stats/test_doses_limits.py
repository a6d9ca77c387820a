"""Score limits: what the test does not reject, for any counts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.shares.proportions import (
    blocked_score_limits,
    blocked_score_z,
    restricted_shares,
    score_limits,
    score_test,
    score_z,
)
from scipy.stats import binom

pytestmark = pytest.mark.slow

KINDS = ["mee", "miettinen_nurminen"]


@st.composite
def counts(draw):
    n1, n2 = draw(st.integers(1, 60)), draw(st.integers(1, 60))
    return draw(st.integers(0, n1)), n1, draw(st.integers(0, n2)), n2


def log_likelihood(x1, n1, x2, n2, p1, p2):
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = [(x1, p1), (n1 - x1, 1 - p1), (x2, p2), (n2 - x2, 1 - p2)]
        return sum(np.where(x == 0, 0.0, x * np.log(p)) for x, p in parts)


@settings(deadline=None)
@given(counts(), st.floats(-0.999, 0.999))
def test_no_other_pair_of_shares_is_likelier(table, d0):
    p1, p2 = restricted_shares(*table, d0)
    assert p1 - p2 == pytest.approx(d0, abs=1e-12)
    assert 0 <= p1 <= 1
    assert 0 <= p2 <= 1
    others = np.linspace(max(0.0, -d0), min(1.0, 1.0 - d0), 201)
    with_d0 = np.clip(others + d0, 0.0, 1.0)
    rest = log_likelihood(*table, with_d0, others)
    # where two roots meet, a cubic gives half of a float's digits
    assert log_likelihood(*table, p1, p2) >= np.max(rest) - 1e-6


@settings(deadline=None)
@given(counts(), st.sampled_from(KINDS), st.sampled_from([0.8, 0.95, 0.99]))
def test_limits_and_p_never_contradict_each_other(table, kind, level):
    found = score_limits(*table, level, kind)
    assert -1 <= found.low <= found.estimate <= found.high <= 1
    for limit, outward in ((found.low, -1), (found.high, 1)):
        if abs(limit) < 1:
            p = score_test(*table, limit, kind).p
            assert p == pytest.approx(1 - level, abs=1e-6)
            beyond = limit + outward * min(1e-3, (1 - abs(limit)) / 2)
            assert score_test(*table, beyond, kind).p < 1 - level


@settings(deadline=None)
@given(counts(), st.floats(-0.99, 0.99), st.sampled_from(KINDS))
def test_rejected_exactly_when_outside_the_limits(table, d0, kind):
    found = score_limits(*table, 0.95, kind)
    if min(abs(d0 - found.low), abs(d0 - found.high)) < 1e-6:
        return
    inside = found.low < d0 < found.high
    assert (score_test(*table, d0, kind).p > 0.05) == inside


@settings(deadline=None)
@given(counts())
def test_swapping_arms_or_answers_turns_the_sign(table):
    x1, n1, x2, n2 = table
    found = score_limits(*table)
    for turned in (
        score_limits(x2, n2, x1, n1),
        score_limits(n1 - x1, n1, n2 - x2, n2),
    ):
        assert (-turned.high, -turned.low) == pytest.approx(
            (found.low, found.high), abs=1e-7
        )


@settings(deadline=None)
@given(counts(), st.floats(-0.9, 0.9))
def test_one_block_is_the_plain_test(table, d0):
    single = [np.array([v]) for v in table]
    z = blocked_score_z(*single, d0)
    assert z == pytest.approx(float(score_z(*table, d0)), abs=1e-5)
    one, plain = blocked_score_limits(*single), score_limits(*table)
    assert (one.low, one.high) == pytest.approx((plain.low, plain.high), abs=1e-9)


def test_blocks_alike_add_up():
    # four times the same block: half the width of limits, about
    one, four = blocked_score_limits([30], [40], [20], [40]), None
    four = blocked_score_limits([30] * 4, [40] * 4, [20] * 4, [40] * 4)
    assert four.estimate == pytest.approx(one.estimate)
    narrower = (one.high - one.low) / (four.high - four.low)
    assert narrower == pytest.approx(2, abs=0.05)
    wide = blocked_score_limits([30], [40], [20], [40], df=3)
    assert wide.low < one.low < one.high < wide.high


def test_arms_without_courses_bound_nothing():
    found = score_limits(0, 0, 3, 5)
    assert np.isnan(found.estimate)
    assert (found.low, found.high) == (-1, 1)
    assert np.isnan(score_test(0, 0, 3, 5, -0.1).z)
    assert np.isnan(blocked_score_limits([], [], [], []).estimate)


@pytest.mark.parametrize(("n", "p"), [(50, 0.8), (100, 0.85), (100, 0.7)])
def test_at_the_margin_the_test_claims_too_much_rarely(n, p):
    # every pair of counts with its probability: the chance itself, not a simulation
    x = np.arange(n + 1)
    z = score_z(x[:, None], n, x[None], n, -0.1)
    chance = np.outer(binom.pmf(x, n, p - 0.1), binom.pmf(x, n, p))
    assert 0.015 < np.sum(chance[z > 1.959964]) <= 0.034
