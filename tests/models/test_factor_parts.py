"""The small parts that models are chosen and told by, on values written out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from queen_outcomes.models import adjusted_factors as told
from queen_outcomes.models import choose
from queen_outcomes.models import fit as models_fit
from queen_outcomes.models.analysis_set import AnalysisSet
from queen_outcomes.models.choose import FEWEST_GROUPS, few_groups, is_between
from queen_outcomes.models.filled import (
    UNKNOWN,
    _mixed,
    _share_between,
    _shift,
    fit_filled,
    freedom_of_cases,
)
from queen_outcomes.models.fit import BEYOND, LEVELS, RARE, _as_levels, groupings
from queen_outcomes.models.onset_model import NARROW, WIDE, _is_of_spread
from queen_outcomes.models.results import deviation_limits
from queen_outcomes.models.terms import BENCH, MAIN, OTHER, Form, find_form
from queen_outcomes.stats.logistic.mixed import fit_mixed
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import norm

LINE = Form(MAIN["line"], levels=("b", "a", OTHER))
DOSE = Form(MAIN["dose"])


def words(*texts):
    return np.array(texts)


# --- values of a factor


def test_a_course_is_near_the_value_it_has_or_is_joined_to():
    x = words("a", "b", "zork", "")
    assert told.nearest(LINE, x, ("a", OTHER)).tolist() == [0, -1, 1, -1]
    assert told.nearest(LINE, x, ("b",)).tolist() == [-1, 0, -1, -1]
    doses = np.array([8.0, 9.0, 9.1, np.nan, 20.0])
    # half way between two values the first one counts
    assert told.nearest(DOSE, doses, (8.0, 10.0)).tolist() == [0, 0, 1, -1, 1]
    rows = told.value_rows(DOSE, doses, (8.0, 10.0))
    assert [(row["value"], row["courses_near"]) for row in rows] == [(8.0, 2), (10.0, 2)]


def test_a_value_is_named_as_people_know_it():
    names = {
        "dose": (8.25, "8.25 uL"),
        "experience": (math.log(12.4), "12 cases"),
        "semen_age": (math.log1p(240.4), "240 h"),
        "season": (152.2, "1 June"),
        "queen_age": (9.0, "9 days"),
    }
    for name, (value, said) in names.items():
        assert told.label_of(Form(MAIN[name]), value) == said
    assert told.label_of(LINE, "b") == "b"
    assert told.label_of(Form(BENCH["dose_error"]), 99.95) == "100 uL"


def test_few_values_are_shown_each_and_whole_numbers_between_the_edges():
    six = np.repeat([6.0, 8.0, 9.0, 10.0, 12.0, 14.0], 3)
    assert told.asked_values(DOSE, six) == (6.0, 8.0, 9.0, 10.0, 12.0, 14.0)
    days = np.arange(30.0)
    # 2 % of 29 is 0.58, 98 % is 28.42
    assert told.asked_values(Form(MAIN["queen_age"]), days) == tuple(np.arange(1.0, 29.0))
    halves = told.asked_values(DOSE, np.arange(0.0, 15.0, 0.5))
    assert len(halves) == told.GRID
    assert halves[0] == pytest.approx(0.29)
    many = told.asked_values(DOSE, np.arange(33.0))
    assert len(many) == told.GRID
    assert told.asked_values(LINE, words("a")) == ("a", "b", OTHER)


def test_the_usual_value_is_the_commonest_or_the_middle_one():
    assert told.compared_values(DOSE, np.array([8.0, 8.0, 6.0, np.nan])) == (8.0, (6.0,))
    # quartiles of 0 to 8
    assert told.compared_values(DOSE, np.arange(9.0)) == (4.0, (2.0, 6.0))
    assert told.compared_values(LINE, words()) == ("b", ("a", OTHER))


def test_a_changed_schedule_is_taken_at_the_usual_time_between_exposures():
    values = {"co2_schedule": words("x", "y"), "co2_gap": np.array([24.0, 48.0])}
    changed = told.set_to(values, Form(MAIN["co2_schedule"]), "z")
    assert changed["co2_schedule"].tolist() == ["z", "z"]
    assert np.isnan(changed["co2_gap"]).all()
    assert values["co2_gap"].tolist() == [24.0, 48.0]
    gap = told.set_to(values, Form(MAIN["co2_gap"]), 12.0)
    assert (gap["co2_gap"].tolist(), gap["co2_schedule"].tolist()) == ([12, 12], ["x", "y"])


# --- whether two values meet


def met(*cells, name="operator"):
    """Give the one cell told: courses are (group, how many of one value, of the other)."""
    group = [g for g, one, other in cells for _ in range(one + other)]
    dose = [d for _, one, other in cells for d in [8.0] * one + [12.0] * other]
    none = np.full(len(group), "")
    values = dict.fromkeys(told.SHARED, none) | {name: words(*group), "dose": np.array(dose)}
    one = values["dose"] == 8.0
    return list(told._cells(values, DOSE, one, ~one, told.numbered_groups(values)))


def test_two_values_meet_in_cells_that_hold_both():
    assert met(("A", 10, 9), ("B", 20, 0)) == [("operator", 19 / 39, True)]
    assert met(("A", 10, 10), ("B", 0, 20)) == [("operator", 0.5, False)]
    # courses without an operator take no part, nor does a grouping that nobody has
    assert met(("A", 10, 10), ("", 9, 9)) == [("operator", 1.0, False)]
    assert met(("", 9, 9)) == []
    assert met(("A", 10, 0), ("B", 0, 20)) == [("operator", 0.0, True)]


def test_graft_batches_that_meet_are_to_be_three():
    def of(*cells):
        return met(*cells, name="graft_batch")

    assert of(("x", 10, 10), ("y", 10, 10)) == [("graft batch", 1.0, True)]
    assert of(("x", 10, 10), ("y", 10, 10), ("z", 1, 1)) == [("graft batch", 1.0, False)]
    # what is the same for a whole batch is compared between batches
    assert of(("x", 20, 0), ("y", 0, 20)) == []


def test_a_grouping_is_not_asked_of_itself():
    x = words(*["b"] * 20, *["a"] * 20)
    values = {"operator": np.full(40, "A"), "line": x, "graft_batch": np.full(40, "")}
    found = list(
        told._cells(values, LINE, x == "a", x == "b", told.numbered_groups(values))
    )
    assert found == [("operator", 1.0, False)]
    row = told.pair_row(values, LINE, ("b", "a"), 1)
    assert row == {
        "factor": "line", "value": "a", "reference": "b", "overlap": 1.0, "apart_from": ""
    }  # fmt: skip
    # one course in ten of a cell that holds both is enough
    operators = np.array(["A"] * 10 + ["B"] * 10 + ["A"] * 10 + ["C"] * 10)
    few = told.pair_row({**values, "operator": operators}, LINE, ("b", "a"), 1)
    assert (few["overlap"], few["apart_from"]) == (0.5, "")
    apart = np.array(["B"] * 20 + ["C"] * 20)
    none = told.pair_row({**values, "operator": apart}, LINE, ("b", "a"), 1)
    assert (none["overlap"], none["apart_from"]) == (0.0, "operator")


def test_limits_of_variance_inflation_are_met_by_what_reaches_them():
    near = told.Alias("tip", told.NO_VERDICT)
    assert (near.is_compared, near.is_tested) == (True, False)
    assert near.said == "not told apart from the tip: no P"
    assert not told.Alias("tip", told.NO_FIGURE).is_compared
    few = told.Alias("", 1.0, "describes these 2 seasons: no P")
    assert (few.is_tested, few.said) == (False, "describes these 2 seasons: no P")
    assert told.Alias("", 4.9).is_tested


# --- groups


@pytest.mark.parametrize("at_once", [500, 1])
def test_a_factor_lies_between_batches_where_each_has_one_value_of_it(monkeypatch, at_once):
    monkeypatch.setattr(choose, "AT_ONCE", at_once)
    batch = words("x", "x", "y", "")
    assert is_between(words("a", "a", "b", "c"), batch)
    assert is_between(words("a", "", "b", "b"), batch)
    assert not is_between(words("a", "b", "b", "b"), batch)
    assert is_between(np.array([1.0, np.nan, 2.0, 3.0]), batch)
    assert not is_between(words("a", "a"), words("", ""))


def test_of_a_handful_of_groups_there_is_no_p():
    def said(count, column="operator"):
        group = np.repeat([f"G{n}" for n in range(count)], 2)
        return few_groups(MAIN["dose"], {"dose": np.repeat(np.arange(count) / 1.0, 2), column: group})

    assert said(FEWEST_GROUPS - 1) == "describes these 4 operators: no P"
    assert said(FEWEST_GROUPS) == ""
    assert said(1) == "describes these 1 operators: no P"
    assert said(2, "graft_batch") == "describes these 2 graft batches: no P"
    assert said(3, "year") == "describes these 3 seasons: no P"
    within = {"dose": np.array([1.0, 2.0]), "operator": words("A", "A")}
    assert few_groups(MAIN["dose"], within) == ""


def grouped(levels, rows):
    """Give groupings of rows in so many levels, evenly."""
    names = np.array([f"G{n % levels}" if levels else "" for n in range(rows)])
    values = {"operator": names, "graft_batch": np.full(rows, ""), "semen_batch": np.full(rows, "")}
    return groupings(SimpleNamespace(values=values))


def test_groups_are_random_where_there_are_enough_of_them_and_courses_beside():
    assert grouped(LEVELS, LEVELS + BEYOND) == (["operator"], [])
    assert grouped(LEVELS, LEVELS + BEYOND - 1) == ([], [])
    assert grouped(LEVELS - 1, 60) == ([], ["operator"])
    assert grouped(2, 60) == ([], ["operator"])
    assert grouped(1, 60) == grouped(0, 60) == ([], [])


@pytest.mark.parametrize(
    ("batches", "are_levels"),
    [("xxx", False), ("xxy", True), ("xx-", True), ("xyz", False), ("xy-", False), ("---", False)],
)
def test_batches_are_levels_where_there_are_two_and_one_holds_several_courses(batches, are_levels):
    """A course without a batch ('-') stands alone."""
    batch = words(*batches.replace("-", " "))
    courses = SimpleNamespace(values={"graft_batch": np.char.strip(batch)}, y=np.zeros(3))
    assert _as_levels(courses) == ["graft_batch"] * are_levels


def test_cases_have_as_many_stories_as_operators_less_one():
    values = {"operator": words("A", "A", "B", "", "C")}
    assert freedom_of_cases(MAIN["experience"], values) == 2
    assert freedom_of_cases(MAIN["experience"], {"operator": words("A", "")}) == 1
    assert freedom_of_cases(MAIN["dose"], values) == np.inf


def test_intercepts_of_several_fillings_are_joined_by_rubin_s_rules():
    """Rubin 1987: the mean variance within, and 1 + 1 / m times that between (from memory)."""
    modes = np.array([[0.1, -0.3], [0.4, -0.3], [0.7, -0.6]])
    errors = np.array([[0.2, 0.5], [0.3, 0.5], [0.4, 0.5]])
    one = fit_mixed(np.ones((8, 1)), np.arange(8) % 2, {"a": np.arange(8) // 4, "b": np.arange(8) % 4})
    fits = [
        replace(one, modes={"a": mode, "b": mode[:1]}, mode_se={"a": error, "b": error[:1]})
        for mode, error in zip(modes, errors, strict=True)
    ]
    pooled = SimpleNamespace(beta=np.array([-1.0, 0.5, 0.0]), cov=np.eye(3))
    joined = _mixed(fits, pooled)
    assert joined.theta_sd == {"a": 0.5, "b": 0.0}
    assert joined.sd_at_zero == ("b",)
    assert joined.cov_joint is pooled.cov
    assert joined.modes["a"] == pytest.approx([0.4, -0.4])
    # 0.04, 0.09 and 0.16 within; three tenths off the mean each way, 0.18 / 2
    expected = np.sqrt([0.29 / 3 + 4 / 3 * 0.09, 0.25 + 4 / 3 * 0.03])
    assert joined.mode_se["a"] == pytest.approx(expected)
    assert joined.mode_se["b"] == pytest.approx(expected[:1])
    alone = _mixed(fits[:1], pooled)
    assert alone.mode_se["a"] == pytest.approx(errors[0])


def test_a_column_s_squares_lie_between_groups_and_within():
    """Means 1 and 3 about 2: four of four and a half; the second varies within alone."""
    X = np.array([[1.0, 0.0, 5.0], [1.0, 1.0, 5.0], [2.5, 0.0, 5.0], [3.5, 1.0, 5.0]])
    found = _share_between(X, np.array([0, 0, 1, 1]))
    assert found == pytest.approx([4 / 4.5, 0.0, 0.0])


# --- forms and limits


def test_two_common_values_have_a_line_and_three_may_bend():
    def knots(**counts):
        dose = np.repeat([float(name[1:]) for name in counts], list(counts.values()))
        return find_form(MAIN["dose"], {"dose": dose}).knots.tolist()

    assert knots(d6=10, d8=120, d12=200) == [6, 8, 12]
    assert knots(d6=9, d8=120, d12=200) == []
    assert knots(d8=120, d12=200) == []


def test_a_deviation_has_its_limits_on_the_logarithm():
    """exp(log sd -+ 1.96 se / sd): the delta method, as for any positive parameter."""

    def limits(sd, variance):
        mixed = SimpleNamespace(
            theta_sd={"a": 9.0, "b": sd},
            names=["a", "b"],
            cov_joint=np.diag([7.0, 7.0, 7.0, variance]),
        )
        return deviation_limits(SimpleNamespace(mixed=mixed, beta=np.zeros(2)), "b")

    arm = norm.isf(0.025) * 0.1 / 0.5
    found = limits(0.5, 0.01)
    assert (found["low"], found["high"]) == pytest.approx((0.5 * math.exp(-arm), 0.5 * math.exp(arm)))
    none = {"low": None, "high": None}
    assert limits(0.0, 0.01) == limits(0.5, 0.0) == limits(0.5, -1.0) == none
    assert limits(1e-3, 1.0)["high"] == pytest.approx(1e-3 * math.exp(50))


def test_the_days_spread_is_at_fault_where_it_runs_to_an_end():
    def at_fault(sigma):
        return _is_of_spread(SimpleNamespace(sigma=sigma))

    assert at_fault(NARROW / 2)
    assert at_fault(WIDE * 2)
    assert not at_fault((NARROW * WIDE) ** 0.5)
    assert not at_fault(np.nan)


def test_chances_averaged_over_hands_are_moved_to_the_headline():
    """Held against the integral itself: weights count courses, not their logits."""
    eta, weights, deviations = np.array([-1.0, 0.5, 2.0]), np.array([1.0, 3.0, 0.5]), np.array([0.6, 0.8])
    fitted = SimpleNamespace(
        predicted_weights=weights,
        predicted_X=eta[:, None],
        beta=np.array([1.0]),
        deviations=deviations,
        courses=SimpleNamespace(answers=np.array([[1.0, 0.0, 1.0, np.nan], [1.0, 0.0, 0.0, 1.0]])),
    )
    shift = _shift(fitted)

    def chance(x):  # deviations of 0.6 and 0.8 together are 1
        return quad(lambda z: expit(x + shift + z) * norm.pdf(z), -9, 9)[0]

    share = (2 / 3 + 0.5) / 2
    assert weights @ [chance(x) for x in eta] / weights.sum() == pytest.approx(share, abs=1e-5)


def test_without_fillings_or_courses_there_is_no_model():
    for answers, y in ((np.empty((0, 3)), np.ones(3)), (np.empty((6, 0)), np.empty(0))):
        courses = SimpleNamespace(answers=answers, y=y, message="")
        found = fit_filled(courses, ())
        assert (found.method, found.message) == ("none", UNKNOWN)
        # the constant alone is kept, and no factor owns it
        design = found.design
        assert [design.kept.tolist(), design.owner.tolist()] == [[0], [-1]]
        assert (design.names, design.pull.tolist()) == (("constant",), [0])


@pytest.mark.parametrize(
    ("weight", "method", "rarer"), [(0.0, "penalised", RARE), (1.0, "clustered", RARE + 1), (None, "clustered", RARE + 1)]
)
def test_who_is_not_at_risk_keeps_no_factor_from_telling_answers_apart(monkeypatch, weight, method, rarer):
    """All courses with the one number said yes, but for a course that may not be at risk."""
    y = np.repeat([1.0, 1.0, 0.0, 0.0], [RARE + 9, 1, RARE, 1])
    x = np.repeat([1.0, -1.0, -1.0, 1.0], [RARE + 9, 1, RARE, 1])
    weights = None if weight is None else np.append(np.ones(len(y) - 1), weight)
    courses = AnalysisSet({}, y, (), np.arange(len(y)), (), "", len(y), weights=weights)
    design = SimpleNamespace(
        matrix=lambda _: np.column_stack([np.ones(len(y)), x]), pull=np.zeros(2), names=("all", "x")
    )
    monkeypatch.setattr(models_fit, "straight", lambda same, _: same)
    monkeypatch.setattr(models_fit, "_penalised", lambda *_: "penalised")
    monkeypatch.setattr(models_fit, "fit_clustered", lambda *_: "clustered")
    assert courses.rarer == rarer
    assert models_fit.by_method(courses, design, []) == method
