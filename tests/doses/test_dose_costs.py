"""The dose for a success, and what a success costs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.doses.costs import arm_cost, frontier
from queen_outcomes.stats.shares.dose_response import dose_on_curve
from queen_outcomes.stats.shares.proportions import wilson
from scipy import stats
from scipy.special import expit

DOSES = np.linspace(4, 14, 101)


def hump(top=0.9, at=10.0):
    """A curve that rises to a peak and falls again, with limits about it."""
    eta = np.log(top / (1 - top)) - 0.15 * (DOSES - at) ** 2
    return expit(eta), expit(eta - 0.4), expit(eta + 0.4)


@settings(deadline=None)
@given(st.floats(0.05, 0.899))
def test_dose_is_read_where_the_curve_rises(success):
    curve, low, high = hump()
    found = dose_on_curve(success, DOSES, curve, low, high)
    if curve[0] >= success:
        assert "already at the smallest dose" in found.message
        assert np.isnan(found.dose)
        return
    assert found.dose <= 10
    assert np.interp(found.dose, DOSES, curve) == pytest.approx(success, abs=2e-3)
    ends = [e for e in (found.low, found.dose, found.high) if np.isfinite(e)]
    assert ends == sorted(ends)
    for end, band in ((found.low, high), (found.high, low)):
        if np.isfinite(end):
            assert np.interp(end, DOSES, band) == pytest.approx(success, abs=2e-3)


def test_a_success_that_no_dose_reaches_has_none():
    found = dose_on_curve(0.95, DOSES, *hump())
    assert np.isnan([found.dose, found.low, found.high]).all()
    assert found.message == "95 %: is not reached by any dose given"


def test_a_limit_that_is_not_reached_is_none():
    found = dose_on_curve(0.88, DOSES, *hump())
    assert np.isfinite(found.dose)
    assert np.isnan(found.high)
    assert "no upper limit" in found.message
    curve = expit(-1 + 0.3 * (DOSES - 4))
    wide = dose_on_curve(0.5, DOSES, curve, curve - 0.4, np.minimum(curve + 0.4, 0.99))
    assert np.isnan(wide.low)
    assert "no lower" in wide.message


def test_a_curve_that_dips_first_is_read_after_the_dip():
    curve = np.array([0.6, 0.5, 0.7, 0.8])
    found = dose_on_curve(0.65, [1, 2, 3, 4], curve, curve - 0.05, curve + 0.05)
    assert 2 < found.dose < 3
    early = dose_on_curve(0.45, [1, 2, 3, 4], curve, curve - 0.05, curve + 0.05)
    assert "already before the curve rises" in early.message


def test_no_curve_is_said_in_words():
    assert "no curve" in dose_on_curve(0.5, [], [], [], []).message
    nothing = [np.nan] * 2
    assert "no curve" in dose_on_curve(0.5, [1, 2], nothing, nothing, nothing).message
    assert "between" in dose_on_curve(0, [1, 2], [0.1, 0.2], [0, 0], [1, 1]).message


def arm(seed=1, batches=24, size=6, p=0.7):
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), size)
    dose = np.round(rng.normal(8, 0.6, len(batch)), 1)
    yes = rng.random(len(batch)) < p + rng.uniform(-0.15, 0.15, batches)[batch]
    return dose, yes.astype(float), batch


@pytest.mark.parametrize("batches", [1, 2, 7, 24])
def test_costs_are_means_over_success(batches):
    dose, yes, batch = arm(batches=batches)
    found = arm_cost(dose, yes, batch, 0.65, seed=5)
    assert found.semen.estimate == pytest.approx(dose.mean() / yes.mean())
    assert found.drones.estimate == pytest.approx(found.semen.estimate / 0.65)
    assert found.queens.estimate == pytest.approx(1 / yes.mean())
    for cost in (found.semen, found.drones, found.queens):
        assert cost.low <= cost.estimate <= cost.high
    assert found.queens.low >= 1
    assert ("bootstrap" in found.method) == (batches >= 20)
    assert ("one semen batch" in found.message) == (batches == 1)


def test_the_same_seed_gives_the_same_limits_in_any_order():
    dose, yes, batch = arm()
    one = arm_cost(dose, yes, batch, 0.65, seed=5)
    order = np.random.default_rng(0).permutation(len(dose))
    assert arm_cost(dose[order], yes[order], batch[order], 0.65, seed=5) == one
    assert arm_cost(dose, yes, batch, 0.65, seed=6) != one


def test_fieller_s_limits_are_the_ratios_a_t_test_does_not_reject():
    dose, yes, batch = arm(seed=2, batches=9)
    found = arm_cost(dose, yes, batch, 0.65, seed=1)
    used, gained = np.bincount(batch, dose), np.bincount(batch, yes)
    for limit in (found.semen.low, found.semen.high):
        p = stats.ttest_1samp(used - limit * gained, 0).pvalue
        assert p == pytest.approx(0.05, abs=1e-6)


def test_few_batches_with_little_success_have_no_upper_limit():
    yes = np.zeros(30)
    yes[0] = 1
    found = arm_cost(np.full(30, 8.0), yes, np.repeat([1, 2, 3], 10), 1.0, seed=1)
    assert found.semen.high == np.inf
    assert 8 < found.semen.low < found.semen.estimate == 240


@pytest.mark.parametrize("answer", [0, 1])
def test_all_alike_takes_wilson_s_limits_of_success(answer):
    found = arm_cost([8.0] * 10, [answer] * 10, list("AABBCCDDEE"), 0.5, seed=1)
    share = wilson(10 * answer, 10)
    assert found.queens.low == pytest.approx(1 / share.high)
    assert found.drones.low == pytest.approx(16 / share.high)
    wanted = 1 / share.low if answer else np.inf
    assert found.queens.high == pytest.approx(wanted)
    assert found.queens.estimate == (1 if answer else np.inf)


def test_drones_by_batch_and_courses_left_out():
    found = arm_cost(
        [8, 8, np.nan, 8], [1, np.nan, 1, 1], list("ABCD"), [0.5, 1, 1, 1], seed=1
    )
    assert (found.courses, found.successes) == (2, 2)
    assert found.drones.estimate == pytest.approx(12)
    nothing = arm_cost([np.nan], [1], ["A"], 1.0, seed=1)
    assert np.isnan(nothing.semen.estimate)
    assert nothing.message


@pytest.mark.slow
@pytest.mark.parametrize("batches", [10, 24])
def test_limits_of_costs_cover_as_they_say(batches):
    covered = 0
    for seed in range(200):
        found = arm_cost(*arm(seed, batches=batches), 1.0, seed=seed)
        covered += found.semen.low <= 8 / 0.7 <= found.semen.high
    assert 0.91 <= covered / 200 <= 0.99


costs = st.floats(1, 100)


@settings(deadline=None)
@given(st.lists(st.tuples(costs, costs), min_size=1, max_size=6))
def test_an_arm_is_on_the_frontier_unless_another_beats_it(arms):
    drones, queens = np.array(arms).T
    on = frontier(drones, queens)
    assert on.any()
    for i, own in enumerate(on):
        beaten = any(
            drones[j] <= drones[i]
            and queens[j] <= queens[i]
            and (drones[j] < drones[i] or queens[j] < queens[i])
            for j in range(len(arms))
        )
        assert own != beaten


def test_the_small_dose_is_not_alone_on_the_frontier():
    # few drones but many queens; many drones but few queens; beaten by the second; none
    on = frontier([4, 12, 14, np.inf, np.nan], [2.0, 1.2, 1.3, np.inf, 1.0])
    assert on.tolist() == [True, True, False, False, False]
