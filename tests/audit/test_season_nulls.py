"""What null seasons draw, and an operator's own past."""

from __future__ import annotations

import numpy as np
import pytest
from closed_courses import closed_courses
from queen_outcomes.audit.season_nulls import (
    OWN,
    TAU,
    _variance_se,
    own_past,
    season_deviation,
    unknowns_of,
)
from queen_outcomes.models.risks import RiskModel
from scipy.special import expit, logit

NO_BATCHES = np.zeros(2)


def flat(**deviations: float) -> RiskModel:
    """Give a model without factors: a fifth fail."""
    beta, kept = np.array([logit(0.8)]), np.zeros(1, int)
    return RiskModel((), kept, beta, 0.0, deviations, False, 1, 0)


def courses(failed, batch: int = 10, seasons: int = 1):
    n = len(failed)
    number = np.arange(n)
    days = np.datetime64("2025-05-01") + number
    return closed_courses(
        course_id=np.char.zfill(number.astype(str), 4),
        operator=np.full(n, "A"),
        year=(2020 + number * seasons // n).astype(str),
        graft_batch=np.char.add("g", (number // batch).astype(str)),
        semen_batch=np.full(n, ""),
        operator_case=number.astype(float),
        d0=days,
        failed=failed,
        risk=np.full(n, 0.2),
    )


def test_an_own_past_is_the_likeliest_change_drawn_to_zero():
    failed = (np.arange(500) % 10 < 4) * 1.0
    found = own_past(courses(failed), flat())
    c = found["change"]
    # the slope of the likelihood, and of a normal prior of deviation 0.5, cancel
    assert 200 - 500 * expit(logit(0.2) + c) == pytest.approx(c / OWN**2, abs=0.1)
    assert found["change_se"] == pytest.approx((500 * 0.16 + 4) ** -0.5)
    assert found["courses"] == 500


def test_batches_that_deviate_tell_less_of_a_hand():
    failed = (np.arange(500) % 10 < 4) * 1.0
    alone = own_past(courses(failed), flat())
    shared = own_past(courses(failed), flat(graft_batch=1.0))
    assert 0 < shared["change"] < alone["change"]
    assert shared["change_se"] > alone["change_se"]


def test_nobody_has_a_past_without_courses():
    found = own_past(courses(np.zeros(9)).some(np.arange(0)), flat())
    assert found["courses"] == 0
    assert np.isnan(found["change"])


def test_a_constant_varies_as_a_share_does_and_more_with_batches():
    made = courses((np.arange(400) % 5 == 0) * 1.0)
    alone = unknowns_of(made, flat(), is_known=False)
    assert np.sum(alone.root**2) == pytest.approx(1 / (400 * 0.16), rel=2e-3)
    shared = unknowns_of(made, flat(graft_batch=0.5), is_known=False)
    wider = 1 + 0.25 * 10 * 0.16  # information of ten courses, times the variance
    assert np.sum(shared.root**2) == pytest.approx(wider / (400 * 0.16), rel=2e-3)
    known = unknowns_of(made, flat(), is_known=True)
    assert known.root.shape == (1, 0)


def test_a_batch_variance_has_the_error_that_its_batches_allow():
    made = courses((np.arange(400) % 5 == 0) * 1.0)
    found = unknowns_of(made, flat(graft_batch=0.5), is_known=False)
    assert found.variances.tolist() == [0.25, 0.0]
    # forty batches of ten: the root of 2/40 over the information of one
    expected = np.sqrt(2 / 40) * (1 + 1.6 * 0.25) / 1.6
    assert found.variance_ses[0] == pytest.approx(expected)
    assert found.variance_ses[1] == 0.0


def test_seasons_differ_as_judged_until_three_tell():
    alike = (np.arange(600) % 5 == 0) * 1.0
    assert season_deviation(courses(alike, seasons=2), NO_BATCHES) == TAU
    assert season_deviation(courses(alike, seasons=4), NO_BATCHES) < TAU
    hard = np.where(np.arange(600) < 300, np.arange(600) % 10 == 0, np.arange(600) % 2)
    assert season_deviation(courses(hard * 1.0, seasons=4), NO_BATCHES) > TAU


def test_a_variance_is_known_as_well_as_its_batches_tell():
    """Expected information of a normal variance, sum of (I / (1 + I v))^2 over 2."""
    found = _variance_se(np.array([2.0, 3.0]), 0.5)
    assert found == pytest.approx((2 / (1.0 + 1.2**2)) ** 0.5)
    assert _variance_se(np.empty(0), 0.5) == _variance_se(np.zeros(3), 0.5) == 0.0
