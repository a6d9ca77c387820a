"""Which courses and factors a fit stands on."""

import numpy as np
from queen_outcomes.models.analysis_set import analysis_set, own_level
from queen_outcomes.models.terms import MAIN


def values(n=50, **columns):
    base = {
        "dose": np.arange(n, dtype=float),
        "queen_age": np.arange(n, dtype=float),
        "co2_schedule": np.full(n, "other before"),
        "co2_gap": np.full(n, 24.0),
    }
    return base | columns


def chosen(values, *names):
    answers = np.zeros(len(values["dose"]))
    return analysis_set(values, answers, [MAIN[name] for name in names])


def test_a_factor_seldom_recorded_is_left_out_and_costs_no_course():
    dose = np.where(np.arange(50) < 20, np.nan, 8.0)
    found = chosen(values(dose=dose), "dose", "queen_age")
    assert [term.name for term in found.terms] == ["queen_age"]
    assert found.left_out == ("dose: recorded for 60 % of courses",)
    assert (len(found.y), found.message) == (50, "")


def test_courses_with_a_gap_in_what_is_left_are_counted_and_left_out():
    dose = np.where(np.arange(50) < 5, np.nan, 8.0)
    found = chosen(values(dose=dose), "dose", "queen_age")
    assert found.rows.tolist() == list(range(5, 50))
    assert found.message.startswith("45 of 50 decided courses are complete")


def test_too_few_complete_courses_are_owned_up_to():
    gaps = {
        "dose": np.where(np.arange(50) < 8, np.nan, 8.0),
        "queen_age": np.where(np.arange(50) >= 42, np.nan, 9.0),
    }
    found = chosen(values(**gaps), "dose", "queen_age")
    assert found.is_short
    assert "34 of 50 decided courses are complete" in found.message


def test_one_exposure_is_no_gap_in_the_records():
    found = chosen(
        values(co2_schedule=np.full(50, "one exposure"), co2_gap=np.full(50, np.nan)),
        "co2_gap",
    )
    assert len(found.y) == 50


def test_a_course_without_a_batch_stands_alone():
    codes = own_level(np.array(["", "a", "a", "", "b"]))
    assert codes[1] == codes[2]
    assert len(set(codes.tolist())) == 4


def test_no_course_at_all_is_no_error():
    empty = {name: column[:0] for name, column in values().items()}
    found = chosen(empty, "dose")
    assert (len(found.y), len(found.terms)) == (0, 0)
