"""The engine of filled gaps in the onset model: what fills them, and how fits join."""

from dataclasses import replace

import numpy as np
import pytest
from onset_gaps import courses_of, fitted, of_laying
from queen_outcomes.models.adjusted_factors import asked_values, set_to
from queen_outcomes.models.analysis_set import complete_rows
from queen_outcomes.models.onset_model import (
    Seen,
    fill,
    fit_values,
    in_numbers,
    join_fits,
    over_fillings,
)
from queen_outcomes.models.onset_results import fit_row
from queen_outcomes.outcomes import fills
from queen_outcomes.stats.histories.pooling import freedom_by_gaps, pool

INF = np.inf
pytestmark = pytest.mark.usefixtures("whole_fillings")


@pytest.fixture(scope="module")
def courses():
    return courses_of(500)


@pytest.fixture(scope="module")
def model(courses):
    return fitted(of_laying(courses), courses[1])


@pytest.fixture(scope="module")
def sets(model):
    return list(fill(model.courses, model.seen, fills.TIMES))


@pytest.fixture(scope="module")
def fits(model, sets):
    return [fit_values(model, filling.values) for filling in sets]


def test_what_is_known_of_laying_keeps_gaps_from_hiding_a_dose(model):
    """Filled without regard to laying, a dose would seem to matter less."""
    assert model.chance.forms[0].term.name == "dose"
    own = model.chance.owner == 0
    blind = Seen(np.full(500, 3.0), np.full(500, 60.0), np.zeros(500, bool))
    fits = [fit_values(model, part.values) for part in fill(model.courses, blind, 5)]
    slopes = [np.ptp([0, *fit.gamma[own]]) for fit in fits]
    assert np.ptp([0, *model.fit.gamma[own]]) > 1.15 * np.mean(slopes)


def test_columns_made_anew_in_part_are_those_made_anew_as_a_whole(model):
    forms = (*model.chance.forms, *model.days.forms)
    assert {form.term.name for form in forms} >= {"dose", "line", "co2_schedule"}
    for form in forms:
        for value in asked_values(form, model.predicted[form.term.column]):
            values = set_to(model.predicted, form, value)
            for part, whole in zip(
                model.changed(values), model.columns(values), strict=True
            ):
                np.testing.assert_array_equal(part, whole)


@pytest.mark.parametrize("sound", [9, 15])
def test_fillings_that_cannot_be_fitted_are_counted(model, sets, fits, sound):
    first = replace(model, fit=fits[0], filled=None, imputations=0)
    still = {"dose": np.full(500, 9.0), "line": np.full(500, "x")}
    flat = [
        replace(part, values={**part.values, **still}) if place >= sound else part
        for place, part in enumerate(sets)
    ]
    found = over_fillings(first, flat)
    if sound == 9:
        assert found.method == "none"
        assert found.message.startswith("only 9 of 20 fillings could be")
        assert fit_row(found)["imputations"] == 0
    else:
        assert found.method == "mixture"
        assert "; 5 of the fillings could not be fitted" in found.message
        # those without gaps once, the others of five fillings
        whole = len(complete_rows(model.courses))
        assert 0 < whole < 500
        assert len(found.predicted["dose"]) == whole + 5 * (500 - whole)
        assert found.worth.sum() == pytest.approx(500)


def test_what_is_known_of_laying_as_numbers():
    """Two exact layers, a wide one, two open courses, one ended unlaid, one never."""
    after = np.array([8.0, 20.0, 0.0, 5.0, 30.0, 6.0, 1e5] * 10)
    by = np.array([9.0, 21.0, 28.0, INF, INF, 9.0, INF] * 10)
    ended = np.array([False] * 5 + [True, True]).tolist() * 10
    lays, late, gone = in_numbers(Seen(after, by, np.array(ended))).T[:, :7]
    assert lays[0] == lays[1] == lays[2] > lays[3] > lays[4] > lays[6]
    assert lays[3] < 0 < lays[2]
    assert late[0] < late[2] < late[1]
    assert 0 < late[3] < late[1]  # open on day 5: if a layer, then not an early one
    assert late[6] == pytest.approx(0, abs=1e-9)
    assert gone.tolist() == [0, 0, 0, 0, 0, 1, 1]


def test_the_numbers_are_scores_and_average_to_nothing(courses):
    numbers = in_numbers(courses[1])
    np.testing.assert_allclose(numbers[:, :2].mean(axis=0), 0, atol=1e-6)
    days = np.arange(1.0, 61.0)
    surely = in_numbers(Seen(days - 1, days, np.zeros(60, bool)))
    assert (surely[:, 0] == 0).all()


def test_a_joined_contrast_is_that_of_its_own_estimates():
    """Rubin's rules of a sum of coefficients, from the sums of the fits alone."""
    draw = np.random.default_rng(5)
    betas = draw.normal(0, 0.2, (8, 3))
    covs = [np.diag(draw.uniform(0.05, 0.1, 3)) for _ in range(8)]
    contrast = np.array([1.0, -1.0, 0.5])
    alone = pool(
        [[contrast @ beta] for beta in betas],
        [[[contrast @ cov @ contrast]] for cov in covs],
    )
    pooled = pool(betas, covs)
    assert freedom_by_gaps(pooled, contrast) == pytest.approx(alone.df)
    every = freedom_by_gaps(pooled, np.eye(3)[:, :2][:2])
    assert every == pytest.approx(pooled.df[:2])


def test_joined_fits_follow_rubins_rules_and_the_fewer_degrees_of_freedom(model, fits):
    joined = join_fits(fits)
    whole = np.array([[*fit.gamma, *fit.beta, np.log(fit.sigma)] for fit in fits])
    within = np.mean([fit.cov_joint for fit in fits], axis=0)
    between = np.cov(whole, rowvar=False)
    total = within + 1.05 * between
    np.testing.assert_allclose(joined.cov_joint, total, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(joined.gamma, whole.mean(axis=0)[: len(joined.gamma)])
    assert joined.sigma == pytest.approx(np.exp(whole[:, -1].mean()))
    for j, contrast in enumerate(np.eye(len(total))):
        by_gaps = 19 / (1.05 * between[j, j] / total[j, j]) ** 2
        assert joined.df(contrast) == pytest.approx(min(by_gaps, joined.clusters - 1))
    np.testing.assert_allclose(joined.cov_joint, model.fit.cov_joint, rtol=1e-9)


def test_a_contrast_that_gaps_blur_has_fewer_degrees_of_freedom_than_batches(fits):
    """Fits that differ by far more than each is unsure of."""
    apart = [
        replace(fit, gamma=fit.gamma + 3.0 * place) for place, fit in enumerate(fits)
    ]
    joined = join_fits(apart)
    size = len(joined.cov_joint)
    assert joined.df(np.eye(size)[0]) == pytest.approx(19, rel=0.05)
    assert joined.df(np.eye(size)[-1]) > 30
