"""The shapes that factors take."""

import numpy as np
import pytest
from queen_outcomes.models.terms import (
    MAIN,
    OTHER,
    Form,
    coarsen,
    find_form,
    find_levels,
    straightened,
)


def words(**counts):
    return np.repeat(list(counts), list(counts.values()))


def test_the_commonest_level_comes_first_and_rare_ones_are_joined():
    assert find_levels(words(a=20, b=50, c=6, d=5)) == ("b", "a", OTHER)


def test_rare_levels_that_stay_rare_when_joined_take_the_next_with_them():
    assert find_levels(words(a=50, b=12, c=3)) == ("a", OTHER)


def test_one_odd_word_does_not_make_a_factor():
    assert find_form(MAIN["line"], {"line": words(a=50, b=1)}) is None


def test_a_number_that_never_changes_has_no_form():
    assert find_form(MAIN["dose"], {"dose": np.full(50, 8.1)}) is None


@pytest.mark.parametrize("known", [[], [8.1], [8.1, 8.1]])
def test_a_number_that_hardly_anybody_wrote_has_no_form(known):
    dose = np.array([*known, *[np.nan] * 5])
    assert find_form(MAIN["dose"], {"dose": dose}) is None


def test_a_spline_falls_to_three_knots_then_to_a_line():
    values = {"dose": np.linspace(5, 14, 200)}
    form = find_form(MAIN["dose"], values)
    assert (form.df, form.said) == (3, "spline of 4 knots")
    form = coarsen(form, values, drawn=False)
    assert (form.df, form.said) == (2, "spline of 3 knots")
    form = coarsen(form, values, drawn=False)
    assert form.df == 1
    assert form.said == "straight line, which hides a best value in between"
    assert coarsen(form, values, drawn=True) is None


def test_a_few_round_doses_bend_at_the_one_in_the_middle():
    dose = np.repeat([6.0, 8.0, 10.0, 12.0, 15.0], [20, 120, 30, 200, 3])
    form = find_form(MAIN["dose"], {"dose": dose})
    # 15 uL stands for three courses; of those between the outer two 8 is the commonest
    assert form.knots.tolist() == [6, 8, 12]
    assert form.said == "spline of 3 knots"
    rare = np.repeat([6.0, 8.0, 12.0], [9, 120, 200])
    form = find_form(MAIN["dose"], {"dose": rare})
    assert form.said == "straight line, which hides a best value in between"


def test_a_line_between_two_doses_hides_nothing():
    form = find_form(MAIN["dose"], {"dose": np.repeat([8.0, 12.0], 60)})
    assert (form.df, form.said) == (1, "line")


def test_a_bend_is_drawn_to_a_line_where_the_budget_ends():
    values = {"dose": np.linspace(5, 14, 200)}
    form = coarsen(find_form(MAIN["dose"], values), values, drawn=True)
    form = coarsen(form, values, drawn=True)
    assert (form.df, form.cost) == (2, 1)
    assert coarsen(form, values, drawn=True) is None
    line, bend = form.columns(values).T
    # at one standard deviation the bend, its line taken off, is 1 log odds from its worst
    # to its best value between the outer knots
    inside = (line >= form.knots[0] - form.centre) & (line <= form.knots[-1] - form.centre)
    slope, rise = np.polyfit(line[inside], bend[inside], 1)
    away = (bend - rise - slope * line)[inside]
    assert form.pull[0] == 0
    assert np.ptp(away) / np.sqrt(form.pull[1]) == pytest.approx(1, rel=0.02)
    assert straightened(form).df == 1


def test_what_is_a_line_by_plan_hides_no_bend():
    form = find_form(MAIN["doses"], {"doses": np.tile([1.0, 2.0], 50)})
    assert (form.df, form.said) == (1, "line")


def test_columns_for_a_changed_value_use_the_knots_once_found():
    values = {"dose": np.linspace(5, 14, 200)}
    form = find_form(MAIN["dose"], values)
    changed = form.columns({"dose": np.full(3, values["dose"][70])})
    np.testing.assert_allclose(changed, np.tile(form.columns(values)[70], (3, 1)))


def test_the_usual_value_gives_zero_columns():
    form = find_form(MAIN["queen_age"], {"queen_age": np.arange(1.0, 102.0)})
    usual = form.columns({"queen_age": np.array([form.centre])})
    np.testing.assert_allclose(usual, 0, atol=1e-12)


def test_a_single_exposure_has_no_gap_and_zero_columns():
    gap = np.where(np.arange(60) < 20, np.nan, np.arange(60.0))
    form = find_form(MAIN["co2_gap"], {"co2_gap": gap})
    assert np.all(form.columns({"co2_gap": gap})[:20] == 0)


def test_a_level_that_was_joined_is_read_as_other():
    form = Form(MAIN["line"], levels=("a", OTHER))
    assert form.columns({"line": np.array(["a", "b"])}).ravel().tolist() == [0, 1]


@pytest.mark.parametrize(("name", "value"), [("semen_age", 24.0), ("experience", 310)])
def test_numbers_are_shown_as_people_know_them(name, value):
    inner = np.log1p(value) if name == "semen_age" else np.log(value)
    assert MAIN[name].as_read(inner) == pytest.approx(value)
