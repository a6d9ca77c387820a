"""Headline, levels and expected failures are one quantity, in model and fillings."""

import numpy as np
import pytest
from agreeing import agreement
from modelled import LAYING, modelled, queens
from queen_outcomes.models.closed import read_closed, read_factors
from queen_outcomes.models.factor_fills import read_filled_factors
from queen_outcomes.models.questions import models_of

pytestmark = pytest.mark.slow
QUESTION = ("laying", 21)


@pytest.fixture(scope="module")
def rows():
    """Give what agrees, and the headline of the fillings."""
    store = modelled(queens(300))
    values = read_factors(store, {})
    fillings = read_filled_factors(store, values)
    closed = read_closed(store, values, QUESTION, 7, fillings=fillings)
    estimate = np.mean(np.nanmean(closed.answers, axis=1))
    return agreement(closed, models_of(closed, LAYING)["main"]), estimate


def test_the_mean_chance_is_the_headline(rows):
    found, estimate = rows
    (whole,) = [row for row in found if row["what"] == "all"]
    assert whole["headline"] == pytest.approx(estimate, abs=1e-12)
    assert whole["model"] == pytest.approx(estimate, abs=0.003)
    assert abs(whole["shift"]) < 0.1


def test_the_mean_chance_of_a_fixed_level_is_the_level_s_share(rows):
    levels = [row for row in rows[0] if row["what"] not in ("all", "failures")]
    assert levels
    for row in levels:
        assert row["model"] == pytest.approx(row["headline"], abs=0.01)


def test_expected_failures_add_up_to_those_filled_in(rows):
    (sums,) = [row for row in rows[0] if row["what"] == "failures"]
    assert sums["model"] == pytest.approx(sums["headline"], abs=1e-6)
