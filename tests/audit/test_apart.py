"""What an operator cannot be told apart from, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from closed_courses import closed_courses
from queen_outcomes.audit import apart as apart_module
from queen_outcomes.audit.apart import (
    Apart,
    _filled,
    _shares,
    _thinned,
    apart_from,
    deciding_batches,
)
from queen_outcomes.models.closed import ClosedCourses
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.models.terms import MAIN

MODEL = RiskModel((), np.zeros(1, int), np.zeros(1), 0.0, {}, False, 1, 0)
APART = Apart()


def courses(operator, failed=None, graft="", semen="", **columns) -> ClosedCourses:
    """Give courses at a risk of a half, without batches unless told otherwise."""
    n = len(operator)
    return closed_courses(
        np.arange(n) % 2.0 if failed is None else failed,
        np.full(n, 0.5),
        np.full(n, np.datetime64("2026-06-01")),
        course_id=np.char.zfill(np.arange(n).astype(str), 4),
        operator=np.array(operator),
        graft_batch=np.broadcast_to(np.array(graft), n),
        semen_batch=np.broadcast_to(np.array(semen), n),
        **columns,
    )


@pytest.mark.parametrize(
    ("own", "sizes", "named", "enough"),
    [
        ([0, 1, 2], [7, 7, 6], [1, 1, 1], True),  # twenty courses in three batches
        ([0, 1, 2], [7, 6, 6], [1, 1, 1], False),  # nineteen
        ([0, 1], [10, 10], [1, 1], False),  # two batches
        ([0, 1, 2, 2], [10, 10, 2], [1, 1, 1], False),  # the third is her own
        ([0, 1, 2], [10, 10, 30], [1, 1, 0], False),  # the third has no name
        ([0, 0], [5], [0], True),  # none recorded: not asked
    ],
)
def test_enough_is_shared_from_twenty_courses_in_three_batches_on(
    own, sizes, named, enough
):
    found = _shares(np.array(own), np.array(sizes), np.array(named, bool))
    assert bool(found) is enough


def alike(batches: int, unlike: int) -> tuple[np.ndarray, np.ndarray]:
    """Give batches of four that end alike, one course of some left to end otherwise."""
    failed = np.repeat(np.arange(batches) % 2.0, 4)
    failed[: 4 * unlike : 4] = 1.0 - failed[: 4 * unlike : 4]
    return failed, np.char.add("g", np.repeat(np.arange(batches), 4).astype(str))


@pytest.mark.parametrize(
    ("batches", "unlike", "decide"),
    [
        # of four courses at a half six pairs, three of them unlike
        (4, 0, True),  # 12 pairs expected
        (3, 0, False),  # 9
        (14, 1, True),  # 42 expected; one course aside makes 3 pairs
        (14, 2, False),
    ],
)
def test_batches_decide_within_which_hardly_a_pair_is_unlike(batches, unlike, decide):
    failed, batch = alike(batches, unlike)
    ends = np.array([0.0, 1.0] * 5)  # of no batch: they are not asked
    some = courses(
        ["A"] * (len(failed) + 10),
        np.append(failed, ends),
        semen=np.append(batch, np.full(10, "")),
    )
    assert deciding_batches(some, MODEL) == ("the semen batches" if decide else "")


@pytest.mark.parametrize(("deviation", "said"), [(4.0, "the graft batches"), (3.9, "")])
def test_batches_decide_whose_deviation_runs_away(deviation, said):
    model = replace(MODEL, deviations={"graft_batch": deviation})
    assert deciding_batches(courses(["A"] * 8), model) == said


def test_nobody_has_a_figure_where_batches_decide():
    failed, batch = alike(8, 0)
    some = courses(["A", "B"] * 16, failed, graft=batch)
    apart = Apart("the graft batches, which decide nearly everything", False)
    assert apart_from(some, MODEL, []) == {"A": apart, "B": apart}


def test_a_single_operator_is_told_apart_from_nothing():
    failed, batch = alike(8, 0)
    assert apart_from(courses(["A"] * 32, failed, graft=batch), MODEL, []) == {
        "A": APART
    }


def test_the_kind_of_batch_is_named_of_which_too_few_are_shared():
    """Thirty courses each in five grafts and loads; the loads of C are her own."""
    operator = np.repeat(list("ABC"), 30)
    number = np.arange(90)
    graft = np.char.add("g", (number % 5).astype(str))
    semen = np.char.add(np.where(operator == "C", "c", "s"), (number % 5).astype(str))
    failed = (number // 5 % 2).astype(float)
    some = courses(operator, failed, graft, semen)
    hidden = Apart("the semen batches", False)
    assert apart_from(some, MODEL, []) == {"A": APART, "B": APART, "C": hidden}
    # of the first kind that is not shared; one load for all is no reason
    own = np.char.add(np.where(operator == "C", "c", "g"), (number % 5).astype(str))
    found = apart_from(courses(operator, failed, own, semen), MODEL, [])
    assert found["C"] == Apart("the graft batches", False)
    assert apart_from(courses(operator, failed, graft, "s"), MODEL, [])["C"] == APART


def test_two_grafts_of_a_hand_each_hide_both():
    operator = np.repeat(list("AB"), 30)
    some = courses(operator, graft=np.char.add("g", operator))
    hidden = Apart("the graft batches", False)
    assert apart_from(some, MODEL, []) == {"A": hidden, "B": hidden}


@pytest.mark.parametrize(
    ("off", "apart"),
    [
        # of 40 courses; inflation is 1 / (1 - r squared), r of a fourfold table:
        (4, APART),  # r = 0.8, 2.8
        (2, Apart("the tip", True)),  # r = 0.9, 5.3
        (1, Apart("the tip", False)),  # r = 0.951, 10.5
    ],
)
def test_a_factor_hides_a_hand_by_how_often_they_go_together(off, apart):
    operator = np.repeat(list("AB"), 20)
    tip = np.where(operator == "A", "t1", "t2")
    tip[[0, 20, 1, 21][:off]] = ["t2", "t1", "t2", "t1"][:off]
    loose = np.tile(["l1", "l2"], 20)
    some = courses(operator, tip=tip, line=loose)
    found = apart_from(some, MODEL, [MAIN["line"], MAIN["tip"]])
    assert found == {"A": apart, "B": apart}


def test_gaps_of_a_factor_stand_at_its_mean():
    some = courses(list("AABB"), dose=np.array([6.0, np.nan, 9.0, 9.0]))
    assert _filled(some, MAIN["dose"]).tolist() == [6.0, 8.0, 9.0, 9.0]
    none = courses(list("AB"), dose=np.full(2, np.nan), line=np.array(["x", ""]))
    assert _filled(none, MAIN["dose"]).tolist() == [0.0, 0.0]
    assert _filled(none, MAIN["line"]).tolist() == ["x", ""]


def test_of_a_large_station_every_so_manieth_graft_is_asked(monkeypatch):
    graft = np.array(["a", "a", "b", "b", "c", "c", "", "", "d", "d"])
    some = courses(["A"] * 10, graft=graft)
    assert _thinned(some).tolist() == list(range(10))
    monkeypatch.setattr(apart_module, "MOST_COURSES", 4)
    # every third: of the grafts c, of courses without one the seventh
    assert _thinned(some).tolist() == [4, 5, 6]
    monkeypatch.setattr(apart_module, "MOST_COURSES", 5)  # every second
    assert _thinned(some).tolist() == [2, 3, 6, 8, 9]


def test_an_undecided_operator_is_told_apart_from_nothing():
    """She has no course that counts, and the two others share everything."""
    operator = ["A", "B"] * 30 + ["C"] * 3
    failed = np.append(np.arange(60) // 2 % 2, np.full(3, np.nan))
    found = apart_from(courses(operator, failed), MODEL, [])
    assert found == {"A": APART, "B": APART, "C": APART}


def test_courses_that_nearly_all_fail_anyway_tell_little_of_what_goes_together():
    """Four of forty show that tip and hand are loose; each weighs a thousandth."""
    operator = np.repeat(list("AB"), 20)
    tip = np.where(operator == "A", "t1", "t2")
    tip[[0, 20]] = "t2", "t1"
    risk = np.full(40, 0.5)
    risk[[0, 20, 1, 21]] = 0.9999
    some = courses(operator, tip=tip).with_risk(risk)
    hidden = Apart("the tip", False)
    assert apart_from(some, MODEL, [MAIN["tip"]]) == {"A": hidden, "B": hidden}
