"""What is known at the first dose, the dose curve, semen a drone, and what is asked for."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from armed import AS_OF, answered, asking, compared, contrasts, queens, settled
from armed_records import day, rows
from queen_outcomes.base.errors import NoModelError, UsageError
from queen_outcomes.doses.arm_courses import (
    Comparison,
    find_comparisons,
    read_courses,
)
from queen_outcomes.doses.arm_model import arm_model
from queen_outcomes.doses.arm_rows import margins_needed
from queen_outcomes.doses.compare_request import (
    CompareRequest,
    comparison_of,
    read_names,
)
from queen_outcomes.doses.comparing import ArmQuestion, compare
from queen_outcomes.doses.costs import drone_semen
from queen_outcomes.doses.differences import find_overlap
from queen_outcomes.doses.dose_curve import dose_for_rows, meant_by_arm, within_records
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Models, Settings, asked_question
from station_tables import derived
from statsmodels.stats.proportion import confint_proportions_2indep

QUESTION = ("laying", 21)


def courses_of(**rows):
    return read_courses(derived(AS_OF, Settings(), **rows), {}, 28)


def dose(number, queen_id="Q", hour=10, **more):
    at = dt.datetime.combine(day(number), dt.time(hour))
    return {"queen_id": queen_id, "inseminated_at": at, "dose_ul": 6.0, **more}


def test_ages_and_season_are_those_of_the_first_dose():
    found = courses_of(
        queens=[{"queen_id": "Q", "emerged_on": day(-8)}],
        inseminations=[dose(0), dose(2)],
    )
    assert found.values["queen_age"].tolist() == [8.0]
    assert found.values["day_of_year"].tolist() == [152.0]
    assert (found.doses.tolist(), found.given.tolist()) == ([2.0], [12.0])


@pytest.mark.parametrize(
    ("at", "known"),
    [
        ((-1, 10), "one before"),
        ((0, 7), "one before"),
        ((0, 9), "none before"),  # within two hours: the dose's own
        ((1, 10), "none before"),  # tells that she was alive
        ((-6, 10), "none before"),
    ],
)
def test_only_an_exposure_before_the_first_dose_is_known_then(at, known):
    number, hour = at
    given = dt.datetime.combine(day(number), dt.time(hour))
    found = courses_of(
        inseminations=[dose(0), dose(2)], co2=[{"queen_id": "Q", "given_at": given}]
    )
    assert found.values["co2_before"].tolist() == [known]


def values_for(n, **more):
    chance = np.random.default_rng(3)
    texts = dict.fromkeys(("drone_line", "semen_batch"), np.full(n, "s"))
    numbers = ("drone_age", "queen_age", "semen_age", "experience", "day_of_year")
    return {
        **{name: chance.normal(10, 2, n) for name in numbers},
        **texts,
        "operator": np.array(list("ABCDEF"))[chance.integers(0, 6, n)],
        "line": np.array(["x", "y"])[chance.integers(0, 2, n)],
        "year": np.full(n, "2025"),
        "graft_batch": np.array([f"g{k // 12}" for k in range(n)]),
        "co2_before": np.array(["one before", "none before"])[chance.integers(0, 2, n)],
        **more,
    }


def model_of(values, arm, seed=5, outcome="laying", share=0.8):
    yes = (np.random.default_rng(seed).random(len(arm)) < share).astype(float)
    return arm_model(settled(values, arm, yes), outcome, Settings())


def test_an_exposure_that_every_arm_shares_is_allowed_for():
    n = 300
    arm = np.array(["one", "two"] * (n // 2))
    shared = model_of(values_for(n), arm)
    assert "CO2 exposure before the first dose" in shared.factors
    always = np.where(arm == "two", "none before", values_for(n)["co2_before"])
    own = model_of(values_for(n, co2_before=always), arm)
    assert "CO2 exposure before the first dose" not in own.factors
    assert any("part of some arm's protocol" in said for said in own.left_out)


def test_what_came_after_the_first_dose_is_never_allowed_for():
    arm = np.array(["one", "two"] * 150)
    found = model_of(values_for(300), arm)
    assert found.asked is not None
    assert not {"dose", "doses", "CO2 schedule", "time between CO2 exposures"} & {
        *found.factors
    }


def test_an_arm_that_goes_with_a_line_is_not_told_from_it():
    values = values_for(300)
    arm = np.where(values["line"] == "x", "one", "two")
    found = model_of(values, arm)
    assert (found.asked, found.method) == (None, "none")
    assert "cannot be told apart" in found.message
    nothing = found.difference("one", "two", 0.95, 0.1)
    assert np.isnan(nothing.estimate)
    assert nothing.said == found.message


def test_where_yes_fails_shares_stay_those_of_yes_and_differences_turn():
    arm = np.array(["one", "two"] * 150)
    values = values_for(300)
    kept, lost = (model_of(values, arm, outcome=name) for name in ("laying", "lost"))
    assert lost.share("one") == pytest.approx(kept.share("one"))
    one, other = (m.difference("one", "two", 0.95, None) for m in (kept, lost))
    assert other.estimate == pytest.approx(-one.estimate)
    assert (other.low, other.high) == pytest.approx((-one.high, -one.low))
    p1, p2 = kept.share("one")[0], kept.share("two")[0]
    assert one.ratio == pytest.approx(p1 / p2)
    assert other.ratio == pytest.approx((1 - p1) / (1 - p2))


def test_limits_of_the_model_and_p_against_the_margin_are_one_test():
    arm = np.array(["one", "two"] * 150)
    found = model_of(values_for(300), arm).difference("one", "two", 0.95, None)
    at_limit = model_of(values_for(300), arm).difference("one", "two", 0.95, -found.low)
    assert at_limit.p_margin == pytest.approx(0.025)


def test_limits_lie_no_further_apart_than_any_two_shares():
    arm, sure = np.array(["one", "two"] * 18), float(np.nextafter(1, 0))
    found = model_of(values_for(36), arm).difference("one", "two", sure, None)
    assert (found.low, found.high) == (-1, 1)


def test_overlap_is_the_smallest_share_over_hands_lines_seasons_and_batches():
    values = {
        "operator": np.array(["A", "A", "B", "B"]),
        "line": np.array(["x", "x", "x", ""]),
        "year": np.full(4, "2025"),
        "graft_batch": np.array(["g", "g", "g", "g"]),
    }
    first = np.array([True, False, True, True])
    found = find_overlap(values, first, ~first)
    assert found.shares == {
        "operator": 0.5,
        "line": 1.0,
        "year": 1.0,
        "graft_batch": 1.0,
    }
    assert (found.least, found.apart) == (0.5, "")


def test_a_queen_that_died_between_doses_keeps_the_dose_she_was_meant_for():
    made = queens(40, {"6 and 6": 0.8}, doses=(6.0, 6.0))
    made[0]["dies_on"] = 1
    courses = read_courses(compared(made), {}, 28)
    assert sorted(set(courses.given)) == [6.0, 12.0]
    assert set(courses.values["dose"]) == {12.0}
    assert set(meant_by_arm(courses, find_comparisons(courses))) == {12.0}


def test_a_curve_is_read_only_between_courses():
    doses = (4.0, 6.0, 8.0, 10.0, 14.0)
    near = (1, 3, 40, 40, 2)
    curve = [
        {
            "dose_ul": d,
            "courses_near": k,
            "probability": p,
            "low": p - 0.1,
            "high": p + 0.1,
        }
        for d, k, p in zip(doses, near, (0.3, 0.5, 0.7, 0.8, 0.85), strict=True)
    ]
    assert [r["dose_ul"] for r in within_records(curve, 10)] == [8.0, 10.0]
    yes = answered(QUESTION, np.array(["yes"] * 3 + ["no"]))
    own, usual = dose_for_rows(curve, yes, 10)
    assert own["success"] == 0.75
    assert 8 < own["dose_ul"] < 10
    assert usual["success"] == 0.8
    assert usual["dose_ul"] == pytest.approx(10.0)


def semen(*loads):
    names = ("volume_ul", "drones_handled", "drones_yielding")
    rows = [
        {"semen_batch": f"s{k}", **dict(zip(names, load, strict=True))}
        for k, load in enumerate(loads)
    ]
    return drone_semen(derived(AS_OF, Settings(), semen=rows), AS_OF)


def test_semen_a_drone_comes_from_semen_batches_else_from_what_is_usual():
    assert semen((60.0, 100, 60), (30.0, 50, 30)).ul_a_drone == pytest.approx(0.6)
    counted = semen((None, 100, 70), (None, 100, 50))
    assert counted.ul_a_drone == pytest.approx(0.6)
    assert "60 % of drones yielding, as the semen batches say" in counted.said
    usual = semen()
    assert usual.ul_a_drone == pytest.approx(
        0.595
    )  # Rhodes et al. 2011: 40.5 % gave none
    assert "rule of thumb" in usual.said


def test_a_smaller_margin_needs_more_queens_and_more_with_batches_alike():
    batch = np.repeat([f"g{k}" for k in range(20)], 10)
    alike = np.repeat([1.0] * 15 + [0.0] * 5, 10)
    mixed = np.tile([1.0, 1.0, 1.0, 0.0], 50)
    for success, more in ((alike, True), (mixed, False)):
        rows = margins_needed(success, batch)
        sizes = [row["queens_alone"] for row in rows]
        assert sizes == sorted(sizes, reverse=True)
        # both arms at 75 %, margin 10 points, power 80 %: 2 p q (z + z)^2 / d^2 = 294
        assert rows[1]["queens_alone"] == pytest.approx(294, rel=0.02)
        assert (rows[1]["queens"] > 2 * sizes[1]) == more
    assert margins_needed(np.ones(20), batch[:20]) == []


def comparison(trial, *arms):
    names = np.repeat(arms, 5)
    rows = np.arange(len(names))
    return Comparison(trial, rows, names, names, "protocol", True, "", False)


FOUND = (comparison(None, "a", "b", "12, then 4"), comparison("T1", "a", "c"))


def test_names_may_be_given_one_by_one_or_with_commas():
    known = ["a", "b", "12, then 4"]
    assert read_names(("a,b",), known) == ["a", "b"]
    assert read_names(("12, then 4", " b "), known) == ["12, then 4", "b"]


def test_the_comparison_is_the_one_that_holds_the_arms():
    assert comparison_of(CompareRequest(), FOUND).trial is None
    assert comparison_of(CompareRequest(arms=("a,c",)), FOUND).trial == "T1"
    assert comparison_of(
        CompareRequest(arms=("a",), reference="b"), FOUND
    ).commonest == [
        "a",
        "b",
    ]
    assert comparison_of(CompareRequest(trial="T1"), FOUND).commonest == ["a", "c"]


@pytest.mark.parametrize(
    ("wanted", "error", "said"),
    [
        (CompareRequest(arms=("b,c",)), UsageError, "different trials"),
        (CompareRequest(arms=("a,x",)), UsageError, "there is no such arm"),
        (CompareRequest(trial="T2"), UsageError, "expected: one of T1"),
        (CompareRequest(arms=("a",)), NoModelError, "one arm only"),
    ],
)
def test_arms_that_cannot_be_compared_are_refused_in_words(wanted, error, said):
    with pytest.raises(error) as found:
        comparison_of(wanted, FOUND)
    assert said in found.value.text()


def test_without_any_arm_there_is_nothing_to_compare():
    with pytest.raises(NoModelError) as found:
        comparison_of(CompareRequest(), ())
    assert "record protocol, or dose_meant_ul, in the records" in found.value.text()
    with pytest.raises(NoModelError) as found:
        comparison_of(CompareRequest(by="line"), ())
    assert "record line in the records" in found.value.text()


def test_the_question_is_the_plans_unless_another_is_asked():
    assert asked_question(Settings(), None, None) == QUESTION
    assert asked_question(Settings(), "superseded", None) == ("superseded", 90)
    assert asked_question(Settings(), "superseded", 365) == ("superseded", 365)
    for days in (30, 0):
        with pytest.raises(UsageError) as refused:
            asked_question(Settings(), None, days)
        assert "laying by day 21" in refused.value.text()


def test_terms_that_a_station_drops_are_not_allowed_for():
    arm = np.array(["one", "two"] * 150)
    settings = Settings(models=Models(terms=("queen_age",), adjust_for=("line",)))
    yes = (np.random.default_rng(5).random(300) < 0.8).astype(float)
    found = arm_model(settled(values_for(300), arm, yes), "laying", settings)
    assert found.factors == ("age of the queen", "line")


@pytest.mark.slow
def test_the_step_leaves_nothing_out_of_its_own_courses():
    made = queens(60, {"one": 0.8, "two": 0.8})
    store = compared(made, asking())
    counted = store.rows("SELECT count(*), count(DISTINCT course_id) FROM arm_courses")
    assert counted == [(60, 60)]


@pytest.mark.slow
def test_limits_hold_for_three_arms_together_and_margins_tell_what_they_need():
    store = compared(queens(120, {"one": 0.7, "two": 0.8, "three": 0.8}), asking())
    (row,) = contrasts(store, method="unadjusted", arm="two")
    # two differences share the five in a hundred; statsmodels, Newcombe's method
    counts = (36, 40, 33, 40)
    want = confint_proportions_2indep(*counts, method="newcomb", alpha=0.05 / 2)
    assert [row["newcombe_low"], row["newcombe_high"]] == pytest.approx(want, abs=1e-6)
    need = store.records("SELECT margin, queens FROM arm_needs ORDER BY margin")
    assert [one["margin"] for one in need] == [0.05, 0.1, 0.15]


# what a success is: yes, or to be without it (specification of the outcomes)
SUCCEEDS = {
    "laying": "yes",
    "pattern": "yes",
    "established": "yes",
    "drone_layer": "no",
    "superseded": "no",
    "lost": "no",
}


def test_a_success_is_what_the_station_wants_of_each_outcome():
    assert SUCCEEDS.keys() == OUTCOMES.keys()
    state = np.array(["yes", "no", "undecided", "left", ""])
    for name, wanted in SUCCEEDS.items():
        answers = answered((name, 90), state)
        expected = [1.0, 0.0] if wanted == "yes" else [0.0, 1.0]
        np.testing.assert_array_equal(answers.success, [*expected, *[np.nan] * 3])
        assert answers.closed.tolist() == [True] * 4 + [False]


def test_an_arm_whose_queens_are_superseded_more_often_is_the_worse_one():
    made = rows(queens(240, {"calm": 0.9, "rough": 0.9}))
    courses = read_courses(derived(AS_OF, asking(), **made), {}, 28)
    (one,) = find_comparisons(courses)
    number = np.arange(len(one.arm)) // 2  # in turn within batches: a rate for each arm
    often = np.where(one.arm == "rough", number % 2 == 0, number % 10 == 0)
    answers = answered(("superseded", 90), np.where(often, "yes", "no"))
    asked = ArmQuestion("calm", "adjusted", None, False, None, asking())
    (pair,) = compare(courses, one, answers, asked).pairs
    assert pair.arm == "rough"
    assert pair.differences["unadjusted"].estimate == pytest.approx(-0.4)
    for found in pair.differences.values():
        assert found.high < 0
        assert 0 < found.ratio < 1
