"""The dose for a success, and what a success costs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.doses.costs import for_success, frontier, mean_used
from queen_outcomes.stats.shares.dose_response import dose_on_curve
from queen_outcomes.stats.shares.proportions import Interval, more_than, wilson
from scipy import stats
from scipy.special import expit
from statsmodels.regression.linear_model import OLS

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


def batches_of(seed=1, batches=24, size=6):
    """Doses that batches share in part, and their batches."""
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), size)
    dose = 8 + rng.normal(0, 0.5, batches)[batch] + rng.normal(0, 0.3, len(batch))
    return dose, batch


@pytest.mark.parametrize("batches", [2, 7, 24])
def test_limits_of_a_mean_over_even_batches_are_student_s(batches):
    dose, batch = batches_of(batches=batches)
    found = mean_used(dose, batch)
    means = np.bincount(batch, dose) / np.bincount(batch)
    low, high = stats.ttest_1samp(means, 0).confidence_interval()
    assert found.estimate == pytest.approx(dose.mean())
    assert (found.low, found.high) == pytest.approx((max(low, 0.0), high))


def test_uneven_batches_agree_with_a_regression_s_cluster_robust_limits():
    dose, batch = batches_of(batches=9)
    kept = np.arange(len(dose)) % (batch + 2) < 5
    found = mean_used(dose[kept], batch[kept])
    fit = OLS(dose[kept], np.ones(kept.sum())).fit(
        cov_type="cluster",
        cov_kwds={"groups": batch[kept], "use_correction": False},
    )
    groups = len(np.unique(batch[kept]))
    se = fit.bse[0] * np.sqrt(groups / (groups - 1))
    reach = stats.t.isf(0.025, groups - 1) * se
    assert found.high - found.estimate == pytest.approx(reach)


def test_one_batch_is_taken_apart_and_gaps_are_left_out():
    one = mean_used([8.0, np.nan, 9.0, 10.0], ["A"] * 4)
    low, high = stats.ttest_1samp([8.0, 9.0, 10.0], 0).confidence_interval()
    assert (one.estimate, one.low, one.high) == pytest.approx((9.0, low, high))
    assert mean_used([8.0], ["A"]) == Interval(8.0, 0.0, np.inf)
    assert np.isnan(mean_used([np.nan], ["A"]).estimate)


def test_the_order_of_the_courses_changes_no_digit():
    dose, batch = batches_of()
    order = np.random.default_rng(0).permutation(len(dose))
    assert mean_used(dose[order], batch[order]) == mean_used(dose, batch)


def test_what_a_success_takes_is_the_mean_over_the_share():
    # Donner and Zou's limits of a ratio, written out
    used, success = Interval(8.0, 7.5, 8.6), Interval(0.8, 0.7, 0.87)
    found = for_success(used, success)
    a, under, over = 8.0, 7.5, 8.6
    b, down, up = 0.8, 0.7, 0.87
    inner = (a * b) ** 2 - under * up * (2 * a - under) * (2 * b - up)
    low = (a * b - np.sqrt(inner)) / (up * (2 * b - up))
    inner = (a * b) ** 2 - over * down * (2 * a - over) * (2 * b - down)
    high = (a * b + np.sqrt(inner)) / (down * (2 * b - down))
    assert (found.estimate, found.low, found.high) == pytest.approx((10.0, low, high))
    # what is known without error has the limits of one over the share
    queens = for_success(Interval(1.0, 1.0, 1.0), success)
    assert (queens.low, queens.high) == pytest.approx((1 / 0.87, 1 / 0.7))


def test_without_success_nothing_bounds_what_it_takes():
    used = Interval(8.0, 7.5, 8.6)
    none = for_success(used, Interval(0.0, 0.0, 0.25))
    assert (none.estimate, none.low, none.high) == (np.inf, 30.0, np.inf)
    some = for_success(used, Interval(0.2, 0.0, 0.5))
    assert (some.estimate, some.high) == (40.0, np.inf)
    assert 0 < some.low < 40
    unknown = for_success(used, Interval(np.nan, np.nan, np.nan))
    assert np.isnan(unknown.estimate)


def test_more_of_one_than_of_another_recovers_both_variances():
    found = more_than(Interval(10.0, 7.0, 14.0), Interval(6.0, 3.0, 9.0))
    assert (found.estimate, found.low, found.high) == pytest.approx(
        (4.0, 4.0 - np.hypot(3.0, 3.0), 4.0 + np.hypot(4.0, 3.0))
    )


@pytest.mark.slow
@pytest.mark.parametrize("batches", [10, 24])
def test_limits_of_costs_cover_as_they_say(batches):
    covered = 0
    for seed in range(300):
        rng = np.random.default_rng(seed)
        dose, batch = batches_of(seed, batches=batches)
        yes = rng.random(len(batch)) < 0.7
        share = wilson(int(yes.sum()), len(yes))
        found = for_success(mean_used(dose, batch), share)
        covered += found.low <= 8 / 0.7 <= found.high
    assert 0.91 <= covered / 300 <= 0.99


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
