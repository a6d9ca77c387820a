"""The lines of a funnel: exact limits, wider where operators vary."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.shares.funnel import (
    flagging_p,
    flags,
    funnel_lines,
    placed_ratio,
)
from queen_outcomes.stats.shares.poisson_binomial import independent_counts


def test_the_lines_of_a_funnel_are_exact_limits():
    # hospital B of twelve, Spiegelhalter DJ. Stat Med 2005;24:1185-1202: 148 operations,
    # 208 deaths of 2,814; upper limit 0.1152196 (own exact arithmetic, as R gives it)
    share = 208 / 2814
    last = funnel_lines([148], share)[-1]
    assert last["size"] == 148
    # moved by half an operation, so that it is the mid-P tail that begins there
    assert last["high_95"] * share - 0.5 / 148 == pytest.approx(0.1152196, abs=1e-5)
    for line in funnel_lines([400], 0.2):
        limits = [line[name] for name in ("low_998", "low_95", "high_95", "high_998")]
        assert limits == sorted(limits)
        assert limits[0] >= 0


def test_a_variance_between_operators_widens_the_lines():
    near = funnel_lines([200], 0.2)[-1]
    wide = funnel_lines([200], 0.2, tau2=0.09)[-1]
    assert wide["high_95"] == pytest.approx(
        1 + 1.959964 * np.sqrt(0.8 / 0.2 / 200 + 0.09), abs=1e-4
    )
    assert wide["high_95"] > near["high_95"]
    assert wide["low_95"] < near["low_95"]


def test_there_are_no_lines_without_courses_or_risk():
    assert (
        funnel_lines([], 0.2)
        == funnel_lines([20], 0.0)
        == funnel_lines([20], 1.0)
        == []
    )


def test_what_lies_outside_a_line_has_a_tail_beyond_it_and_nothing_else():
    # risks far from the lines' one risk: a batch of poor queens, whose own upper limit
    # lies elsewhere; its tails by the exact distribution of unequal chances
    rng, share = np.random.default_rng(4), 0.2
    flagged = 0
    for _ in range(300):
        n = int(rng.integers(2, 60))
        risks = rng.choice([0.05, 0.1, 0.5], n)
        tails = independent_counts(risks).tails(int(rng.integers(0, n + 1)))
        is_more = tails.above < tails.below
        (line,) = (one for one in funnel_lines([n], share) if one["size"] == n)
        placed = round(float(placed_ratio(tails.two_sided, is_more, n, share)), 4)
        lines = (("low_998", "high_998", 0.001), ("low_95", "high_95", 0.025))
        for low, high, tail in lines:
            far = min(tails.below, tails.above) < tail
            if far:
                assert placed >= line[high] if is_more else placed <= line[low]
            else:
                assert placed <= line[high] if is_more else placed >= line[low]
        flagged += min(tails.below, tails.above) < 0.001
    assert 20 < flagged < 280


def test_courses_of_one_risk_stand_where_their_ratio_is():
    share, n = 0.2, 30
    counts = independent_counts(np.full(n, share))
    for failures in (0, 2, 9, 12, 15):
        tails = counts.tails(failures)
        placed = placed_ratio(tails.two_sided, tails.above < tails.below, n, share)
        assert placed * n * share == pytest.approx(failures, abs=1e-6)


@pytest.mark.parametrize("raised", [1.0, 0.001])
def test_operators_are_flagged_just_beyond_the_line_of_flags(raised):
    rng = np.random.default_rng(9)
    lower = rng.random(12)
    lower[:3] *= raised
    found = flags(lower, 1 - lower)
    line = flagging_p(int((found.direction != 0).sum()), 12)
    np.testing.assert_array_equal(found.p <= line, found.direction != 0)
    assert (found.direction != 0).any() == (raised < 1)


def test_the_line_of_flags_by_hand():
    # a twentieth of those flagged over those asked; of nobody flagged the first's
    assert flagging_p(0, 12) == flagging_p(1, 12) == pytest.approx(0.05 / 12)
    assert flagging_p(3, 12) == pytest.approx(0.0125)
    assert flagging_p(0, 0) == flagging_p(1, 1) == 0.05
