"""Rows that the pages of doses, factors and onset show, and what their charts are given."""

from __future__ import annotations

import numpy as np
import pytest
from chart_rows import data_of
from queen_outcomes.dashboard import doses, factors, onset
from queen_outcomes.dashboard.charts import adjusted
from queen_outcomes.dashboard.charts.by_day import table_by_day

FITTED = {"outcome": "laying", "window_days": 21}


def test_an_arm_is_named_and_its_dose_rounded():
    row = {"arm": "a", "reference": True, "rate": 0.8, "mean_dose_ul": 8.04}
    row |= {"adjusted": 0.75, "adjusted_low": 0.6, "adjusted_high": 0.9}
    told = doses._arm(row)
    assert (told["name"], told["share"], told["mean_dose_ul"]) == (
        *("a (reference)", 0.8, "8.0"),
    )
    assert told["adjusted"] == "75 % (60–90)"
    bare = doses._arm({**row, "reference": False, "adjusted_low": None})
    assert (bare["name"], bare["adjusted"]) == ("a", "")


CONTRAST = {
    **FITTED,
    "arm": "b",
    "reference": "a",
    "trial": None,
    "method": "adjusted",
    "primary": True,
    "difference": 0.1,
    "low": -0.02,
    "high": 0.22,
    "unseen_low": None,
    "unseen_high": None,
    "ratio": 1.126,
    "verdict": None,
    "overlap": None,
    "note": "",
    "said": "few",
    "margin": None,
}


def test_a_difference_has_limits_and_what_unseen_queens_could_make_of_it():
    told = doses._difference(CONTRAST)
    assert told["points"] == "+10.0 points (-2.0 to +22.0)"
    assert (told["how"], told["unseen"], told["judged"]) == ("adjusted *", "", "")
    assert (told["shared"], told["ratio"]) == ("", "1.13")
    more = {"unseen_low": -0.1, "unseen_high": 0.3, "overlap": 0.4, "primary": False}
    told = doses._difference({**CONTRAST, **more, "verdict": "not_worse"})
    assert told["unseen"] == "-10.0 to +30.0"
    assert (told["shared"], told["how"], told["judged"]) == (
        *("40 %", "adjusted", "not worse"),
    )
    none = {**CONTRAST, "difference": None}
    assert doses._difference(none)["points"] == "none: few"
    assert doses._difference({**none, "note": "why"})["points"] == "none: why"


def test_arms_are_drawn_with_the_method_fixed_beforehand_first():
    rows = [
        {**CONTRAST, "method": "unadjusted", "primary": False},
        {**CONTRAST, "arm": "a"},
        CONTRAST,
        {**CONTRAST, "method": "stratified", "primary": False},
    ]
    lines = doses._lines(rows)
    assert [(row["of"], row["name"]) for row in lines] == [
        ("a", "a, adjusted"),
        ("b", "b, adjusted"),
        ("b", "b, within blocks or graft batches"),
        ("b", "b, as they are"),
    ]
    assert [row["method"] for row in lines] == ["fixed beforehand"] * 2 + [
        "beside it"
    ] * 2
    chart = doses.arm_difference_chart(lines, question="d", margin=0.1)
    zero, margin, *_ = data_of(chart)
    assert zero == [{"at": 0.0, "said": "no difference"}]
    assert margin == [{"at": -0.1, "said": "margin, 10 points lost"}]
    assert chart.to_dict()["height"] == 104
    assert (
        len(data_of(doses.arm_difference_chart(lines, question="d", margin=None))) == 3
    )


def test_findings_say_why_there_is_nothing_to_compare_or_what_goes_with_an_arm():
    arms = [{"arm": "a", "randomised": False}, {"arm": "b", "randomised": False}]
    assert doses._findings(arms[:1], []) == [
        "There is one arm only, a: nothing to compare it with."
    ]
    clear = {**CONTRAST, "low": 0.02, "said": "", "closed": 3}
    (said,) = doses._findings(arms, [clear, {**clear, "primary": False}])
    assert said.startswith("b goes with more success than a")
    drawn = [arms[0], {**arms[1], "randomised": True}]
    assert doses._findings(drawn, [clear])[0].startswith("b makes more")


def test_the_basis_says_where_arms_come_from():
    arm = {"source": "dose given", "said": "", "randomised": False}
    basis = "Arms are read from the doses given, a guess."
    assert doses._basis([arm], [], 0) == basis
    assert doses._basis([arm], [CONTRAST], 0).startswith(f"{basis} They were not drawn")
    for other in ({"primary": False}, {"method": "stratified"}):
        assert doses._basis([arm], [{**CONTRAST, **other}], 0) == basis
    left = doses._basis([{**arm, "said": "why"}], [], 2)
    assert left == (
        f"{basis} Left out, as theirs is not recorded: 2 courses. No verdict: why."
    )
    lot = doses._basis([{**arm, "randomised": True}], [CONTRAST], 0)
    assert lot == f"{basis} Arms stand side by side in the trial's blocks."


def test_notes_are_said_once_with_the_arms_they_are_of():
    rows = [
        {**CONTRAST, "note": "n"},
        {**CONTRAST, "arm": "c", "note": "n"},
        {**CONTRAST, "arm": "d"},
        {**CONTRAST, "arm": "e", "note": "n", "difference": None},
    ]
    assert doses._notes(rows) == ["b, c, adjusted: n"]


def test_levels_are_listed_where_arms_hardly_meet():
    pair = {"arm": "b", "reference": "a", "grouping": "operator"}
    overlaps = [{**pair, "shared": 0.09}, {**pair, "shared": 0.1}]
    counted = [
        {"grouping": "operator", "level": "B", "arm": "b", "courses": 5},
        {"grouping": "operator", "level": "A", "arm": "a", "courses": 7},
        {"grouping": "operator", "level": "A", "arm": "b", "courses": 2},
        {"grouping": "operator", "level": "C", "arm": "c", "courses": 9},
        {"grouping": "line", "level": "x", "arm": "a", "courses": 9},
    ]
    (found,) = doses._apart(overlaps, counted)
    assert (found["where"], found["percent"], found["more"]) == ("operators", "9 %", 0)
    assert found["rows"] == [
        {"level": "A", "arm": 2, "other": 7},
        {"level": "B", "arm": 5, "other": 0},
    ]
    many = [
        {"grouping": "operator", "level": f"O{k:02d}", "arm": "a", "courses": 1}
        for k in range(14)
    ]
    (found,) = doses._apart(overlaps[:1], many)
    assert (len(found["rows"]), found["more"]) == (12, 2)
    assert found["rows"][0] == {"level": "O00", "arm": 0, "other": 1}


def test_costs_have_limits_or_say_that_there_are_none():
    names = ("semen_ul", "drones", "queens", "minutes", "visits")
    row = {f"{name}_per_success": None for name in names}
    row |= {"low": 7.5, "high": None, "frontier": True, "successes": 3}
    row |= {"semen_ul_per_success": 8.25, "queens_per_success": 1.234}
    row |= {"queens_low": 1.1, "queens_high": 1.456}
    told = doses._cost(row)
    assert told["semen"] == "8.2 (7.5 to no limit)"
    assert told["queens"] == "1.23 (1.10 to 1.46)"
    assert (told["drones"], told["on"]) == ("not recorded", "yes")
    none = doses._cost({**row, "successes": 0, "frontier": False})
    assert (none["drones"], none["on"]) == ("no success", "no")


def test_what_is_traded_is_written_with_signs():
    pair = {"arm": "b", "reference": "a"}
    rows = [
        {**pair, "resource": "drones", "more": -1600.0, "low": -1700.0, "high": 450.0},
        {**pair, "resource": "queens", "more": 28.0, "low": -35.0, "high": 96.0},
    ]
    (row,) = doses.traded_rows(rows)
    assert doses._trade(row) == {
        "arm": "b in place of a",
        "saved": "+1,600 (-450 to +1,700)",
        "lost": "+28 (-35 to +96)",
    }
    assert doses.traded_rows([rows[0], {**rows[1], "high": None}]) == []
    assert doses._need({"margin": 0.1, "queens": None, "queens_alone": 1236}) == {
        "margin": "10 points",
        "queens": "–",
        "queens_alone": "1,236",
    }


def test_names_stand_on_the_side_that_has_room():
    """Of points at 0, 2 and 4 the middle one's name stands to the right of it."""
    rows = [
        {"arm": name, "at": at} for name, at in (("a", 0.0), ("b", 2.0), ("c", 4.0))
    ]
    left, right = doses._names_beside(rows, "at", "at:Q", "at:Q")
    assert [row["arm"] for row in data_of(left)[0]] == ["a", "b"]
    assert [row["arm"] for row in data_of(right)[0]] == ["c"]
    assert (left.to_dict()["mark"]["dx"], right.to_dict()["mark"]["dx"]) == (9, -9)
    (only,) = doses._names_beside(rows[:1], "at", "at:Q", "at:Q")
    assert [row["arm"] for row in data_of(only)[0]] == ["a"]


def test_what_is_traded_is_drawn_as_a_cross_about_no_difference():
    names = ("saved", "saved_low", "saved_high", "lost", "lost_low", "lost_high")
    rows = [
        {"arm": "b", "of": "b", **dict(zip(names, figures, strict=True))}
        for figures in ((900.0, 100.0, 1700.0, 20.0, -5.0, 45.0), (-300.0, *[0.0] * 5))
    ]
    chart = doses.trade_chart(rows, success="laying")
    across, down, *_ = layers = chart.to_dict()["layer"]
    # two dashed lines, at nought of both
    assert data_of(chart)[:2] == [[{"nought": 0}]] * 2
    assert [list(one["encoding"]) for one in (across, down)] == [["x"], ["y"]]
    drawn = [one["encoding"] for one in layers[2:5]]
    assert [
        {side: told["field"] for side, told in one.items() if side != "tooltip"}
        for one in drawn
    ] == [
        {"x": "saved_low", "x2": "saved_high", "y": "lost"},
        {"x": "saved", "y": "lost_low", "y2": "lost_high"},
        {"x": "saved", "y": "lost"},
    ]
    # a name stands on the side that has room
    sides = [(one["mark"]["align"], one["mark"]["dx"]) for one in layers[5:]]
    assert sides == [("left", 9), ("right", -9)]
    assert [part[0]["saved"] for part in data_of(chart)[-2:]] == [-300.0, 900.0]


def test_a_trend_and_a_dose_are_told():
    trend = {"slope": 0.012, "p": 0.047, "lack_p": 0.05, "message": ""}
    trend["scored_by"] = "doses"
    assert doses.trend_said(trend) == (
        "Without further adjustment the share of success rises by 1.20 points a uL "
        "(P = 0.047 for a trend, scores: doses)."
    )
    assert doses.trend_said({**trend, "lack_p": None}).endswith("doses).")
    dose = {
        "success": 0.8,
        "asked": "as now",
        "dose_ul": 9.24,
        "low": 8.0,
        "high": 11.0,
    }
    start = "80 % success (as now): 9.2 uL"
    assert doses.dose_said(dose) == f"{start}, 95 % limits 8.0 to 11.0."
    assert doses.dose_said({**dose, "high": None}) == (
        f"{start}, 95 % limits from 8.0 to beyond the doses given."
    )
    assert doses.dose_said({**dose, "low": None, "high": None}) == (
        f"{start}, no limits within the doses given."
    )
    unread = {**dose, "dose_ul": None, "said": "80 %: too few"}
    assert doses.dose_said(unread) == "80 % success (as now): too few."


def test_a_section_draws_what_there_are_two_of():
    cost = {"arm": "a", "drones_per_success": 9.0, "queens_per_success": 1.2}
    cost |= {"assumptions": "plain", "frontier": True, "successes": 9, "trial": None}
    ends = ("low", "high", "drones_low", "drones_high", "queens_low", "queens_high")
    others = ("semen_ul", "minutes", "visits")
    cost |= {f"{name}_per_success": None for name in others}
    cost |= dict.fromkeys(ends, 1.0)
    arm = {"arm": "a", "reference": True, "rate": 0.8, "mean_dose_ul": None}
    arm |= {"adjusted": None, "adjusted_low": None, "adjusted_high": None, "said": ""}
    arm |= {"source": "protocol", "randomised": False}
    tables = {key: [] for key in doses.TABLES}
    tables |= {"arm_levels": [], "arms": [arm], "arm_costs": [cost]}
    need = {"margin": 0.1, "queens": 1, "queens_alone": 1}
    tables["arm_needs"] = [need]

    def drawn(**changed):
        charts = {}
        part = doses.section(
            "p", ("laying", 21), {**tables, **changed}, charts, trial="T", unnamed=0
        )
        return part, list(charts)

    part, charts = drawn()
    assert (part["title"], charts, part["margin"]) == ("Trial T", [], None)
    assert part["needs"][0]["margin"] == "10 points"
    worse = {**cost, "arm": "b", "frontier": False}
    assert drawn(arm_costs=[cost, worse])[1] == ["costs-p"]
    assert drawn(arm_costs=[cost, {**worse, "queens_per_success": None}])[1] == []
    contrast = {**CONTRAST, "closed": 9}
    other = {**contrast, "outcome": "lost"}
    part, charts = drawn(arm_contrasts=[contrast, other, {**other, "primary": False}])
    assert charts == ["arms-p"]
    assert (len(part["differences"]), len(part["other"])) == (1, 1)
    part, charts = drawn(
        arm_contrasts=[{**contrast, "difference": None, "margin": 0.1}]
    )
    assert (charts, part["margin"], part["needs"]) == ([], 0.1, [])


def test_the_largest_of_the_surest_differences_is_told_first():
    row = {"factor": "dose", "value": "8", "reference": "12", "p_holm": 0.01}
    small = {**row, "risk_difference": -0.1, "low": -0.2, "high": -0.02}
    large = {**row, "value": "9", "risk_difference": -0.3, "low": -0.4, "high": -0.1}
    none = {**large, "value": "7", "risk_difference": None}
    bare = {**large, "value": "6", "risk_difference": -0.9, "low": None}
    (cell,) = factors._cells(("laying", 21), [large, small, none, bare])
    assert (cell["points"], cell["pair"]) == (-30.0, "9 against 12")
    cells = [
        {**cell, "factor": f"f{k}", "points": float(-k), "low": -9.0, "high": -1.0}
        for k in range(1, 6)
    ]
    said = factors.clear_said(cells)
    assert said.startswith(
        "Goes clearly: laying by day 21 with f5 (9 against 12): -5.0"
    )
    assert said.endswith(
        "with f3 (9 against 12): -3.0 points (-9.0 to -1.0); and 2 more."
    )
    assert factors.clear_said(cells[:3]).endswith("(-9.0 to -1.0).")
    assert factors.clear_said([]) == ""


def test_a_model_is_judged_by_the_base_rate():
    fit = {"method": "glmm", "message": "", "brier": 0.13, "brier_base": 0.13}
    fit |= {"auc": None, "shift": None}
    assert not factors.foretells(fit)
    assert factors.foretells({**fit, "brier": 0.129})
    assert factors.foretells({**fit, "brier": None})
    assert "could not be measured" in factors.verdict({**fit, "brier": None})
    assert factors.verdict({**fit, "method": "none", "message": "why"}) == (
        "There is no model: why."
    )
    assert factors.verdict(fit).endswith("0.130 against 0.130 for the base rate).")
    assert "under the curve 0.61" in factors.verdict({**fit, "auc": 0.612})


def test_odds_are_told_with_both_limits_or_not_at_all():
    row = {"odds_ratio": 1.5, "or_low": 1.1, "or_high": 2.25, "risk_difference": 0.1}
    assert factors._ratio(row) == "1.50 (1.10 to 2.25)"
    assert factors._ratio({**row, "or_low": None}) == ""
    assert factors._ratio({**row, "risk_difference": None}) == ""


def test_only_bench_factors_of_a_fitted_bench_model_are_shown():
    bench = {"model_fits": [{"method": "none"}], "contrasts": []}
    bench["model_terms"] = [
        {"term": "dose", "p": 0.1},
        {"term": "attempts", "p": None},
        {"term": "minutes", "p": 0.5},
    ]
    assert factors._bench(bench) is None
    shown = factors._bench({**bench, "model_fits": [{"method": "glmm"}]})
    assert [row["term"] for row in shown["terms"]] == ["minutes", "attempts"]


def test_the_three_numbers_of_the_smallest_p_are_drawn():
    names = ("dose", "drone_age", "queen_age", "season", "line")
    terms = [{"term": name, "p": 0.1 + at / 10} for at, name in enumerate(names)]
    rows = [
        {
            "factor": name,
            "value": None if name == "line" else value,
            "label": f"{value}",
        }
        | dict.fromkeys(("probability", "low", "high"), 0.5)
        | {"courses_near": 0}
        for name in names
        for value in (1.0, 2.0, 3.0)
    ]

    def drawn(rows):
        main = {"model_terms": terms, "adjusted": rows}
        return factors._draw_curves(main, "k", "asked", {})

    assert [one["term"] for one in drawn(rows)] == ["dose", "drone_age", "queen_age"]
    assert drawn(rows)[0]["axis"] == "dose (uL)"
    # the season's unit is the axis itself; words are no curve, nor are two points
    assert [one["axis"] for one in drawn(rows[9:])] == ["time of year"]
    assert [one["term"] for one in drawn(rows[1:5])] == []


def test_the_days_of_a_tenth_half_and_most_are_of_those_who_ever_lay():
    rows = [
        {"day": d, "laying": x} for d, x in ((5, 0.09), (8, 0.41), (9, 0.73), (30, 0.8))
    ]
    assert onset._spread(rows) == {"tenth": 5, "half": 8, "most": 9}
    rows[-1]["laying"] = 0.95
    assert onset._spread(rows) == {"tenth": 8, "half": 9, "most": 30}
    assert set(onset._spread([]).values()) == {None}
    assert set(onset._spread([{"day": 3, "laying": None}]).values()) == {None}


def test_differences_in_days_are_told_where_limits_leave_none_out():
    row = {"factor": "line", "label": "x", "reference": "y", "shift": "2.0 days later"}
    row |= {"difference": 2.0, "low": 0.1, "high": 3.0}
    told = "Layers with line “x” begin 2.0 days later than with “y”."
    rest = "The limits of every other difference in days include zero."
    assert onset.days_in_words([row]) == [told]
    assert onset.days_in_words([{**row, "low": -3.0, "high": -0.1}]) == [told]
    assert onset.days_in_words([row, {**row, "low": 0.0}]) == [told, rest]
    assert onset.days_in_words([row, {**row, "low": -1.0, "high": 0.0}]) == [told, rest]
    assert onset.days_in_words([row, {**row, "low": None}]) == [told, rest]
    assert onset.days_in_words([row, {**row, "difference": None}]) == [told]
    zero = {"difference": 0.0, "difference_low": 0.0, "difference_high": 1.0}
    assert onset.shift_in_words(zero) == (
        "0.0 days later (95 % limits 0.0 days later to 1.0 days later)"
    )
    zero |= {"difference_low": -1.0, "difference_high": 0.0}
    assert onset.shift_in_words(zero).endswith("1.0 days earlier to 0.0 days later)")
    assert onset.shift_in_words({**zero, "difference_high": None}) == "0.0 days later"


def test_the_model_stands_beside_the_curve_of_its_day(full_store):
    row = {**FITTED, "model": "onset", "factor": "all", "probability": 0.8}
    store = full_store(adjusted=[{**row, "low": 0.7, "high": 0.9}])
    curve = [
        {"day": d, "laying": x, "low": 0.5, "high": 0.9}
        for d, x in ((20, 0.1), (21, 0.75))
    ]
    start = "Laying by day 21, all courses as they are: 80 % (95 % limits 70–90)"
    assert onset._beside(store, 21, curve) == (
        f"{start}; by the curve above: 75 % (95 % limits 50–90)."
    )
    assert onset._beside(store, 21, curve[:1]) == f"{start}."
    assert onset._beside(store, 21, [{**curve[1], "laying": None}]) == f"{start}."


def test_shares_stand_side_by_side_and_by_day():
    rates = [{"estimate": 0.8, "level": "x"}, None, {"estimate": None, "level": "y"}]
    assert (
        onset._side_by_side(rates, 21, "of line") == "Laying by day 21: 80 % of line x"
    )
    assert onset._side_by_side(rates[1:], 21, "of line") == ""
    rows = [
        {"level": "x", "day": day, "laying": 0.5, "low": 0.4, "high": 0.6}
        for day in (7, 8, 35)
    ]
    (table,) = table_by_day(rows, "laying", onset.TABLE_DAYS)
    assert (table["day_7"], table["day_10"], table["day_35"]) == (
        *("50 % (40–60)", "", "50 % (40–60)"),
    )
    chart = onset.onset_chart([{**rows[0], "at_risk": 3, "laying": None}], window=21)
    # nothing known: the window's day alone
    assert {"day": 21} in [row for part in data_of(chart) for row in part]


def curve(*shares):
    return [
        {"probability": share, "label": f"{at}", "courses_near": at}
        for at, share in enumerate(shares)
    ]


@pytest.mark.parametrize(
    ("shares", "said"),
    [
        ((0.5, 0.53, 0.5), "Dose: 50 % at 0; most at 1, 53 %; 50 % at 2"),
        ((0.5, 0.51, 0.5), "Dose: 50 % at 0; 50 % at 2"),
        ((0.5, 0.47, 0.6), "Dose: 50 % at 0; least at 1, 47 %; 60 % at 2"),
        ((0.6, 0.49, 0.5), "Dose: 60 % at 0; 50 % at 2"),
        ((0.5, 0.61, 0.6), "Dose: 50 % at 0; 60 % at 2"),
    ],
)
def test_a_curve_is_told_by_its_ends_and_its_turn(shares, said):
    assert adjusted.curve_said("dose", curve(*shares)) == said


def test_a_curve_marks_where_courses_lie():
    rows = [
        {**row, "value": at, "low": 0.4, "high": 0.6}
        for at, row in enumerate(curve(0.5, 0.6))
    ]
    chart = adjusted.curve_chart(rows, factor="f", question="q")
    floors = [row for part in data_of(chart) for row in part if "floor" in row]
    assert [(row["value"], row["floor"]) for row in floors] == [(1, 0)]
    none = adjusted.curve_chart(rows[:1], factor="f", question="q")
    assert len(none.to_dict()["layer"]) == 2


def test_differences_are_counted_whose_limits_lie_on_one_side():
    def row(name, low, high):
        return {"name": name, "low": low, "high": high}

    touching = [row("a", 0.0, 1.0), row("b", -1.0, 0.0), row("c", None, 1.0)]
    assert adjusted.differences_said(touching) == (
        "The limits of all 3 differences include zero"
    )
    one = [*touching, row("d", 0.1, 1.0)]
    assert adjusted.differences_said(one) == (
        "1 of 4 differences has limits on one side of zero: d"
    )
    three = [*one, row("e", -1.0, -0.1), row("f", 0.1, 1.0)]
    assert adjusted.differences_said(three).endswith(
        "have limits on one side of zero: d, e, f"
    )
    assert adjusted.differences_said([*three, row("g", 0.1, 1.0)]).endswith("of zero")


def test_a_difference_of_shares_is_told_in_points():
    row = {"risk_difference": 0.123, "low": -0.01, "high": 0.25}
    assert adjusted.points_said(row) == "+12.3 points (-1.0 to +25.0)"
    assert (
        adjusted.points_said(None)
        == adjusted.points_said({"risk_difference": None})
        == ""
    )
    chart = adjusted.difference_chart(
        [{"name": "a", "difference": 0.1, "low": 0.0, "high": 0.2}] * 2, question="q"
    )
    assert chart.to_dict()["height"] == 48
    assert data_of(chart)[0] == [{"none": 0}]
    assert np.isclose(data_of(chart)[1][0]["difference"], 0.1)
