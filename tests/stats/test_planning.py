"""Sizes of trials against published tables and R 4.2.2.

Sources: Fleiss JL, Tytun A, Ury HK, Biometrics 1980;36:343-346, and Fleiss's table;
Farrington CP, Manning G, Stat Med 1990;9:1447-1454 (examples of the paper, gsDesign
3.10.1's nBinomial); Blackwelder WC, Control Clin Trials 1982;3:345-353; Donner and Klar
2000; Eldridge SM et al., Int J Epidemiol 2006;35:1292-1300.

Sizes move the way they should.
"""

from __future__ import annotations

import numpy as np
import pytest
from blocked import stratified_difference
from hypothesis import given, settings
from hypothesis import strategies as st
from powers import margin_power, superiority_power
from queen_outcomes.stats.shares.planning import (
    Dose,
    Size,
    arm_plan,
    design_effect,
    enough_batches,
    few_batches_factor,
    margin_size,
    superiority_size,
    to_have_ready,
    within_batch_effect,
)
from queen_outcomes.stats.shares.proportions import score_z
from scipy.stats import binom


def corrected(size, gap):
    """Correct equal arms for continuity, as Fleiss, Tytun and Ury's table has them (1980)."""
    return size.first / 4 * (1 + np.sqrt(1 + 4 / (size.first * gap))) ** 2


@pytest.mark.parametrize(
    ("p1", "p2", "alpha", "power", "without", "with_correction"),
    [
        # the first is 376 in Fleiss's table
        (0.60, 0.70, 0.05, 0.80, 355.942813, 375.676626),
        (0.60, 0.70, 0.05, 0.90, 476.007195, 495.805503),
        (0.65, 0.85, 0.05, 0.80, 72.393010, 82.088461),
        (0.25, 0.40, 0.01, 0.95, 343.891246, 357.100120),
    ],
)
def test_size_for_a_difference(p1, p2, alpha, power, without, with_correction):
    wanted = {"alpha": alpha, "power": power}
    found = superiority_size(p1, p2, **wanted)
    assert (found.first, found.second) == pytest.approx((without, without), abs=1e-6)
    assert superiority_size(p2, p1, **wanted) == found
    assert corrected(found, p2 - p1) == pytest.approx(with_correction, abs=1e-6)


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


shares = st.floats(0.05, 0.95)
powers = st.floats(0.5, 0.99)


@settings(deadline=None)
@given(shares, shares, powers, st.floats(0.25, 4))
def test_power_of_the_size_is_the_power_asked_for(p1, p2, power, ratio):
    if abs(p1 - p2) > 0.01:
        found = superiority_size(p1, p2, power=power, ratio=ratio)
        assert found.second == pytest.approx(ratio * found.first)
        got = superiority_power(found.first, found.second, p1, p2)
        assert got == pytest.approx(power, abs=1e-9)
    if p1 - p2 > -0.09:
        found = margin_size(p1, p2, -0.1, power=power, ratio=ratio)
        got = margin_power(found.first, found.second, p1, p2, -0.1)
        assert got == pytest.approx(power, abs=1e-7)


@settings(deadline=None)
@given(shares, st.floats(0.02, 0.3), powers)
def test_sizes_grow_as_what_is_sought_shrinks(p, margin, power):
    one = margin_size(p, p, -margin, power=power).first
    assert margin_size(p, p, -margin / 2, power=power).first > one
    assert margin_size(p, p, -margin, power=min(power + 0.005, 0.999)).first > one
    assert margin_size(p, p, -margin, power=power, alpha=0.01).first > one
    wide, near = (superiority_size(p, p + d * margin) for d in (0.15, 0.1))
    assert near.first > wide.first


@settings(deadline=None)
@given(st.floats(1, 40), st.floats(0, 0.5), st.floats(0, 1), st.floats(0.3, 1))
def test_batches_and_undecided_courses_never_make_a_trial_smaller(m, icc, cv, decided):
    effect = design_effect(m, icc, cv)
    assert 1 <= design_effect(m, icc) <= effect
    assert design_effect(m + 1, icc, cv) >= effect
    plan = arm_plan(80, m, effect, decided)
    assert plan.queens * decided >= 80 * effect - 1e-6
    assert plan.batches * m >= plan.queens - 1
    within = within_batch_effect(m, icc)
    assert within <= 1 <= within_batch_effect(m, icc, icc) + 1e-12


@pytest.mark.parametrize("share", [False, True])
def test_few_batches_need_more_than_the_normal_says(share):
    factors = [
        few_batches_factor(g, arms_share_batches=share) for g in (2, 4, 8, 20, 400)
    ]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] == pytest.approx(1, abs=0.02)
    assert few_batches_factor(1, arms_share_batches=share) == np.inf
    alone = superiority_size(0.65, 0.85)
    plain = arm_plan(alone.first, 10, 1.45).batches
    more = enough_batches(alone, 10, 1.45, arms_share_batches=share)
    assert plain <= more <= plain + 3
    assert enough_batches(Size(np.inf, np.inf), 10, 1, arms_share_batches=share) == 0


@pytest.mark.parametrize(
    "found",
    [
        superiority_size(0.5, 0.5),
        superiority_size(0.5, 1.5),
        margin_size(0.5, 0.7, -0.1),
    ],
)
def test_what_no_number_would_show_is_said_in_words(found):
    assert found.first == found.second == np.inf
    assert found.message
    assert arm_plan(found.first, 10, 1.2).message


@pytest.mark.parametrize(
    ("p1", "p2", "d0", "n"), [(0.85, 0.85, -0.1, 100), (0.8, 0.65, 0.0, 120)]
)
def test_stated_power_is_the_power_of_the_test(p1, p2, d0, n):
    # over every pair of counts, by their probability
    x = np.arange(n + 1)
    z = score_z(x[:, None], n, x[None], n, d0)
    chance = np.outer(binom.pmf(x, n, p1), binom.pmf(x, n, p2))
    exact = chance[z > 1.959964].sum()
    assert margin_power(n, n, p1, p2, d0) == pytest.approx(exact, abs=0.02)


@pytest.mark.slow
def test_a_planned_trial_finds_what_it_was_planned_for():
    # whole batches of 10, ICC 0.05 (shares of batches from a beta distribution)
    size, icc = superiority_size(0.8, 0.6), 0.05
    batches = enough_batches(size, 10, design_effect(10, icc), arms_share_batches=False)
    rng, spread, found = np.random.default_rng(7), 1 / icc - 1, 0
    first = np.repeat(np.arange(2 * batches) % 2 == 0, 10)
    batch = np.repeat(np.arange(2 * batches), 10)
    p = np.where(np.arange(2 * batches) % 2 == 0, 0.8, 0.6)
    for _ in range(300):
        chance = rng.beta(p * spread, (1 - p) * spread)
        yes = rng.random(len(batch)) < chance[batch]
        limits = stratified_difference(yes, first, np.zeros(len(batch)), batch)
        found += limits.low > 0
    assert 0.74 <= found / 300 <= 0.88


def test_semen_and_drones_to_have_ready():
    ready = to_have_ready([Dose("A", 60, 8.0), Dose("B", 30, 12.0)], 0.6, spare=0.1)
    assert ready.queens == 90
    assert ready.semen_ul == pytest.approx(924)
    assert ready.drones == 1540
    assert to_have_ready([], 0.6).drones == 0
