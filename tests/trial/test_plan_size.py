"""Sizes of a planned trial: published sizes through the plan, and how they move.

Published: two shares of 0.65 and 0.85 need 72.393010 independent courses an arm (two-sided
5 %, power 80 %), and whole batches of 10 with a correlation of 0.05 need 1.45 times as
many, in 11 batches; 0.60 and 0.70 need 355.942813. Fleiss JL, Tytun A, Ury HK, Biometrics
1980;36:343-346 (R power.prop.test); Donner and Klar 2000.
"""

from __future__ import annotations

import numpy as np
import pytest
from blocked import stratified_difference
from hypothesis import given, settings
from hypothesis import strategies as st
from planned_station import request
from queen_outcomes.base.errors import UsageError
from queen_outcomes.stats.shares.planning import few_batches_factor, margin_size
from queen_outcomes.trial.bench_list import bench_list
from queen_outcomes.trial.plan import trial_size
from queen_outcomes.trial.plan_figures import Figures, PlanFigure
from scipy.stats import norm

PLAIN = {
    "share": 0.65,
    "asked": 1.0,
    "decided": 1.0,
    "icc": 0.0,
    "arm_by_batch": 0.0,
    "per_graft": 20.0,
    "cv": 0.0,
    "per_load": 20.0,
    "yielding": 0.6,
    "ul_a_drone": 0.6,
    "queens_a_season": 0.0,
    "drones_a_season": 0.0,
}


def figures(**values) -> Figures:
    merged = PLAIN | values
    return Figures(**{k: PlanFigure(k, v, "", "test") for k, v in merged.items()})


def size(numbers=None, **asked):
    return trial_size(request(**asked), figures(**(numbers or {})))


def test_independent_courses_need_the_published_number():
    found = size(difference=0.2)
    assert found.alone == pytest.approx(72.393010, abs=1e-6)
    assert found.effect == 1
    assert size({"share": 0.6}).alone == pytest.approx(355.942813, abs=1e-6)


def test_whole_batches_need_the_published_factor():
    tens = {"per_graft": 10.0, "icc": 0.05}
    found = size(tens, difference=0.2, by="batch")
    assert found.effect == pytest.approx(1.45)
    # 11 batches an arm, few batches and whole blocks of four allowed for
    assert found.decided / found.few == pytest.approx(104.969865, abs=1)
    assert found.batches % 4 == 0
    assert 22 <= found.batches <= 28
    # every block of four batches after the first takes a degree of freedom
    counted = found.batches - (found.batches // 4 - 1)
    assert found.few == few_batches_factor(counted, arms_share_batches=False)


def test_both_arms_in_a_batch_leave_what_they_do_not_share():
    numbers = {"icc": 0.06, "arm_by_batch": 0.02}
    found = size(numbers, difference=0.2)
    # ten queens of a batch go to each arm
    assert found.effect == pytest.approx(1 - 0.06 + 10 * 0.02)
    assert found.few == few_batches_factor(found.batches, arms_share_batches=True)


def test_a_margin_is_planned_by_the_test_of_a_margin():
    found = size({"share": 0.85}, margin=0.1)
    assert found.alone == margin_size(0.85, 0.85, -0.1).first
    assert (found.p_arm, found.opposite) == (0.85, None)


def test_three_arms_share_the_five_per_cent():
    arms = ("a=8", "b=10", "c=12")
    found = size({"share": 0.85}, margin=0.1, arms=arms)
    assert found.alone == margin_size(0.85, 0.85, -0.1, alpha=0.0125).first
    assert found.layout.used == 18
    assert found.layout.spare == 2


def test_undecided_and_unasked_queens_are_added():
    plain = size(difference=0.2)
    found = size({"decided": 0.8, "asked": 0.5}, difference=0.2)
    assert found.alone == plain.alone
    assert found.closed == pytest.approx(found.decided / 0.8, abs=2)
    assert found.inseminated == pytest.approx(found.closed / 0.5, abs=2)
    assert found.queens >= found.inseminated


def test_a_loss_is_planned_with_a_negative_difference():
    loss, gain = size(difference=-0.2), size(difference=0.2)
    assert loss.p_arm == pytest.approx(0.45)
    assert loss.opposite == pytest.approx(gain.alone)
    assert gain.opposite == pytest.approx(loss.alone)
    assert size({"share": 0.15}, difference=0.2).opposite is None


shares = st.floats(0.3, 0.85)
iccs = st.floats(0, 0.2)


@pytest.mark.slow
@settings(deadline=None, max_examples=60)
@given(
    *(shares, iccs, st.floats(0, 1), st.integers(4, 40), st.floats(0.5, 0.95)),
    st.sampled_from(["queen", "batch"]),
)
def test_the_power_reached_is_the_one_asked_for_with_the_fewest_batches(
    share, icc, part, per_graft, power, by
):
    numbers = {"share": share, "icc": icc, "arm_by_batch": part * icc}
    numbers |= {"per_graft": float(per_graft), "decided": 0.9}
    found = size(numbers, power=power, by=by)
    assert found.queens >= found.inseminated
    assert found.power == pytest.approx(power, abs=1e-6) or found.power > power
    powers = [one.power or 0 for one in found.neighbours]
    assert powers == sorted(powers)
    block = 1 if by == "queen" else 4
    fewer = [one for one in found.neighbours if one.batches <= found.batches - block]
    assert all((one.power or 0) < power for one in fewer)
    assert found.batches in [one.batches for one in found.neighbours]


@pytest.mark.slow
@settings(deadline=None, max_examples=60)
@given(st.integers(4, 60), st.integers(1, 5), st.floats(1, 60))
def test_a_batch_is_parted_into_loads_of_whole_blocks(per_graft, half, per_load):
    numbers = {"per_graft": float(per_graft), "per_load": per_load}
    if per_graft < 2 * half:
        with pytest.raises(UsageError, match="cannot hold a block"):
            size(numbers, block_size=2 * half)
        return
    layout = size(numbers, block_size=2 * half).layout
    assert sum(layout.load_queens) == layout.used == per_graft - layout.spare
    assert layout.spare < 2 * half
    assert all(queens % (2 * half) == 0 and queens for queens in layout.load_queens)
    assert max(layout.load_queens) - min(layout.load_queens) <= 2 * half


@pytest.mark.parametrize(
    ("per_graft", "per_load", "queens"),
    [
        (40, 20, (20, 20)),
        (40, 13, (16, 12, 12)),
        (42, 100, (40,)),
        (9, 1, (4, 4)),
        (4, 4, (4,)),
    ],
)
def test_a_batch_takes_as_many_loads_as_come_nearest(per_graft, per_load, queens):
    numbers = {"per_graft": float(per_graft), "per_load": float(per_load)}
    layout = size(numbers, difference=0.2).layout
    assert layout.load_queens == queens
    assert layout.per_arm == sum(queens) / 2


@pytest.mark.parametrize("per_graft", [4, 12, 32])
@pytest.mark.parametrize("difference", [0.15, 0.25, 0.3])
def test_batches_of_both_arms_are_the_fewest_that_hold_the_size(per_graft, difference):
    numbers = {"per_graft": float(per_graft), "icc": 0.04, "arm_by_batch": 0.02}
    found = size(numbers | {"decided": 0.9}, difference=difference)

    def holds(batches):
        few = few_batches_factor(batches, arms_share_batches=True)
        return batches * per_graft / 2 * 0.9 >= found.alone * found.effect * few

    assert found.batches == next(n for n in range(2, 999) if holds(n))
    assert found.queens == found.batches * per_graft // 2


@pytest.mark.parametrize("per_graft", [4, 6, 10, 30])
@pytest.mark.parametrize("difference", [0.15, 0.25, 0.3])
def test_blocks_of_whole_batches_are_the_fewest_that_hold_the_size(
    per_graft, difference
):
    # of 4 queens and 15 points, the first count alone would be a block too few
    numbers = {"per_graft": float(per_graft), "icc": 0.04, "decided": 0.8}
    found = size(numbers, difference=difference, by="batch")

    def holds(blocks):
        # two arms of two batches a block; each block but the first takes a degree
        few = few_batches_factor(4 * blocks - (blocks - 1), arms_share_batches=False)
        have = 2 * blocks * per_graft * 0.8
        return have >= found.alone * found.effect * few

    fewest = next(blocks for blocks in range(1, 999) if holds(blocks))
    assert found.batches == 4 * fewest


@pytest.mark.parametrize("by", ["queen", "batch"])
def test_the_power_beside_the_size_is_that_of_the_test_of_two_shares(by):
    """P(z over z_a) with n an arm; Fleiss, Tytun and Ury 1980, uncorrected."""
    numbers = {"icc": 0.06, "arm_by_batch": 0.03, "decided": 0.9}
    found = size(numbers, difference=0.2, by=by)
    assert found.effect > 1.1
    even, apart = np.sqrt(2 * 0.75 * 0.25), np.sqrt(0.65 * 0.35 + 0.85 * 0.15)
    for one in found.neighbours:
        # a block of four, whole or not, takes a degree of freedom after the first
        held = one.batches - ((one.batches - 1) // 4 if by == "batch" else 0)
        few = few_batches_factor(
            held, arms_share_batches=by == "queen", power=one.power
        )
        n = one.decided / found.effect / few
        z = (0.2 * np.sqrt(n) - norm.isf(0.025) * even) / apart
        assert one.power == pytest.approx(norm.cdf(z), abs=1e-6)


def test_sizes_told_beside_the_one_found_go_from_half_to_half_more():
    found = size({"decided": 0.9}, difference=0.15)
    most = found.batches
    parts = [most * part / 20 for part in (10, 15, 18, 20, 22, 25, 30)]
    assert [one.batches for one in found.neighbours] == sorted({*map(round, parts)})
    whole = size(difference=0.2, by="batch")
    assert all(one.batches % 2 == 0 for one in whole.neighbours)


@pytest.mark.parametrize(
    ("share", "asked", "told"),
    [
        (0.95, {}, "no arm can differ so much"),
        (0.05, {"difference": -0.1}, "no arm can differ so much"),
        (0.5, {"difference": 1.0}, "no arm can differ so much"),
        (0.08, {"margin": 0.1}, "lets any arm pass"),
        (0.5, {"difference": 0.0005}, "no number of queens"),
        (0.5, {"queens_per_graft": 3}, "cannot hold a block"),
    ],
)
def test_what_no_queens_could_show_is_said_in_words(share, asked, told):
    per_graft = float(asked.get("queens_per_graft", 20))
    with pytest.raises(UsageError, match=told):
        size({"share": share, "per_graft": per_graft}, **asked)


@pytest.mark.slow
@pytest.mark.parametrize("by", ["queen", "batch"])
def test_a_trial_drawn_by_the_list_finds_what_it_was_planned_for(by):
    # batches' shares from a beta distribution: two queens of a batch correlate by icc
    icc, low, high = 0.05, 0.6, 0.8
    asked = request(difference=high - low, by=by, queens_per_graft=10, block_size=2)
    numbers = figures(share=low, icc=icc, per_graft=10.0)
    planned = trial_size(asked, numbers)
    places = bench_list(asked, planned)
    graft = np.array([place.graft for place in places])
    block = np.array([place.block for place in places])
    first = np.array([place.arm.name != asked.reference for place in places])
    _, batch = np.unique(graft, return_inverse=True)
    rng, spread, found = np.random.default_rng(5), 1 / icc - 1, 0
    for _ in range(300):
        # one draw a batch, the arms of a batch at the same place of their distributions
        place = rng.random(batch.max() + 1)
        p = np.where(
            first, *(_beta(place, mean, spread)[batch] for mean in (high, low))
        )
        yes = rng.random(len(p)) < p
        found += stratified_difference(yes, first, block, graft).low > 0
    assert 0.72 <= found / 300 <= 0.92


def _beta(place, mean, spread):
    from scipy.stats import beta

    return beta.ppf(place, mean * spread, (1 - mean) * spread)


def test_the_opposite_is_told_where_there_is_such_a_share():
    """As large a difference the other way: from 0.65 to 0.45, and to none over 1."""
    assert size(difference=0.2).opposite == pytest.approx(size({"share": 0.45}, difference=0.2).alone)
    assert size({"share": 0.15}, difference=0.2).opposite is None
    assert size({"share": 0.85}, difference=-0.2).opposite is None
    assert size(margin=0.1).opposite is None


def test_a_margin_or_a_difference_that_leaves_no_share_is_refused():
    with pytest.raises(UsageError, match="lets any arm pass") as caught:
        size({"share": 0.4}, margin=0.5)
    assert caught.value.found == "0.5, with 40 % successes expected"
    with pytest.raises(UsageError, match="lets any arm pass"):
        size({"share": 0.5}, margin=0.5)
    assert size({"share": 0.5}, margin=0.49).alone > 0
    for difference in (0.5, -0.5):
        with pytest.raises(UsageError, match="differ so much") as caught:
            size({"share": 0.5}, difference=difference)
        assert caught.value.expected == "a difference between -0.50 and 0.50"
        assert caught.value.found == (
            "50 % successes expected of the reference, and "
            f"{'+' if difference > 0 else '-'}50 points"
        )
    assert size({"share": 0.5}, difference=0.49).alone > 0
