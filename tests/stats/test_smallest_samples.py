"""What is said of one course, one pair, two batches: by hand, or by counting pairs.

A guard that is off by one shows only here: larger samples never come near it.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from queen_outcomes.stats.shares.agreement import cohen_kappa, limits_of_agreement
from queen_outcomes.stats.shares.clustering import (
    anova_icc,
    arms_within_batches,
    batch_counts,
    clustered_share,
    effective_counts,
    icc_of_counts,
)
from queen_outcomes.stats.shares.dose_response import dose_on_curve, trend_test
from queen_outcomes.stats.shares.funnel import funnel_lines, overdispersion, winsorise
from queen_outcomes.stats.shares.planning import (
    Size,
    arm_plan,
    design_effect,
    enough_batches,
    few_batches_factor,
)
from queen_outcomes.stats.shares.proportions import (
    blocked_score_limits,
    blocked_score_z,
    score_limits,
    score_test,
    score_z,
    wilson,
)
from queen_outcomes.stats.shares.strata import (
    breslow_day_test,
    odds_ratio,
    risk_difference,
    risk_ratio,
    strata_of,
)
from scipy.stats import norm, t
from statsmodels.stats.contingency_tables import StratifiedTable

Z = 1.959963984540054


@pytest.mark.parametrize(("yes", "n"), [(0.3, 0.5), (0.25, 1), (1, 3), (40, 41)])
def test_wilson_s_limits_are_where_the_score_test_turns(yes, n):
    found = wilson(yes, n)
    for limit in (found.low, found.high):
        assert (yes / n - limit) ** 2 == pytest.approx(Z**2 * limit * (1 - limit) / n)


@pytest.mark.parametrize(("n1", "n2"), [(1, 1), (0.5, 1), (1, 2), (4, 0.75)])
def test_a_course_each_or_less_is_tested(n1, n2):
    found = score_limits(n1, n1, 0, n2)
    # all against none: where 1 - d is the share of either, by hand
    assert found.high == 1
    assert score_z(n1, n1, 0, n2, found.low) == pytest.approx(Z, abs=1e-6)
    assert score_test(n1, n1, 0, n2, 0.0).z == pytest.approx(
        1 / np.sqrt(n1 * n2 / (n1 + n2) ** 2 * (1 / n1 + 1 / n2))
    )


def test_one_block_is_the_test_of_two_shares_and_copies_add_up():
    counts = (9, 14, 4, 13)
    for d0 in (-0.3, 0.0, 0.45):
        one = blocked_score_z(*([v] for v in counts), d0)
        assert one == pytest.approx(score_z(*counts, d0))
        four = blocked_score_z(*([v] * 4 for v in counts), d0)
        assert four == pytest.approx(2 * one)
    ours, usual = blocked_score_limits(*([v] for v in counts)), score_limits(*counts)
    assert (ours.low, ours.high) == pytest.approx((usual.low, usual.high))
    small = blocked_score_limits(*([v] for v in counts), df=4)
    wide = float(2 * norm.cdf(t.isf(0.025, 4)) - 1)
    usual = score_limits(*counts, level=wide)
    assert (small.low, small.high) == pytest.approx((usual.low, usual.high))


def test_pairs_give_the_ratio_of_those_that_differ():
    # of 1:1 pairs Mantel and Haenszel's odds ratio is McNemar's: 7 against 3 of 30
    pairs = [(1, 0)] * 7 + [(0, 1)] * 3 + [(1, 1)] * 8 + [(0, 0)] * 12
    a, c = np.array(pairs).T
    blocks = strata_of(a, 1, c, 1)
    assert odds_ratio(blocks) == pytest.approx(7 / 3)
    assert risk_ratio(blocks) == pytest.approx(15 / 11)
    found = risk_difference(blocks)
    assert found.estimate == pytest.approx(4 / 30)
    # Sato's variance, by hand: (d sum P + sum Q) / (sum w)^2 with P = (c - a) / 4,
    # and Q = 1/4 for a pair that differs
    assert found.se == pytest.approx(np.sqrt(4 / 30 * (-4 / 4) + 10 / 4) / 15)


def test_a_block_with_a_single_yes_counts_in_the_test_of_one_odds_ratio():
    a, n1, c, n2 = [1, 5, 3], [4, 6, 5], [0, 2, 4], [5, 7, 5]
    tables = np.array([[a, np.subtract(n1, a)], [c, np.subtract(n2, c)]], float)
    expected = StratifiedTable(tables).test_equal_odds(adjust=False)
    alike = [*a, 3, 0], [*n1, 3, 3], [*c, 2, 0], [*n2, 2, 2]
    for counts in ((a, n1, c, n2), alike):
        found = breslow_day_test(strata_of(*counts))
        assert found.statistic == pytest.approx(expected.statistic)
        assert (found.df, found.p) == (2, pytest.approx(expected.pvalue))
    # turned round: the first block has a single no
    turned = breslow_day_test(strata_of(np.subtract(n1, a), n1, np.subtract(n2, c), n2))
    assert turned.statistic == pytest.approx(expected.statistic)
    two = breslow_day_test(strata_of(a[:2], n1[:2], c[:2], n2[:2]))
    expected = StratifiedTable(tables[:, :, :2]).test_equal_odds(adjust=False)
    assert (two.df, two.p) == (1, pytest.approx(expected.pvalue))
    one = breslow_day_test(strata_of(a[1:2], n1[1:2], c[1:2], n2[1:2]))
    assert (one.df, np.isnan(one.p)) == (0, True)
    assert breslow_day_test(strata_of([], [], [], [])).df == 0


def test_two_batches_of_a_course_each():
    found = clustered_share([1, 0, 0], [1, 1, 0])
    # 2 / 1 x (1/4 + 1/4) / 2^2, against 1/4 / 2 as if independent
    assert (found.share, found.se, found.design_effect) == (0.5, 0.5, 2.0)
    assert effective_counts(found) == (0.5, 1.0)
    alone = clustered_share([1], [1])
    assert (alone.share, alone.yes, alone.n, alone.batches) == (1, 1, 1, 1)
    assert np.isnan(alone.se)
    assert effective_counts(alone) == (1, 1)
    nobody = clustered_share([0], [0])
    assert (np.isnan(nobody.share), nobody.batches) == (True, 0)


def test_batches_more_alike_than_chance_make_no_more_courses():
    # half of each batch: no variance between them
    found = clustered_share([2, 3], [5, 5])
    # 2 x (1/4 + 1/4) / 100, against 1/4 / 10
    assert found.design_effect == pytest.approx(0.4)
    assert effective_counts(found) == (5, 10)


def test_correlation_of_the_smallest_batches_by_hand():
    # batches (1, 0) and (1): MSB = 1/6, MSW = 1/2, n0 = 3 - 5/3
    found = icc_of_counts([1, 1, 0], [2, 1, 0])
    assert found.n0 == pytest.approx(4 / 3)
    assert found.icc == pytest.approx((1 / 6 - 1 / 2) / (1 / 6 + 1 / 6))
    assert found.for_planning == 0
    assert (found.mean_size, found.cv) == pytest.approx((1.5, 1 / 3))
    again = anova_icc([1, 0, 1, np.nan], [0, 0, 1, 1])
    assert again.icc == pytest.approx(found.icc)
    rough = [icc_of_counts([1] * g, [2] * g).message for g in (2, 19, 20)]
    assert [bool(words) for words in rough] == [True, True, False]


def test_what_arms_share_is_the_mean_product_over_pairs():
    rng = np.random.default_rng(4)
    y, arm, batch = rng.integers(0, 2, 40), rng.integers(0, 3, 40), np.arange(40) // 4
    off = y - np.array([y[arm == a].mean() for a in range(3)])[arm]
    ours = arms_within_batches(np.append(y, np.nan), [*arm, 0], [*batch, 0])
    pairs = [
        (arm[i] == arm[j], off[i] * off[j])
        for i, j in product(range(40), repeat=2)
        if i != j and batch[i] == batch[j]
    ]
    for alike, found in ((True, ours.same_arm), (False, ours.across)):
        mean = np.mean([value for same, value in pairs if same == alike])
        assert found == pytest.approx(mean / np.mean(off**2))
    assert ours.arm_by_batch == pytest.approx(ours.same_arm - ours.across)


def test_one_pair_of_courses_is_enough_for_what_arms_share():
    found = arms_within_batches([1, 0, 1, 0], [0, 0, 1, 1], [0, 0, 1, 2])
    assert found.same_arm == pytest.approx(-1)
    assert np.isnan(found.across)
    assert np.isnan(arms_within_batches([], [], []).same_arm)


def test_a_trend_over_single_courses_is_their_correlation():
    # Armitage's z squared is N r squared
    yes, dose = np.array([0, 0, 1, 0, 1, 1]), np.array([4.0, 6, 7, 8, 10, 12])
    found = trend_test([*yes, 0], [1] * 6 + [0], [*dose, 99], "uL")
    r = np.corrcoef(yes, dose)[0, 1]
    assert found.z == pytest.approx(np.sqrt(6) * r)
    assert found.slope == pytest.approx(np.polyfit(dose, yes, 1)[0])
    assert found.total == pytest.approx(6)


def test_two_doses_leave_nothing_for_a_lack_of_fit():
    found = trend_test([3, 8], [10, 11], [4, 8], "uL")
    assert found.z**2 == pytest.approx(found.total)
    assert np.isnan(found.lack_p)
    assert found.z == pytest.approx(score_z(8, 11, 3, 10, 0.0))
    assert "two doses" in trend_test([1], [1], [4], "uL").message
    assert "two doses" in trend_test([0, 0], [0, 0], [4, 8], "uL").message


@pytest.mark.parametrize(
    ("success", "curve", "words"),
    [
        (0.0, [0.2, 0.8], "between 0 and 1"),
        (1.0, [0.2, 0.8], "between 0 and 1"),
        (0.9, [0.2, 0.8], "not reached"),
        (0.2, [0.2, 0.8], "at the smallest dose"),
        (0.5, [0.7, 0.6, 0.9], "before the curve rises"),
        (0.5, [], "no curve"),
        (0.5, [np.nan, 0.8], "no curve"),
    ],
)
def test_why_there_is_no_dose(success, curve, words):
    found = dose_on_curve(success, np.arange(len(curve)) + 4.0, curve, curve, curve)
    assert np.isnan([found.dose, found.low, found.high]).all()
    assert words in found.message


def test_a_dose_is_read_on_the_part_that_rises_to_the_top():
    # on the logit scale: falls, rises through 0 half way from 6 to 8, falls again
    curve, half = np.array([0.5, -1, -1, 1, 2, -3]), np.array([0.5] * 6)
    dose = np.array([2.0, 4, 6, 8, 10, 12])
    low, mid, high = (1 / (1 + np.exp(-v)) for v in (curve - half, curve, curve + half))
    found = dose_on_curve(0.5, dose, mid, low, high)
    assert (found.dose, found.low, found.high) == pytest.approx((7, 6.5, 7.5))
    assert found.message == ""
    # a success at the very top, which no lower limit reaches
    top = dose_on_curve(mid[4], dose, mid, low, high)
    assert top.dose == pytest.approx(10)
    assert np.isnan(top.high)
    assert "no upper limit" in top.message
    # an upper limit that lies above all along
    wide = dose_on_curve(0.5, dose[2:5], mid[2:5], low[2:5], high[4] + np.zeros(3))
    assert np.isnan(wide.low)
    assert "no lower limit" in wide.message


def test_two_queens_scored_or_measured_twice():
    found = limits_of_agreement([1, 3], [0, 0])
    assert (found.mean, found.sd) == pytest.approx((2, np.sqrt(2)))
    assert found.high - found.low == pytest.approx(2 * 1.96 * np.sqrt(2))
    assert np.isnan(limits_of_agreement([1], [0]).sd)
    # one queen, given two scores: nothing agreed, and nothing was expected to
    assert (cohen_kappa([[0, 1], [0, 0]]).n, cohen_kappa([[0, 1], [0, 0]]).kappa) == (
        1,
        0,
    )
    # of two categories all weights are the same
    kappas = [
        cohen_kappa([[5, 2], [1, 4]], weights=weights).kappa
        for weights in ("none", "linear", "quadratic")
    ]
    assert kappas == pytest.approx([(0.75 - 72 / 144) / 0.5] * 3)
    assert "every queen the same" in cohen_kappa([[3]], weights="linear").message


def test_two_operators_are_enough_for_more_than_chance():
    # phi 4, I phi - (I - 1) = 7, over 2 - 2 / 2 as both weigh 1
    found = overdispersion([2, -2], [1, 1], winsor=0)
    assert (found.phi, found.tau2) == (4, 7)
    assert overdispersion([2], [1], winsor=0).tau2 == 0
    assert overdispersion([0.1, -0.1], [1, 1], winsor=0).tau2 == 0
    assert np.isnan(overdispersion([], []).phi)
    assert len(winsorise([], 0.1)) == 0


def test_lines_of_a_funnel_begin_at_one_course():
    assert (
        funnel_lines([], 0.5) == funnel_lines([5], 0.0) == funnel_lines([5], 1.0) == []
    )
    (only,) = funnel_lines([1], 0.5)
    assert only["size"] == 1
    (wide,) = funnel_lines([1], 0.5, tau2=3.0)
    # 1 -+ z sqrt(1 + 3), cut at 0
    assert wide["high_95"] == pytest.approx(1 + 2 * Z, abs=1e-4)
    assert wide["high_998"] == pytest.approx(1 + 2 * 3.090232, abs=1e-4)
    assert (wide["low_95"], wide["low_998"]) == (0, 0)
    assert [line["size"] for line in funnel_lines([3], 0.5)] == [1, 2, 3]


@pytest.mark.parametrize(
    ("size", "per_batch", "decided"),
    [(np.inf, 4, 1.0), (40, 0, 1.0), (40, 4, 0.0), (40, 4, 1.5)],
)
def test_a_size_that_nobody_can_raise_is_said(size, per_batch, decided):
    found = arm_plan(size, per_batch, 1.0, decided)
    assert found.message == "no number of queens would do"
    assert (found.decided, found.queens, found.batches) == (np.inf, 0, 0)


def test_queens_and_batches_of_an_arm_by_hand():
    found = arm_plan(40, 0.5, 1.5, 0.8)
    assert (found.queens, found.batches, found.message) == (75, 150, "")
    assert design_effect(0.5, 0.1) == 1.0
    assert design_effect(11, 0.1, 0.5) == pytest.approx(1 + (1.25 * 11 - 1) * 0.1)


def test_fewest_batches_by_trying_each():
    assert few_batches_factor(1, arms_share_batches=True) == np.inf
    assert few_batches_factor(2, arms_share_batches=False) == np.inf
    assert np.isfinite(few_batches_factor(3, arms_share_batches=False))
    for share, courses in ((True, 9), (False, 9), (True, 70), (False, 70)):
        batches = enough_batches(Size(courses, 5.0), 4, 1.2, arms_share_batches=share)
        tried = next(
            g
            for g in range(2, 999)
            if g * 4
            >= courses
            * 1.2
            * few_batches_factor(g if share else 2 * g, arms_share_batches=share)
        )
        assert batches == tried
    assert enough_batches(Size(np.inf, 5), 4, 1.2, arms_share_batches=True) == 0


def test_successes_and_courses_of_each_batch_in_the_order_of_names():
    yes, n = batch_counts([1, 0, 1, 1], ["h", "h", "g", "h"])
    assert (yes.tolist(), n.tolist()) == ([1, 2], [1, 3])
