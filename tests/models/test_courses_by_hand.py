"""Closed courses and their risks, by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from closed_courses import closed_courses
from queen_outcomes.models.closed import ALL_ALIKE, Fillings
from queen_outcomes.models.risks import (
    RiskModel,
    _places,
    _without_operator,
    filled_answers,
    risk_model,
)
from scipy.special import expit, logit

DAY = np.datetime64("2026-06-01")


def courses(failed, risk=0.2, **columns):
    n = len(failed)
    usual = {
        "course_id": np.char.zfill(np.arange(n).astype(str), 2),
        "operator": np.full(n, "A"),
        "graft_batch": np.full(n, ""),
        "semen_batch": np.full(n, ""),
    }
    return closed_courses(failed, np.full(n, risk), np.full(n, DAY), **{**usual, **columns})


def test_gaps_are_filled_and_nothing_else():
    fillings = Fillings(
        {"dose": np.array([1, 3])}, {"dose": np.array([[7.0, 8.0], [9.0, 10.0]])}
    )
    values = {"dose": np.array([1.0, np.nan, 3.0, np.nan]), "tip": np.array(list("abcd"))}
    second = fillings.of(values, 1)
    assert second["dose"].tolist() == [1.0, 9.0, 3.0, 10.0]
    assert second["tip"] is values["tip"]
    assert np.isnan(values["dose"][1])
    # some courses, in another order and by a mask
    part = fillings.some(np.array([3, 0]))
    assert part.gaps["dose"].tolist() == [0]
    assert part.made["dose"].tolist() == [[8.0], [10.0]]
    assert fillings.some(np.array([False, True, True, False])).gaps["dose"].tolist() == [0]
    assert fillings.some(np.array([0, 2])).gaps == {}
    assert fillings.some(np.array([3, 1])).made["dose"].tolist() == [[8.0, 7.0], [10.0, 9.0]]
    assert fillings.some(np.arange(0)).gaps == {}


def test_risks_are_moved_to_what_settled_courses_came_to():
    moved = courses([1, 1, 0, np.nan]).on_settled()
    assert moved.risk == pytest.approx(np.full(4, 2 / 3))
    # all alike: kept from certainty by a thousandth of a failure
    every = courses([1, 1]).on_settled()
    assert every.risk == pytest.approx(np.full(2, 1 - ALL_ALIKE / 2), rel=1e-9)
    none = courses([0, 0]).on_settled()
    assert none.risk == pytest.approx(np.full(2, ALL_ALIKE / 2), rel=1e-6)
    nothing = courses([np.nan])
    assert nothing.on_settled() is nothing


def test_courses_lie_by_operator_in_the_order_of_time_and_id():
    made = closed_courses(
        np.zeros(5),
        np.full(5, 0.2),
        np.full(5, DAY),
        np.array(["T3", "T1", "T2", "T1", "T0"]),
        course_id=np.array(list("abcde")),
        operator=np.array(["B", "A", "B", "A", ""]),
        graft_batch=np.array(["y", "x", "", "y", "x"]),
        semen_batch=np.array(["", "", "", "", "s"]),
    )
    owned = {name: rows.tolist() for name, rows in made.by_operator().items()}
    assert owned == {"A": [1, 3], "B": [2, 0]}
    assert made.some(np.arange(0)).by_operator() == {}
    shared = made.shared({"semen_batch": 0.5})
    graft, semen = shared.levels.T
    assert (graft == -1).tolist() == [False, False, True, False, False]
    assert graft[0] == graft[3] != graft[1] == graft[4]
    assert semen.tolist() == [-1, -1, -1, -1, 1]
    assert shared.deviations.tolist() == [0.0, 0.5]


@pytest.mark.parametrize(("outcome", "turned"), [("laying", True), ("lost", False)])
def test_a_yes_is_a_failure_where_the_outcome_says_so(outcome, turned):
    made = replace(courses([1, 0]), question=(outcome, 21))  # states no, yes
    assert made.failed.tolist() == ([1.0, 0.0] if turned else [0.0, 1.0])
    assert made.failures.tolist() == [[1.0, 0.0] if turned else [0.0, 1.0]]


def flat(rate: float, *, yes_fails: bool = False, **deviations: float) -> RiskModel:
    return RiskModel(
        (), np.zeros(1, int), np.array([logit(rate)]), 0.0, deviations, yes_fails, 1, 0
    )


@pytest.mark.parametrize("yes_fails", [False, True])
def test_expected_failures_are_made_to_agree_with_the_observed(yes_fails):
    values = {"course_id": np.array(list("abcd"))}
    model = flat(0.5, yes_fails=yes_fails)
    assert model.risks(values) == pytest.approx(np.full(4, 0.5))
    failed = np.array([1.0, 0.0, 0.0, np.nan])
    moved = model.recalibrated(values, failed)
    assert moved.risks(values) == pytest.approx(np.full(4, 1 / 3))
    weighed = model.recalibrated(values, failed, np.array([2.0, 1.0, 1.0, 9.0]))
    assert weighed.risks(values) == pytest.approx(np.full(4, 1 / 2))
    for alike in (np.zeros(4), np.ones(4), np.full(4, np.nan)):
        assert model.recalibrated(values, alike) is model


def test_risks_are_averaged_over_batches():
    """Deviations of 0.6 and 0.8 are together one of 1, averaged by quadrature."""
    points, weights = np.polynomial.hermite_e.hermegauss(60)
    mean = weights @ expit(logit(0.8) + points) / weights.sum()
    model = flat(0.8, graft_batch=0.6, semen_batch=0.8, operator=9.0)
    (risk,) = model.risks({"course_id": np.array(["a"])})
    assert risk == pytest.approx(1 - mean, abs=1e-6)


def test_columns_move_up_where_those_of_a_form_before_are_gone():
    """Of the constant and forms of 2, 1 and 3 columns, the second column was not kept."""
    forms = tuple(SimpleNamespace(df=df) for df in (2, 1, 3))
    design = SimpleNamespace(forms=forms, kept=np.array([0, 1, 3, 4, 5, 6]))
    assert _places(design, [0]).tolist() == [0, 1, 1, 2, 3, 4]
    assert _places(design, [1]).tolist() == [0, 1, 3, 3, 4, 5]
    assert _places(design, [0, 1])[3:].tolist() == [1, 2, 3]
    assert _places(design, []).tolist() == design.kept.tolist()


def test_an_answer_is_its_share_over_the_fillings_it_is_at_risk_in():
    answers = np.array([[1.0, 0.0, np.nan], [1.0, 1.0, 0.0]])
    made = SimpleNamespace(answers=answers, y=np.array([1.0, np.nan, 0.0]))
    share, worth = filled_answers(made)
    assert share.tolist() == [1.0, 0.5, 0.0]
    assert worth.tolist() == [1.0, 1.0, 0.5]
    for none in (None, np.empty((0, 3))):
        made.answers = none
        share, worth = filled_answers(made)
        assert share is made.y
        assert worth.tolist() == [1.0, 1.0, 1.0]


@pytest.mark.parametrize(("outcome", "risk"), [("laying", 1.5 / 4), ("lost", 2.5 / 4)])
def test_without_a_model_every_course_has_the_station_s_rate(outcome, risk):
    """Two yes and a no of three: half a course is added to both."""
    made = SimpleNamespace(answers=None, y=np.array([1.0, 0.0, np.nan, 1.0]))
    fitted = SimpleNamespace(method="none", message="why", courses=made)
    model = risk_model(outcome, fitted)
    assert model.risks({"course_id": np.array(["a"])}) == pytest.approx([risk])
    assert (model.courses, model.failures) == (4, 1 if outcome == "laying" else 2)
    assert model.message.startswith("no factor could be allowed for (why)")


def test_hands_are_averaged_into_the_constant_and_tools_stay_where_asked_for():
    """Of the dose, the tip and two columns of operators, means 0.5, 0.25 and 0.5."""
    named = ("dose", "tip", "operator")
    forms = tuple(
        SimpleNamespace(term=SimpleNamespace(name=name), df=df)
        for name, df in zip(named, (1, 1, 2), strict=True)
    )
    columns = {0: [1], 1: [2], 2: [3, 4]}
    design = SimpleNamespace(
        forms=forms,
        kept=np.arange(5),
        owner=np.array([-1, 0, 1, 2, 2]),
        columns_of=lambda number: columns[number],
    )
    X = np.array([[1, 7, 1, 0, 1], [1, 7, 0, 0, 0], [1, 7, 1, 1, 1], [1, 7, 0, 0, 0.0]])
    beta = np.array([1.0, 0.5, 0.3, 0.2, -0.4])
    fitted = SimpleNamespace(design=design, beta=beta, X=X, mixed=None)
    found, kept, coefficients = _without_operator(fitted, ("tip",))
    assert [form.term.name for form in found] == ["dose", "tip"]
    assert kept.tolist() == [0, 1, 2]
    assert coefficients == pytest.approx([1.0 + 0.05 - 0.2, 0.5, 0.3])
    found, kept, coefficients = _without_operator(fitted, ())
    assert [form.term.name for form in found] == ["dose"]
    assert coefficients == pytest.approx([1.0 + 0.05 - 0.2 + 0.15, 0.5])
    # random intercepts of operators: at their mean over courses
    fitted.mixed = SimpleNamespace(modes={"operator": np.array([0.4, -0.2])})
    fitted.courses = SimpleNamespace(values={"operator": np.array(["A", "A", "A", "B"])})
    assert _without_operator(fitted, ())[2][0] == pytest.approx(1.0 + 0.25)
    fitted.mixed = SimpleNamespace(modes={"graft_batch": np.array([0.4])})
    assert _without_operator(fitted, ())[2][0] == pytest.approx(1.0)
    assert beta[0] == 1.0
