"""The doses' trend and curve in small parts, and which comparisons a build has made."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from armed import answered
from queen_outcomes.doses import arm_rows, compared, dose_curve, results
from queen_outcomes.doses.arm_courses import Answers
from queen_outcomes.doses.arm_model import _rank
from queen_outcomes.doses.arm_rows import RESOURCES, ArmCost, Interval
from queen_outcomes.doses.compared import CompareRequest
from queen_outcomes.doses.differences import filled_counts
from queen_outcomes.facts.dose_words import METHODS
from queen_outcomes.facts.settings import Plan, Settings

LAYING = ("laying", 21)


def curve(*near):
    return [
        {"dose_ul": 6.0 + at, "probability": 0.6 + at / 20, "low": 0.5, "high": 0.95}
        | {"courses_near": n}
        for at, n in enumerate(near)
    ]


def test_a_curve_is_read_where_as_many_courses_lie_at_or_beyond_a_dose():
    kept = dose_curve.within_records(curve(3, 7, 20, 9, 1), 10)
    assert [row["dose_ul"] for row in kept] == [7.0, 8.0, 9.0]
    assert dose_curve.within_records(curve(4, 5), 10) == []


def test_without_a_curve_or_an_answer_no_dose_is_given():
    state = np.array(["yes"] * 3 + ["no"])
    known = answered(LAYING, state)
    unknown = Answers(LAYING, state, np.full((2, 4), np.nan))
    assert dose_curve.dose_for_rows(curve(4, 5), known, 10) == []
    assert dose_curve.dose_for_rows(curve(30, 30, 30), unknown, 10) == []
    own, asked = dose_curve.dose_for_rows(curve(30, 30, 30, 30, 30), known, 10)
    # the share of 0.75 lies on the fourth dose of the curve
    assert (own["success"], own["dose_ul"]) == pytest.approx((0.75, 9.0))
    assert (asked["success"], asked["dose_ul"]) == pytest.approx((0.8, 10.0))


def test_a_course_was_meant_for_its_arm_s_median_where_arms_were_meant():
    dose = np.array([12.0, 6.0, 12.4, np.nan, 8.0, np.nan, 7.6])
    courses = SimpleNamespace(values={"dose": dose})
    arms = {
        "rows": np.arange(6),
        "arm": np.array(["split"] * 4 + ["single", "other"]),
        "commonest": ("split", "single", "other"),
    }
    meant = SimpleNamespace(**arms, intended=True)
    # of no dose of an arm none is known, and who stood in none keeps her own
    told = dose_curve.meant_by_arm(courses, [meant])
    np.testing.assert_array_equal(told, [12, 12, 12, 12, 8, np.nan, 8])
    guessed = SimpleNamespace(**arms, intended=False)
    own = dose_curve.meant_by_arm(courses, [guessed])
    np.testing.assert_array_equal(own, [12, 6, 12, np.nan, 8, np.nan, 8])


def test_a_trend_counts_as_many_courses_of_a_dose_as_its_batches_tell(monkeypatch):
    """Shares stay as they are; what a dose counts for is spread over its seasons."""
    batch = np.repeat(["a", "b", "c", "d"], 10)
    year = np.where(np.arange(40) % 10 < 4, "2025", "2026")
    yes = np.array([9, 3, 8, 2])[np.repeat(range(4), 10)] > np.tile(np.arange(10), 4)
    state = np.where(yes, "yes", "no")
    dose = np.repeat([6.0, 9.0], 20)
    seen = {}

    def told(successes, n, doses, said, strata):
        seen.update(yes=successes, n=n, dose=doses, strata=strata, said=said)

    monkeypatch.setattr(dose_curve, "trend_test", told)
    courses = SimpleNamespace(values={"graft_batch": batch, "year": year})
    answers = answered(LAYING, state)
    dose_curve.trend_of(courses, dose, answers)
    assert seen["dose"].tolist() == [6, 6, 9, 9]
    assert seen["strata"].tolist() == [0, 1, 0, 1]
    shares = [yes[(dose == d) & (year == y)].mean() for d in (6, 9) for y in ("2025", "2026")]
    assert seen["yes"] / seen["n"] == pytest.approx(shares)
    for d, cells in ((6.0, [0, 1]), (9.0, [2, 3])):
        own = dose == d
        codes = np.unique(batch[own], return_inverse=True)[1]
        counted = filled_counts(answers.successes[:, own], codes)
        assert seen["n"][cells].sum() == pytest.approx(counted.n)
        assert counted.n < 15  # batches differ by more than chance
        assert seen["n"][cells][0] / counted.n == pytest.approx(0.4)
    assert seen["said"] == "doses in whole uL, each season by itself"


def test_columns_of_nothing_add_nothing_to_a_rank():
    assert _rank(np.array([[0.3, 0.0, 0.0], [0.0, 0.3, 0.0]])) == 2
    assert _rank(np.array([[1e6, 1.0], [1e6, 1.0 + 1e-3]])) == 2
    assert _rank(np.array([[1.0, 2.0], [2.0, 4.0]])) == 1


class Asked(Exception):
    """The build's tables were asked."""


@pytest.mark.parametrize(
    ("request_", "built"),
    [
        (CompareRequest(), True),
        (CompareRequest(margin=0.1), True),
        (CompareRequest(margin=0.05), False),
        (CompareRequest(outcome="laying", days=21, trial="T"), True),
        (CompareRequest(outcome="lost", days=21), False),
        (CompareRequest(arms=("a", "b")), False),
        (CompareRequest(reference="a"), False),
        (CompareRequest(by="tip"), False),
    ],
)
def test_a_build_has_made_what_its_own_plan_asks(request_, built):
    def rows(*_):
        raise Asked

    settings = replace(Settings(), plan=Plan(margin=0.1))
    if built:
        with pytest.raises(Asked):
            compared.of_build(SimpleNamespace(rows=rows), settings, request_)
    else:
        assert compared.of_build(SimpleNamespace(rows=rows), settings, request_) is None


class Built:
    """A finished build's store that holds one trial of two arms."""

    def __init__(self, *counted):
        self.counted = counted

    def rows(self, *_):
        return list(self.counted)

    def records(self, sql, given):
        assert given == {"trial": "T"}
        asked = {"reference": "a", "outcome": "laying", "window_days": 21}
        contrasts = [
            asked | {"arm": "b", "method": method, **more}
            for method in sorted(METHODS)
            for more in ({}, {"window_days": 14}, {"outcome": "lost"})
        ]
        held = {"arms": [{"arm": "a"}, {"arm": "b"}], "arm_contrasts": contrasts}
        return held.get(sql.split('"')[1], [])


def test_what_a_build_holds_is_of_one_trial_and_one_question():
    found = compared.of_build(Built(("T", 9, 2)), Settings(), CompareRequest())
    assert (found.trial, found.reference, found.unnamed) == ("T", "a", 2)
    assert [row["method"] for row in found.tables["arm_contrasts"]] == list(METHODS)
    assert set(found.tables) == set(compared.TABLES)
    # no course at all
    assert compared.of_build(Built(), Settings(), CompareRequest()) is None


def cost(arm, takes, said="adjusted"):
    return ArmCost(arm, {name: Interval(takes, takes - 1, takes + 1) for name in RESOURCES}, 20, 15, said)


def test_more_or_fewer_is_told_of_arms_whose_success_is_known_alike():
    """In 1,000 successes: an arm that takes 3 where the reference takes 2 takes 1,000 more."""
    costs = [cost("a", 2.0), cost("b", 3.0), cost("c", 3.0, "as it is"), cost("d", 3.0), cost("e", np.nan)]
    found = SimpleNamespace(
        asked=SimpleNamespace(reference="a"),
        comparison=SimpleNamespace(trial="T"),
        pairs=[SimpleNamespace(arm=arm, differences=[1] * (arm != "d")) for arm in "bcde"],
    )
    rows = arm_rows.exchange_rows(costs, found)
    assert [(row["arm"], row["resource"]) for row in rows] == [("b", name) for name in RESOURCES]
    assert {(row["trial"], row["reference"]) for row in rows} == {("T", "a")}
    assert {row["more"] for row in rows} == {1000.0}
    assert all(row["low"] < row["more"] < row["high"] for row in rows)
    assert arm_rows.exchange_rows(costs[1:], found) == []


GIVEN = "The margin was given with the command, and not fixed beforehand."
OTHER = "The margin is the one that the plan states for another question."


@pytest.mark.parametrize(
    ("asked", "planned", "question", "said"),
    [
        (None, 0.1, LAYING, ""),
        (0.1, 0.1, LAYING, ""),
        (0.05, 0.1, LAYING, GIVEN),
        (0.1, 0.1, ("lost", 21), GIVEN),
        (None, 0.1, ("lost", 21), OTHER),
        (None, None, ("lost", 21), ""),
        (0.05, None, LAYING, GIVEN),
    ],
)
def test_where_a_margin_comes_from_is_said_where_it_is_not_the_plan_s(
    asked, planned, question, said
):
    settings = replace(Settings(), plan=Plan(margin=planned))
    assert compared.margin_said(CompareRequest(margin=asked), settings, question) == said


FORM = {"fixed_on": "2026-06-01"}
NAME = "form of laying by day 21, main model"


@pytest.mark.parametrize(
    ("plan", "trial", "share", "taken"),
    [
        ({"sections": {NAME: FORM}}, None, 1.0, True),
        ({"fresh": {NAME: FORM}}, None, 1.0, True),
        ({"sections": {NAME: FORM}, "as_of": "2026-05-31"}, None, 1.0, False),
        ({"sections": {NAME: FORM}, "as_of": "2026-06-01"}, None, 1.0, True),
        ({"sections": {NAME.replace("21", "28"): FORM}}, None, 1.0, False),
        ({"sections": {NAME: FORM}}, "T", 1.0, False),
        ({"sections": {NAME: FORM}}, None, results.MOST - 0.1, False),
        ({"sections": {NAME: FORM}}, None, results.MOST, True),
        (None, None, 1.0, False),
    ],
)
def test_a_form_fixed_for_the_season_is_taken_where_it_fits_these_courses(
    monkeypatch, plan, trial, share, taken
):
    monkeypatch.setattr(results, "read_form", lambda section: section)
    if plan is not None:
        plan = SimpleNamespace(**{"fresh": {}, "sections": {}, "as_of": "2026-07-01", **plan})
    rows = np.arange(round(100 * share))
    answers = SimpleNamespace(question=LAYING, closed=np.ones(100, bool))
    comparison = SimpleNamespace(trial=trial, rows=rows)
    found = results.fixed_form(comparison, answers, plan)
    assert found == (FORM if taken else None)


def test_doses_and_batches_of_an_arm_are_told_of_courses_whose_own_are_known():
    doses = np.array([2.0, np.nan, 1.0, 2.0])
    assert (arm_rows._mean(doses), arm_rows._usual(doses)) == (pytest.approx(5 / 3), 2)
    assert arm_rows._usual(np.array([3.0, 1.0])) == 1  # as usual: the fewer
    assert (arm_rows._mean(doses[1:2]), arm_rows._usual(doses[1:2])) == (None, None)
    assert arm_rows._batches(np.array(["a", "", "b", "a", ""])) == 2
    assert arm_rows._batches(np.array(["", ""])) == 0
