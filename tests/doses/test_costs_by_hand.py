"""What a success costs and what a drone gives, by hand; what two arms share."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from queen_outcomes.doses import costs
from queen_outcomes.doses.differences import (
    ArmPair,
    _middle_ratio,
    filled_counts,
    find_overlap,
    unadjusted,
    verdict,
)
from queen_outcomes.stats.shares.proportions import Interval

AS_OF = dt.date(2026, 6, 1)


def test_a_success_known_exactly_divides_the_limits_of_what_is_used():
    found = costs.for_success(Interval(0.5, 0.4, 0.7), Interval(0.5, 0.5, 0.5))
    assert [found.estimate, found.low, found.high] == pytest.approx([1.0, 0.8, 1.4])
    free = costs.for_success(Interval(0.0, 0.0, 0.0), Interval(0.5, 0.4, 0.6))
    assert [free.estimate, free.low, free.high] == [0.0, 0.0, 0.0]


def test_without_a_success_a_cost_has_a_lower_limit_only():
    none = costs.for_success(Interval(2.0, 1.0, 3.0), Interval(0.0, 0.0, 0.25))
    assert (none.estimate, none.low, none.high) == (np.inf, 4.0, np.inf)
    never = costs.for_success(Interval(2.0, 1.0, 3.0), Interval(0.0, 0.0, 0.0))
    assert (never.estimate, never.low) == (np.inf, np.inf)
    unknown = costs.for_success(Interval(2.0, 1.0, 3.0), Interval(np.nan, 0.1, 0.2))
    assert np.isnan(unknown.estimate)
    # a lower limit of nought leaves none above
    open_end = costs.for_success(Interval(2.0, 1.0, 3.0), Interval(0.5, 0.0, 0.9))
    assert (open_end.estimate, open_end.high) == (4.0, np.inf)


@pytest.mark.parametrize(
    ("row", "ul", "said"),
    [
        ({"volume_ul": 90.0, "volume_drones": 120}, 0.75, "0.75 uL a drone handled, from 4 "),
        ({"yielding": 30, "yield_drones": 40}, 0.75, "and 75 % of drones yielding, as the "),
        ({"yielding": 30, "yield_drones": 0}, 0.595, "60 % of drones yielding, as is usual "),
        ({"volume_ul": 0.0, "volume_drones": 9}, 0.595, "1 uL a yielding drone, the usual "),
        ({"volume_ul": 9.0}, 0.595, "(Rhodes et al. 2011)"),
    ],
)
def test_a_drone_s_semen_is_the_station_s_own_where_it_says(monkeypatch, row, ul, said):
    every = ("volume_ul", "volume_drones", "yielding", "yield_drones")
    found = {**dict.fromkeys(every), "loads": 4, **row}
    monkeypatch.setattr(costs, "read_drone_yield", lambda *_: found)
    told = costs.drone_semen(None, AS_OF)
    assert told.ul_a_drone == pytest.approx(ul)
    assert said in told.said


def test_hands_are_asked_where_every_batch_stood_in_one_arm():
    values = {
        "operator": np.array(["A", "A", "B", "A"]),
        "line": np.full(4, ""),
        "year": np.array(["1", "2", "2", "2"]),
        "graft_batch": np.array(["g1", "g1", "g2", "g2"]),
    }
    first = np.array([True, True, False, False])
    found = find_overlap(values, first, ~first)
    # A did three of four; both arms stood in the second year; batches hold one arm each
    assert found.shares == {"operator": 0.75, "year": 0.75}
    assert found.whole_batches == 1
    mixed = {**values, "graft_batch": np.array(["g1", "g2", "g2", "g3"])}
    found = find_overlap(mixed, first, ~first)
    assert (found.shares["graft_batch"], found.whole_batches) == (0.5, -1)
    some = find_overlap(mixed, first, np.array([False, False, True, False]), ("operator",))
    assert some.shares == {"operator": 0.0}
    nobody = find_overlap(mixed, first, np.zeros(4, bool))
    assert (nobody.shares, nobody.whole_batches, nobody.nobody) == ({}, -1, True)


def test_courses_of_one_batch_are_taken_apart():
    """Of 1 and 3 the mean has the standard error 1, Student's t of one degree 12.706."""
    for batch in (["b", "b"], ["a", "b"]):
        found = costs.mean_used([1.0, 3.0], batch)
        assert (found.estimate, found.low) == (2.0, 0.0)
        assert found.high == pytest.approx(14.706, abs=1e-3)
    two = costs.mean_used([1.0, 3.0, 1.0, 3.0], ["a", "a", "b", "b"])
    assert (two.low, two.high) == (2.0, 2.0)  # the batches took alike


def test_two_fillings_are_joined_by_rubin_s_rules():
    """Shares 1/2 and 1/4 of four courses, each its own batch.

    Their variances are p (1 - p) over batches less one: 7/96 within, 1/32 between, in all
    7/96 + 3/2 x 1/32 = 23/192.
    """
    filled = np.array([[1.0, 1, 0, 0], [1, 0, 0, 0]])
    found = filled_counts(filled, np.arange(4))
    assert found.share == 3 / 8
    assert found.n == pytest.approx(3 / 8 * 5 / 8 / (23 / 192))
    assert found.yes == pytest.approx(3 / 8 * found.n)


def test_an_arm_that_only_failed_is_an_arm():
    success = np.array([1.0, 1, 0, 0, 0, 0])
    none = np.full(6, "")
    pair = ArmPair(success, success[None], np.arange(6) < 3, none, none, 0.95, None)
    found = unadjusted(pair)
    assert (found.said, found.estimate) == ("", pytest.approx(2 / 3))
    assert np.isnan(found.ratio)


def test_ratios_are_averaged_where_all_have_an_end():
    assert _middle_ratio(np.array([0.5, 2.0])) == pytest.approx(1.0)
    assert _middle_ratio(np.zeros(2)) == 0.0
    for ratios in ([0.5, 0.0], [0.5, np.inf], [0.5, np.nan]):
        assert np.isnan(_middle_ratio(np.array(ratios)))


def test_a_verdict_tells_the_margin_in_points():
    assert verdict(-0.05, 0.1, 0.1, 9).said == "not worse by 10 points or more"
    assert verdict(-0.3, -0.2, 0.1, 9).said == "worse by more than 10 points"
