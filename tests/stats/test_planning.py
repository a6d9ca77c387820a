"""Sizes move the way they should."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from powers import margin_power, superiority_power
from queen_outcomes.stats.shares.clustered_strata import stratified_difference
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
    corrected = superiority_size(p, p + 0.1 * margin, continuity=True)
    assert corrected.first > near.first


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
