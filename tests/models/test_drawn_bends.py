"""Factors whose bend the budget does not pay for: drawn to a line, not forced onto one."""

from dataclasses import replace

import numpy as np
import pytest
from modelled import fit_courses
from queen_outcomes.models.adjusted_factors import (
    aliases,
    ask,
    compared_values,
    contrast_rows,
    label_of,
)
from queen_outcomes.models.analysis_set import analysis_set
from queen_outcomes.models.choose import _independent, as_earlier, take_earlier
from queen_outcomes.models.questions import read_form, write_form
from queen_outcomes.models.terms import MAIN, coarsen, find_form, straightened
from queen_outcomes.stats.logistic.adjusted import contrast
from scipy.special import expit
from scipy.stats import norm

TERMS = tuple(MAIN[name] for name in ("dose", "drone_age", "queen_age", "line"))
AGES = (14.0, 20.0)


def station(seed, bend, courses=180):
    """Give a station's values and answers, and the true difference of the youngest drones.

    Drones are best at 19 days: with ``bend`` 1 the log odds fall by 1.6 to 14 days and to 24.
    """
    rng = np.random.default_rng(seed)
    names = ("operator", "graft_batch", "semen_batch", "co2_schedule")
    values = {name: np.full(courses, "") for name in names} | {
        "dose": rng.uniform(6, 12, courses),
        "drone_age": rng.integers(12, 27, courses).astype(float),
        "queen_age": rng.integers(5, 12, courses).astype(float),
        "line": rng.choice(["x", "y"], courses),
    }
    other = 1.0 + 1.2 * bend + 0.1 * (values["dose"] - 9) + 0.3 * (values["line"] == "x")

    def chance(age):
        return expit(other - bend * 1.6 * ((age - 19) / 5) ** 2)

    answer = (rng.random(courses) < chance(values["drone_age"])).astype(float)
    young, usual = (chance(age).mean() for age in AGES)
    return values, answer, young - usual


def fitted(values, answer, terms=TERMS):
    return fit_courses(analysis_set(values, answer, terms), ())


def of_age(found):
    (form,) = [f for f in found.design.forms if f.term.name == "drone_age"]
    return form, found.design.forms.index(form)


def difference(found):
    form, _ = of_age(found)
    asked = ask(found, form, AGES)
    return contrast(asked.adjusted, 0, 1, df=np.inf).difference


@pytest.fixture(scope="module")
def bent():
    return fitted(*station(0, 1.0)[:2])


def test_the_bend_stays_where_the_budget_pays_for_a_line(bent):
    form, number = of_age(bent)
    assert (form.is_drawn, form.cost, form.df) == (True, 1, 2)
    assert form.said.startswith("bend, drawn to a line")
    assert sum(f.cost for f in bent.design.forms) <= bent.courses.rarer // 10
    shares = ask(bent, form, (12.0, 19.0, 26.0)).adjusted.probability
    assert shares[1] > max(shares[0], shares[2])
    assert bent.tests[number].p < 0.05


def covered(bend, terms=TERMS, stations=60):
    held, found = 0, 0
    for seed in range(stations):
        values, answer, truth = station(seed, bend)
        one = fitted(values, answer, terms)
        if one.method == "none":
            continue
        told = difference(one)
        held += told.low <= truth <= told.high
        found += 1
    assert found > 0.95 * stations
    return held / found


@pytest.mark.slow
def test_limits_hold_a_truth_that_bends_and_one_that_does_not():
    # two binomial errors of 60 stations are 5.6 points
    assert covered(1.0) > 0.88
    assert covered(0.0) > 0.89


@pytest.mark.slow
def test_a_line_by_the_station_s_wish_holds_it_too_seldom():
    straight = tuple(replace(t, knots=0) if t.name == "drone_age" else t for t in TERMS)
    assert covered(1.0, straight) < 0.6


@pytest.mark.slow
def test_a_factor_without_effect_is_found_as_often_as_stated():
    p = []
    for seed in range(120):
        values, answer, _ = station(1000 + seed, 0.0)
        one = fitted(values, answer)
        _, number = of_age(one)
        p.append(one.tests[number].p)
    assert 0.008 <= np.mean(np.array(p) < 0.05) <= 0.09


def test_few_of_the_rarer_answer_leave_a_line():
    values, answer, _ = station(4, 0.0, courses=45)
    found = fitted(values, answer)
    assert found.courses.rarer < 20
    assert found.method == "firth"
    assert not any(form.is_drawn for form in found.design.forms)


def test_a_season_s_file_keeps_which_bends_are_drawn(bent):
    earlier = read_form(write_form(as_earlier(bent.design)))
    again = take_earlier(replace(bent.courses, terms=earlier.terms), earlier, fixed=())
    assert again.names == bent.design.names
    assert np.array_equal(again.pull, bent.design.pull)
    assert again.pull.any()


def test_a_file_from_before_bends_were_drawn_gives_the_lines_it_fixed(bent):
    section = write_form(as_earlier(bent.design))
    section["knots"] = {}
    del section["drawn"]
    earlier = read_form(section)
    again = take_earlier(replace(bent.courses, terms=earlier.terms), earlier, fixed=())
    assert len(again.names) == 5
    assert not again.pull.any()


def test_differences_are_those_of_everyone_at_the_value_and_at_the_usual_one(bent):
    """Set every course to the value and average; the errors by slopes taken numerically."""
    rows = contrast_rows(bent, aliases(bent))
    assert {row["factor"] for row in rows} == {form.term.name for form in bent.design.forms}
    for form in bent.design.forms:
        own = [row for row in rows if row["factor"] == form.term.name]
        column = form.term.column
        usual, others = compared_values(form, bent.courses.values[column])
        assert [row["value"] for row in own] == [label_of(form, value) for value in others]
        for row, value in zip(own, others, strict=True):
            assert row["reference"] == label_of(form, usual)
            every = [
                bent.design.matrix({**bent.courses.values, column: np.full(len(bent.X), x)})
                for x in (value, usual)
            ]

            def share(beta, every=every):
                return np.array([expit(X @ beta).mean() for X in every])

            one, other = share(bent.beta)
            assert row["risk_difference"] == pytest.approx(one - other, abs=1e-9)
            step = 1e-5 * np.eye(len(bent.beta))
            slope = [np.diff(share(bent.beta - h) - share(bent.beta + h))[0] / 2e-5 for h in step]
            se = np.sqrt(slope @ bent.cov @ slope)
            reach = norm.isf(0.025) * se
            assert row["low"] == pytest.approx(one - other - reach, abs=1e-5)
            assert row["high"] == pytest.approx(one - other + reach, abs=1e-5)
            assert row["p"] == pytest.approx(2 * norm.sf(abs(one - other) / se), abs=1e-4)


def test_a_bend_goes_with_its_line_and_a_part_that_is_alike_goes_alone():
    rng = np.random.default_rng(6)
    age = rng.integers(12, 27, 200).astype(float)
    # the dose is the drones' age in other units
    queen_age = rng.integers(5, 12, 200).astype(float)
    values = {"drone_age": age, "dose": 2.0 * age, "queen_age": queen_age}

    def form(name, turns=0):
        found = find_form(MAIN[name], values)
        for _ in range(turns):
            found = coarsen(found, values, drawn=True)
        return found

    bend = form("drone_age", 2)
    assert bend.is_drawn
    alone = _independent([bend, form("queen_age")], values, [], "")
    assert [f.term.name for f in alone.forms] == ["drone_age", "queen_age"]
    assert alone.left_out == ()
    assert alone.owner.tolist()[:3] == [-1, 0, 0]
    line = straightened(form("dose", 2))
    behind = _independent([line, bend], values, [], "")
    # its bend alone could be told from the dose's line, and would be drawn to no effect
    assert [f.term.name for f in behind.forms] == ["dose"]
    assert behind.left_out == ("age of the drones: cannot be told apart from those before it",)
    free = form("drone_age")
    assert not free.is_drawn
    in_part = _independent([line, free], values, [], "")
    assert [f.term.name for f in in_part.forms] == ["dose", "drone_age"]
    assert in_part.left_out == ("age of the drones: in part the same as those before it",)
    assert np.sum(in_part.owner == 1) == free.df - 1
