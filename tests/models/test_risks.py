"""The risk of failing at the average hand, as it is taken out of a model and written down."""

import json
from dataclasses import replace

import numpy as np
import pytest
from modelled import LAYING, modelled, queens
from queen_outcomes.audit.cases import read_risk_model
from queen_outcomes.facts.settings import Models
from queen_outcomes.models.closed import read_closed, read_factors
from queen_outcomes.models.risks import read_risks, write_risks

QUESTION = ("laying", 21)


@pytest.fixture(scope="module")
def usual():
    return modelled(queens(300))


def cases_of(store):
    model = read_risk_model(store, QUESTION)
    cases = read_closed(store, read_factors(store, {}), QUESTION, 7)
    return model, cases.with_risk(model.risks(cases.values)), cases.values


def test_expected_failures_add_up_to_the_observed(usual):
    _, cases, _ = cases_of(usual)
    counted = cases.counted
    assert cases.risk.sum() == pytest.approx(cases.failures.sum(axis=1).mean())
    assert ((cases.risk[counted] > 0) & (cases.risk[counted] < 1)).all()


def test_a_low_dose_has_the_higher_risk(usual):
    _, cases, values = cases_of(usual)
    low = values["dose"] < 9
    assert np.nanmean(cases.risk[low]) > np.nanmean(cases.risk[~low]) + 0.1


def test_who_operates_does_not_change_the_risk(usual):
    model, cases, values = cases_of(usual)
    swapped = {**values, "operator": np.full(len(cases), "somebody else")}
    np.testing.assert_array_equal(model.risks(swapped), cases.risk)


@pytest.mark.slow
@pytest.mark.parametrize("adjust_for", [("line",), ("line", "tip")])
def test_how_she_works_is_expected_of_nobody_unless_asked_for(adjust_for):
    made = queens(240)
    for number, queen in enumerate(made):
        queen["tip"] = "fine" if number % 2 else "wide"
        queen["lays"] = queen["lays"] and (number % 2 or number % 6)
    settings = replace(LAYING, models=Models(("dose", "tip"), adjust_for))
    store = modelled(made, settings=settings)
    terms = "SELECT term FROM model_terms WHERE outcome = 'laying' AND model = 'main'"
    assert ("tip",) in store.rows(terms)
    model, cases, values = cases_of(store)
    swapped = {**values, "tip": np.full(len(cases), "fine")}
    same = np.array_equal(model.risks(swapped), cases.risk)
    assert same == ("tip" not in adjust_for)
    assert cases.risk.sum() == pytest.approx(cases.failures.sum(axis=1).mean())


@pytest.mark.slow
def test_few_operators_as_levels_are_averaged_out_too():
    made = queens(240)
    for number, queen in enumerate(made):
        queen["operator"] = "AB"[number % 2]
        queen["lays"] = queen["lays"] and (number % 2 or number % 6)
    model, cases, values = cases_of(modelled(made))
    swapped = {**values, "operator": np.full(len(cases), "A")}
    np.testing.assert_array_equal(model.risks(swapped), cases.risk)
    assert cases.risk.sum() == pytest.approx(cases.failures.sum(axis=1).mean())


def test_what_is_written_down_reads_back_to_the_last_digit(usual):
    model, cases, values = cases_of(usual)
    again = read_risks(json.loads(json.dumps(write_risks(model))))
    np.testing.assert_array_equal(again.risks(values), cases.risk)


def test_a_course_with_a_gap_has_the_risk_of_what_is_usual(usual):
    model, cases, values = cases_of(usual)
    gappy = {
        **values,
        "dose": np.where(np.arange(len(values["dose"])) == 0, np.nan, 8.0),
    }
    risk = model.risks(gappy)
    low, high = (
        model.risks({**gappy, "dose": np.full(len(cases), dose)})[0]
        for dose in (12.0, 6.0)
    )
    assert low < risk[0] < high
    assert np.isfinite(risk).all()


def test_without_a_model_every_course_has_the_station_s_rate():
    model, cases, _ = cases_of(modelled(queens(40, lays=True)))
    assert "no factor could be allowed for" in model.message
    assert np.unique(cases.risk).tolist() == [pytest.approx(0.5 / 41)]
