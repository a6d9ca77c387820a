"""How well operators and batches let the error of a factor be known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from queen_outcomes.facts.settings import Models, Settings
from queen_outcomes.models.analysis_set import analysis_set
from queen_outcomes.models.filled import fit_filled, group_freedom
from queen_outcomes.models.fit import Fitted, find_design, slope_test
from queen_outcomes.models.questions import main_terms
from queen_outcomes.models.terms import MAIN
from queen_outcomes.stats.logistic.plain import wald_test

N, GRAFT = 400, 20


def values(**changed):
    """Give courses of 20 graft batches, 8 operators, and semen batches across both."""
    rng, number = np.random.default_rng(4), np.arange(N)
    return {
        "operator": np.char.add("o", rng.integers(8, size=N).astype(str)),
        "graft_batch": np.char.add("g", (number // GRAFT).astype(str)),
        "semen_batch": np.char.add("s", rng.integers(40, size=N).astype(str)),
        "line": np.char.add("l", rng.integers(2, size=N).astype(str)),
        "dose": rng.choice([6.0, 8.0, 10.0, 12.0], N),
        "queen_age": rng.permutation(np.repeat([5.0, 6.0, 8.0, 9.0], 5))[
            number // GRAFT
        ],
        "day_of_year": 121.0 + number * 90 / N,
        **changed,
    }


def design_of(given, terms=("dose", "queen_age", "line")):
    rng = np.random.default_rng(1)
    asked = [MAIN[name] for name in terms]
    courses = analysis_set(given, (rng.random(N) < 0.7).astype(float), asked)
    found = find_design(courses, ())
    assert not isinstance(found, Fitted)
    return found, found.matrix(courses.values), courses.values


def freedom(given, terms=("dose", "queen_age", "line")) -> dict[str, float]:
    """Give each factor's fewest degrees of freedom."""
    design, X, known = design_of(given, terms)
    found = group_freedom(design, X, known)
    assert np.isinf(found[0])
    return {
        form.term.name: found[design.columns_of(number)].min()
        for number, form in enumerate(design.forms)
    }


def test_what_is_the_same_within_batches_has_the_freedom_of_the_batches():
    told = freedom(values(), ("queen_age",))
    design, *_ = design_of(values(), ("queen_age",))
    columns = len(design.columns_of(0))
    assert told["queen_age"] == pytest.approx(N / GRAFT - 1 - columns)


def test_what_varies_course_by_course_hardly_hangs_on_the_groups():
    told = freedom(values())
    assert told["dose"] > 400
    assert told["line"] > 400


def test_nearly_the_same_within_batches_is_nearly_as_little():
    whole = freedom(values(), ("season",))["season"]
    assert whole < 25  # 20 batches of 4.5 days each
    rng = np.random.default_rng(2)
    dates = values()["day_of_year"]
    apart = freedom(values(day_of_year=rng.permutation(dates)), ("season",))
    assert apart["season"] > 400


def test_the_part_between_groups_is_that_of_a_regression_on_them():
    # external: statsmodels' R squared of each column on the groups
    design, X, known = design_of(values(), ("dose", "season"))
    parts = {}
    for kind in ("operator", "graft_batch", "semen_batch"):
        _, code = np.unique(known[kind], return_inverse=True)
        dummies = np.eye(code.max() + 1)[code]
        parts[kind] = np.array([sm.OLS(x, dummies).fit().rsquared for x in X[:, 1:].T])
    groups = {"operator": 8, "graft_batch": 20, "semen_batch": 40}
    wanted = np.min(
        [
            max(groups[kind] - 1 - part.sum(), 1) / part**2
            for kind, part in parts.items()
        ],
        axis=0,
    )
    assert group_freedom(design, X, known)[1:] == pytest.approx(wanted)


def test_courses_without_a_batch_tell_nothing_of_batches():
    given = values()
    lost = given["graft_batch"].copy()
    lost[::2] = ""
    some = freedom({**given, "graft_batch": lost}, ("queen_age",))
    assert some == freedom(given, ("queen_age",))
    nobody = freedom({**given, "graft_batch": np.full(N, "")}, ("queen_age",))
    assert nobody["queen_age"] > some["queen_age"]


@pytest.mark.slow
def test_the_time_of_year_is_tested_by_the_batches_that_it_lies_between():
    settings = Settings(models=Models(("dose", "queen_age"), ("season",)))
    given, rng = values(), np.random.default_rng(3)
    # batches differ, and nothing else does
    odds = 1.0 + rng.normal(0, 0.8, N)[np.arange(N) // GRAFT]
    yes = (odds + rng.logistic(size=N) > 0).astype(float)
    courses = analysis_set(given, yes, main_terms(settings))
    settled = replace(courses, answers=np.tile(courses.y, (2, 1)))
    fitted = fit_filled(settled, settings.models.adjust_for)
    names = [form.term.name for form in fitted.design.forms]
    number = names.index("season")
    columns = fitted.design.columns_of(number)
    test = slope_test(fitted, columns)
    df = fitted.group_df[columns].min()
    assert df < 25
    assert test == fitted.tests[number]
    told = (fitted.beta, fitted.cov, columns)
    pull = fitted.design.pull
    # Barnard and Rubin leave a little less than the whole's, also without any gap
    assert test.p == pytest.approx(wald_test(*told, df=df, pull=pull).p, abs=0.01)
    assert (
        test.p >= wald_test(*told, df=df, pull=pull).p > wald_test(*told, pull=pull).p
    )
