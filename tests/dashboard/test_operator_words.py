"""How the operators' page puts figures, ranks, signals and curves into words."""

from __future__ import annotations

import datetime as dt

import pytest
from modelled import LAYING
from queen_outcomes.audit import learning as audit_learning
from queen_outcomes.audit import sheet
from queen_outcomes.dashboard.operators import (
    batches,
    overview,
    page,
    process,
    rates,
    series,
)

COURSES = {"closed": 60, "decided": 50, "failures": 10, "unknown_risk": 0, "unnamed": 0}
ROW = {"operator": "A", "shown": True, "flag": ""}


def test_courses_of_unknown_risk_are_said_before_anything_else():
    def cautions(unknown):
        return page.cautions({**COURSES, "unknown_risk": unknown}, [ROW, ROW])

    assert cautions(1) == []
    assert cautions(5)[0].startswith("For 5 of 50 decided courses a factor")
    assert cautions(25)[0].startswith("Read nothing into this page yet: for 25 of 50")


def test_courses_without_a_named_hand_are_said():
    (said,) = page.cautions({**COURSES, "unnamed": 12}, [ROW, ROW])
    assert said.startswith("For 12 of 50 decided courses no operator is recorded")


def test_nothing_can_be_shown_for_a_reason():
    def why(courses, rows):
        return page.cannot_be_shown(courses, rows, LAYING)

    assert why(COURSES, [ROW]) == ""
    assert why({**COURSES, "closed": 0}, []).startswith("No window has closed yet")
    assert why(COURSES, []).startswith("No operator is recorded")
    assert why(COURSES, [{**ROW, "shown": False}]).endswith("counts only.")


@pytest.mark.parametrize(
    ("ranks", "said"),
    [
        ([(None, None)] * 3, "No ranks are given"),
        ([(1, 3)] * 3, "Ranks cannot be told apart"),
        ([(1, 2), (1, 3), (2, 3)], "Each bar is the span"),
        ([(1, 1)], "There is nobody to rank against"),
    ],
)
def test_ranks_in_words(ranks, said):
    rows = [{"rank_low": low, "rank_high": high} for low, high in ranks]
    assert rates.ranks_said(rows).startswith(said)


def test_who_is_flagged_in_words():
    rows = [ROW, {**ROW, "operator": "B", "flag": "more"}, {**ROW, "operator": "C"}]
    assert rates.finding(rows) == (
        "1 of 3 operators is flagged over all courses: B (more failures)"
    )
    assert (
        rates.finding([ROW, ROW])
        == "Over all courses together nobody lies outside what chance and batches give"
    )
    assert rates.finding([{**ROW, "shown": False}]) == "Counts only"
    two = [{**ROW, "flag": "fewer"}, {**ROW, "operator": "B", "flag": "more"}]
    assert rates.finding(two) == f"B fails more often than {ROW['operator']}"


OWN = {**ROW, "apart_from": None}
KNOWN = {"direction": "worse", "known_on": dt.date(2026, 6, 30)}
BATCH = {
    "kind": "graft_batch",
    "batch": "g1",
    "courses": 20,
    "failures": 10,
    "expected": 3.0,
}


@pytest.mark.parametrize(
    ("changed", "signals", "said"),
    [
        ({}, [], "within chance"),
        ({}, [KNOWN], "more failures this season, known 2026-06-30"),
        (
            {"flag": "more"},
            [KNOWN],
            "more failures over all courses; more failures this season, known 2026-06-30",
        ),
        ({"shown": False}, [], "too few courses to compare"),
        (
            {"apart_from": "tip a"},
            [KNOWN],
            "no verdict: cannot be told apart from tip a",
        ),
    ],
)
def test_one_fact_of_an_operator(changed, signals, said):
    assert overview.standing({**OWN, **changed}, signals) == said


def test_the_page_opens_with_batches_then_who_stands_out():
    rows = [OWN, {**OWN, "operator": "B"}, {**OWN, "operator": "C"}]
    assert overview.lead(rows, {"B": [KNOWN]}, [BATCH]) == [
        "Batches first: graft batch g1: 10 of 20 failed, 3.0 expected.",
        "B: more failures this season, known 2026-06-30.",
        "2 other operators lie within what chance and batches give.",
    ]
    assert overview.lead(rows, {}, []) == [
        "Every operator's failures lie within what chance and batches give, over all "
        "courses and in this season's series."
    ]
    assert overview.lead([{**OWN, "shown": False}], {}, []) == []


def test_a_measure_moved_when_two_errors_do_not_explain_it():
    now = {"mean": 1.4, "spread": 0.5, "recorded": 100}  # error of each mean 0.05
    assert overview.has_moved(now, {**now, "mean": 1.25})
    assert not overview.has_moved(now, {**now, "mean": 1.27})
    assert overview.moved_said("attempts", now, {**now, "mean": 1.2}) == (
        "attempts ↑ 1.40 from 1.20"
    )
    assert overview.moved_said("leak", {"mean": 0.07}, {"mean": 0.15}) == (
        "backflow seen ↓ 7 % from 15 %"
    )


PART = {
    "kind": "graft_batch",
    "batch": "g1",
    "courses": 20,
    "failures": 10,
    "expected": 3.0,
    "alone": True,
}


@pytest.mark.parametrize(
    ("total", "alone", "said"),
    [
        (7.0, True, ["A: 7.0 failures more than expected, and all of them in graft"]),
        (12.0, True, ["A: 12.0 failures more than expected, and 7.0 of them in graft"]),
        (20.0, True, []),
        (7.0, False, []),
        (-1.0, True, []),
    ],
)
def test_where_an_excess_lies_alone(total, alone, said):
    row = {"operator": "A", "failures": 30 + total, "expected": 30.0}
    found = batches.alone_said(row, [{**PART, "alone": alone}])
    assert [one.startswith(start) for one, start in zip(found, said, strict=True)] == [
        True
    ] * len(said)


LIMITS = {
    "series": "level",
    "holds_for": 120,
    "cases": 100,
    "detection": 0.9,
    "median_courses": 60.0,
    "message": "",
}


def test_what_a_series_can_see_in_words():
    clear = series.detection_said(LIMITS)
    assert clear.endswith("a chance of 90 %, half the time within 60 courses.")
    missed = {**LIMITS, "detection": 0.3, "median_courses": None}
    assert series.detection_said(missed).endswith(
        "with a chance of 30 %. A doubling is often missed."
    )
    beyond = series.detection_said({**LIMITS, "cases": 130})
    assert beyond.endswith("Beyond the 120 planned there is no verdict.")


SIGNAL = {
    "operator": "A",
    "series": "level",
    "case": 30,
    "direction": "worse",
    "inseminated_at": dt.datetime.combine(dt.date(2026, 5, 20), dt.time(10)),
    "known_on": dt.date(2026, 6, 17),
    "courses": 20,
    "failures": 12,
    "expected": 4.0,
    "episode": 1,
    "season_told": True,
}


def test_a_signal_names_the_batches_that_hold_a_third_of_it():
    place = {key: SIGNAL[key] for key in ("operator", "series", "case")}
    large = {**PART, **place}
    small = {**large, "kind": "semen_batch", "batch": "s1", "failures": 5}
    said = series.signal_said(SIGNAL, [large, small])
    assert "signal at course 30 of 2026-05-20, known on 2026-06-17" in said
    assert "Graft batch g1 holds 7.0 of these 8.0" in said
    assert "s1" not in said
    elsewhere = series.signal_said({**SIGNAL, "case": 31}, [large])
    assert "g1" not in elsewhere


def test_fewer_failures_need_no_batch():
    better = {**SIGNAL, "direction": "better", "failures": 0}
    said = series.signal_said(better, [{**PART, **SIGNAL}])
    assert said.startswith("Fewer failures than colleagues' courses of this season")
    assert "g1" not in said


def test_a_change_that_two_series_see_is_said_once():
    later = {**SIGNAL, "series": "drift", "case": 34}
    said = series.signals_said(
        [SIGNAL, later, {**SIGNAL, "case": 60, "episode": 2}], []
    )
    assert len(said) == 2
    assert said[0].endswith(
        "The same change: against own earlier courses at course 34."
    )


def test_where_colleagues_are_too_few_a_change_may_be_the_seasons():
    said = series.signal_said({**SIGNAL, "series": "drift", "season_told": False}, [])
    assert said.startswith("More failures than before (or a harder season")


def test_a_long_series_keeps_its_peaks_signals_and_ends():
    points = [
        {"case": at, "worse": float(at % 37), "better": -float(at % 53), "signal": ""}
        for at in range(1, 2001)
    ]
    points[700]["signal"] = "more"
    kept = series.thinned(points, 300)
    assert len(kept) <= 303
    assert {1, 701, 2000} <= {row["case"] for row in kept}
    assert max(row["worse"] for row in kept) == 36.0
    assert min(row["better"] for row in kept) == -52.0
    assert [row["case"] for row in kept] == sorted(row["case"] for row in kept)
    assert series.thinned(points[:300], 300) == points[:300]


CURVE = {
    "operator": "A",
    "first_number": 26,
    "watched": 100,
    "decided": 40,
    "adequate": 0.2,
    "inadequate": 1 / 3,
    "limit": 3.9,
    "false_chance": 0.049,
    "true_chance": 0.8,
    "reached_at": None,
    "message": "",
}


@pytest.mark.parametrize(
    ("changed", "end"),
    [
        ({"reached_at": 93}, "It was reached at case 93."),
        ({}, "It has not been reached in 40 decided cases so far."),
        ({"decided": 100}, "that alone does not speak for the higher rate."),
        ({"limit": None}, "100 cases are too few to tell the two apart."),
        ({"message": "4 decided cases are too few"}, "4 decided cases are too few."),
    ],
)
def test_a_learning_curve_in_words(changed, end):
    said = audit_learning.learning_said({**CURVE, **changed})
    assert said.startswith("A's records begin at case 26.")
    assert said.endswith(end)
    if "message" not in changed:
        assert "20 % failing (the rate of the station's other operators)" in said


def test_checkers_in_words():
    any_two = {"pairs": 40, "agree": 36, "kappa": 0.8, "spread": None, "message": ""}
    low, high = (
        {
            **any_two,
            "first_checker": a,
            "second_checker": b,
            "kappa": k,
            "low": 0.1,
            "high": 1,
        }
        for a, b, k in (("A", "B", 0.5), ("A", "C", 0.9))
    )
    said = process.any_two_said(any_two, [high, low])
    assert said.startswith("40 pairs of looks, 90 % the same; kappa 0.80")
    assert "from 0.50 (A and B; 0.10 to 1.00) to 0.90 (A and C" in said
    always = {**high, "kappa": 1.0, "low": None, "high": None}
    assert "to 1.00 (A and C; always the same)" in process.any_two_said(
        any_two, [always, low]
    )
    assert process.any_two_said(any_two, []).endswith(
        "No pair of checkers has enough looks of its own."
    )


USUAL = {"station_mean": 1.2, "station_low": 1.0, "station_high": 1.3}
NONE_FAILED = {"filled": 0.0, "failures": 0, "expected": 0.0, "flag": ""}


@pytest.mark.parametrize(
    ("measure", "unit", "mean", "said"),
    [
        ("attempts", "", 1.4, "Attempts: a mean of 1.40, outside"),
        ("minutes", "min", 4.26, "Minutes: a mean of 4.3 min, outside"),
        ("dose_error", "uL", -1.5, "Dose_error: a mean of -1.50 uL, outside"),
    ],
)
def test_what_stands_out_at_the_bench_is_said_in_its_unit(measure, unit, mean, said):
    row = {**USUAL, "measure": measure, "label": measure, "unit": unit, "mean": mean}
    (told,) = sheet._first(NONE_FAILED, [], [row], has_signal=False)
    assert told.startswith(said)


@pytest.mark.parametrize(
    ("measure", "changed"),
    [
        ("attempts", {"mean": 1.1}),  # inside
        ("attempts", {"mean": 0.9}),  # fewer than the station's
        ("minutes", {"mean": 0.5}),  # quicker
        ("dose_error", {"mean": 0.1}),  # nearer to what was meant
        ("queens_a_day", {"mean": 9.0}),  # neither better nor worse
        ("leak", {"mean": 0.05, "station_low": 0.0, "station_high": 0.0}),  # yes or no
        ("attempts", {"mean": 1.1, "station_low": 1.0, "station_high": 1.0}),
    ],
)
def test_what_is_inside_or_better_is_not_called_outside(measure, changed):
    row = {**USUAL, "measure": measure, "label": measure, "unit": "", **changed}
    assert not sheet.stands_outside(row)
    (told,) = sheet._first(NONE_FAILED, [], [row], has_signal=False)
    assert told == "Nothing stands out; carry on as planned."
