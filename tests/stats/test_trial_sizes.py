"""Sizes of trials against published tables and R 4.2.2.

Sources: Fleiss JL, Tytun A, Ury HK, Biometrics 1980;36:343-346, and Fleiss's table;
Farrington CP, Manning G, Stat Med 1990;9:1447-1454 (examples of the paper, gsDesign
3.10.1's nBinomial); Blackwelder WC, Control Clin Trials 1982;3:345-353; Donner and Klar
2000; Eldridge SM et al., Int J Epidemiol 2006;35:1292-1300.
"""

from __future__ import annotations

import pytest
from powers import margin_power
from queen_outcomes.stats.shares.planning import (
    arm_plan,
    design_effect,
    margin_size,
    superiority_size,
    within_batch_effect,
)


@pytest.mark.parametrize(
    ("p1", "p2", "alpha", "power", "without", "corrected"),
    [
        # the first is 376 in Fleiss's table
        (0.60, 0.70, 0.05, 0.80, 355.942813, 375.676626),
        (0.60, 0.70, 0.05, 0.90, 476.007195, 495.805503),
        (0.65, 0.85, 0.05, 0.80, 72.393010, 82.088461),
        (0.25, 0.40, 0.01, 0.95, 343.891246, 357.100120),
    ],
)
def test_size_for_a_difference(p1, p2, alpha, power, without, corrected):
    wanted = {"alpha": alpha, "power": power}
    found = superiority_size(p1, p2, **wanted)
    assert (found.first, found.second) == pytest.approx((without, without), abs=1e-6)
    assert superiority_size(p2, p1, **wanted) == found
    found = superiority_size(p1, p2, continuity=True, **wanted)
    assert found.first == pytest.approx(corrected, abs=1e-6)


def test_fleiss_s_table_is_in_whole_queens():
    assert superiority_size(0.6, 0.7, continuity=True).whole == (376, 376)


@pytest.mark.parametrize(
    ("p1", "p2", "d0", "power", "ratio", "first", "second"),
    [
        (0.40, 0.05, 0.20, 0.8, 1.0, 79.84378, 79.84378),
        (0.10, 0.10, -0.20, 0.9, 2 / 3, 62.88401, 41.92267),
        (0.25, 0.05, 0.10, 0.9, 3 / 2, 173.22145, 259.83217),
    ],
)
def test_size_to_show_more_than_a_margin(p1, p2, d0, power, ratio, first, second):
    found = margin_size(p1, p2, d0, alpha=0.05, power=power, ratio=ratio)
    assert (found.first, found.second) == pytest.approx((first, second), rel=1e-6)
    back = margin_power(found.first, found.second, p1, p2, d0, alpha=0.05)
    assert back == pytest.approx(power, abs=1e-9)


def test_total_of_the_paper_s_first_example():
    found = margin_size(0.40, 0.05, 0.20, alpha=0.05)
    assert found.first + found.second == pytest.approx(159.6876, abs=5e-5)


def test_whole_batches_to_an_arm():
    assert design_effect(10, 0.05) == pytest.approx(1.45)
    assert design_effect(20, 0.02) == pytest.approx(1.38)
    assert design_effect(10, 0.05, cv=0.5) == pytest.approx(1.575)
    alone = superiority_size(0.65, 0.85).first
    tens = arm_plan(alone, 10, design_effect(10, 0.05))
    assert (tens.decided, tens.batches) == (pytest.approx(104.969865, abs=1e-6), 11)
    assert tens.queens == 105
    twenties = arm_plan(alone, 20, design_effect(20, 0.02))
    assert twenties.decided == pytest.approx(99.902354, abs=1e-6)


def test_both_arms_in_a_batch_take_out_what_they_share():
    assert within_batch_effect(5, 0.05) == pytest.approx(0.95)
    # nothing shared: the same as whole batches of that many courses
    assert within_batch_effect(5, 0.05, arm_by_batch=0.05) == pytest.approx(
        design_effect(5, 0.05)
    )
