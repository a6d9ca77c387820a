"""The onset model where factors have gaps: filled in several times, and joined."""

import datetime as dt

import numpy as np
import pytest
from onset_gaps import courses_of, fitted, of_laying, without
from onset_records import SETTINGS, modelled, of_factor, queens
from queen_outcomes.models import onset_model, season_plan
from queen_outcomes.models.onset_model import Seen, fit_station
from queen_outcomes.models.onset_results import rows_of
from queen_outcomes.models.questions import main_terms
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.outcomes import fills
from taken_away import without_some

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("whole_fillings")]


def with_gaps(n: int = 400, share: float = 0.16) -> list[dict]:
    """Give queens whose dose and line are each missing for some, at random."""
    return without_some(queens(n), ("dose_ul", "line"), share)


@pytest.fixture(scope="module")
def gappy():
    return modelled(with_gaps())


@pytest.fixture(scope="module")
def whole():
    return modelled(queens(400))


@pytest.fixture(scope="module")
def courses():
    return courses_of(500)


def test_gaps_are_filled_in_and_every_course_is_in_the_model(gappy, whole):
    (fit,), (before,) = gappy["model_fits"], whole["model_fits"]
    assert (fit["method"], fit["imputations"]) == ("mixture", fills.TIMES)
    assert (fit["rows"], fit["events"]) == (400, before["events"])
    complete = sum(
        q["dose_ul"] is not None and q["line"] is not None for q in with_gaps()
    )
    assert complete < 0.8 * 400
    assert f"{complete} of 400 courses are complete in every factor;" in fit["message"]
    assert "gaps in the factors were filled in 20 times, assuming" in fit["message"]
    assert "figures stand on them" not in fit["message"]


def test_with_gaps_at_random_the_figures_are_those_without_gaps(gappy, whole):
    for table, value in (("adjusted", "probability"), ("onset_days", "days")):
        before, after = (
            {(row["factor"], row["label"]): row for row in rows[table]}
            for rows in (whole, gappy)
        )
        assert after
        assert before.keys() == after.keys()
        for key, row in after.items():
            reach = row["high"] - row["low"]
            assert abs(row[value] - before[key][value]) < 0.25 * reach
            assert reach > 0.95 * (before[key]["high"] - before[key]["low"])


def test_every_factor_of_a_filled_model_has_a_test_and_limits(gappy):
    assert {row["term"] for row in gappy["model_terms"]} >= {
        *("chance: dose", "chance: line", "days: dose", "days: co2_schedule")
    }
    assert all(0 <= row["p"] <= 1 for row in gappy["model_terms"])
    assert gappy["model_coefficients"]
    for row in gappy["model_coefficients"]:
        assert row["low"] < row["estimate"] < row["high"]
    assert of_factor(gappy, "contrasts", "dose")
    for row in of_factor(gappy, "contrasts", "dose"):
        assert row["low"] < row["risk_difference"] < row["high"]


def test_the_order_of_records_does_not_change_what_is_filled_in(gappy):
    assert repr(modelled(with_gaps(), shuffle=5)) == repr(gappy)


def test_gaps_that_depend_on_laying_mislead_complete_courses_and_hardly_the_filled(
    courses,
):
    values, seen = of_laying(courses), courses[1]
    there = np.isfinite(values["dose"]) & (values["line"] != "")
    some = {name: column[there] for name, column in values.items()}
    models = {
        "whole": fitted(*courses),
        "complete": fitted(some, seen.take(np.flatnonzero(there))),
        "filled": fitted(values, seen),
    }
    assert models["filled"].imputations == fills.TIMES
    laying, days = {}, {}
    for name, model in models.items():
        rows = rows_of(model, (21,))
        (every,) = of_factor(rows, "adjusted", "all")
        shares = [every, *of_factor(rows, "adjusted", "dose")]
        laying[name] = np.array([row["probability"] for row in shares])
        days[name] = of_factor(rows, "onset_days", "co2_schedule")[1]["difference"]
    away = {name: np.abs(laying[name] - laying["whole"]) for name in laying}
    assert away["complete"][0] > 0.08
    assert away["filled"][0] < 0.01
    assert away["filled"].max() < 0.4 * away["complete"].max()
    assert days["filled"] == pytest.approx(days["whole"], abs=0.3)


def test_gaps_in_a_factor_that_is_not_chosen_cost_no_course(courses):
    values, seen = courses
    early = np.arange(120)
    draw = np.random.default_rng(2)
    part = {name: column[early] for name, column in values.items()}
    gaps = {"dose": early < 2, "experience": draw.random(120) < 0.17}
    assert (gaps["dose"] | gaps["experience"]).mean() > 0.1
    model = fitted(without(part, gaps), seen.take(early))
    assert "experience" not in {term.name for term in model.form.terms}
    assert (model.method, model.imputations) == ("mixture", 0)
    assert len(model.courses.y) == 120 - gaps["dose"].sum()
    assert "and these figures stand on them" in model.message


def test_factors_are_chosen_on_one_filling_and_figures_stand_on_all(courses, monkeypatch):
    asked = []

    def nothing(courses, seen, times):
        asked.append(times)
        return iter(())

    monkeypatch.setattr(onset_model, "fill", nothing)
    with pytest.raises(StopIteration):
        fitted(of_laying(courses), courses[1])
    assert asked == [1, fills.TIMES]


def test_without_one_complete_course_there_is_a_model_all_the_same(courses):
    values, seen = courses
    turn = np.arange(500) % 6
    names = ("dose", "line", "experience", "queen_age", "semen_age", "drone_age")
    draw = np.random.default_rng(1)
    made = {name: draw.normal(9, 2, 500).round() for name in names[3:]}
    gaps = {name: turn == place for place, name in enumerate(names)}
    model = fitted(without({**values, **made}, gaps), seen)
    assert (model.method, model.imputations) == ("mixture", fills.TIMES)
    assert "0 of 500 courses are complete in every factor" in model.message


def test_without_a_factor_recorded_often_enough_the_reason_is_said(courses):
    values, seen = courses
    odd = np.arange(500) % 2 == 0
    asked = [term for term in main_terms(SETTINGS) if term.name in ("dose", "line")]
    gone = without(values, {"dose": odd, "line": ~odd})
    model = fit_station(gone, seen, asked, ("line",), 21)
    assert (model.method, model.imputations) == ("none", 0)
    assert "no factor is left to compare" in model.message
    assert model.left_out[0] == "dose, line: recorded for 50 % of courses"


def test_a_seasons_form_is_kept_with_gaps(tmp_path):
    plan = SeasonPlan("2026", dt.date(2026, 5, 2))
    first = modelled(with_gaps(400), plan=plan)
    season_plan.write(tmp_path, plan)
    later = season_plan.read(tmp_path, "2026", dt.date(2026, 6, 1))
    kept = modelled(with_gaps(500), plan=later)
    forms, fits = zip(
        *(
            ([(row["term"], row["df"]) for row in rows["model_terms"]], fit)
            for rows in (first, kept)
            for fit in rows["model_fits"]
        ),
        strict=True,
    )
    assert forms[0] == forms[1]
    assert [(fit["imputations"], fit["rows"]) for fit in fits] == [(20, 400), (20, 500)]
    assert fits[0]["left_out"] == fits[1]["left_out"]
    again = season_plan.read(tmp_path, "2026", dt.date(2026, 5, 2))
    assert repr(modelled(with_gaps(400), plan=again)) == repr(first)


def test_where_everybody_lays_gaps_are_filled_in_too():
    values = courses_of(300)[0]
    draw = np.random.default_rng(4)
    laid = draw.uniform(4, 20, 300).round()
    aged = {**values, "queen_age": (laid / 3 + draw.normal(0, 1, 300)).round()}
    gaps = {name: draw.random(300) < 0.16 for name in ("dose", "queen_age")}
    model = fitted(without(aged, gaps), Seen(laid - 2, laid, np.zeros(300, bool)))
    assert (model.method, model.fit.kind) == ("mixture", "everybody")
    assert (model.imputations, len(model.courses.y)) == (fills.TIMES, 300)
    rows = rows_of(model, (14,))
    assert not any(r["term"].startswith("chance") for r in rows["model_coefficients"])
    for row in [*of_factor(rows, "adjusted", "all"), *rows["onset_days"]]:
        value = row.get("probability", row.get("days"))
        assert row["low"] < value < row["high"]
