"""The main effects that the invented station was made with, against what its model finds."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from queen_outcomes.base.store import Store
from queen_outcomes.facts import settings
from queen_outcomes.models.closed import read_closed, read_factors
from queen_outcomes.models.factor_fills import read_filled_factors
from queen_outcomes.models.questions import models_of
from scipy import stats
from scipy.special import expit, ndtr

pytestmark = pytest.mark.slow
ROOT = Path(__file__).resolve().parents[1]
QUESTION = ("laying", 21)


@pytest.fixture(scope="module")
def main(built_demo):
    chosen = settings.load(built_demo.parent.parent)
    with Store(built_demo / "station.duckdb", read_only=True) as store:
        values = read_factors(store, chosen.prior_cases)
        fillings = read_filled_factors(store, values)
        grace = chosen.outcomes.grace_days
        closed = read_closed(store, values, QUESTION, grace, fillings=fillings)
    return models_of(closed, chosen)["main"]


@pytest.fixture(scope="module")
def chances(main):
    """Each course's chance of laying by day 21, as the generator drew it."""
    sys.path.insert(0, str(ROOT))
    from demo import make
    from demo.generator import simulate
    from demo.truth import SCHEDULES, Truth

    truth = Truth()
    latent = simulate(truth, make.SEED)["latent"]
    ids = pl.DataFrame({"course_id": main.courses.values["course_id"]})
    made = ids.join(latent, on="course_id", how="left", maintain_order="left")
    schedule = [SCHEDULES.index(name) for name in made["co2_schedule"]]
    variance = np.log1p((truth.onset_sd / truth.onset_mean) ** 2)
    middle = (
        np.log(truth.onset_mean)
        - variance / 2
        + np.log(np.array(truth.onset_co2))[schedule]
        + truth.onset_dose * np.log(made["dose_ul"].to_numpy() / 10.0)
        + truth.onset_queen_age * (made["queen_age_days"].to_numpy() - 9)
    )
    in_time = ndtr((np.log(21.5) - middle) / np.sqrt(variance))
    return made["p_lay"].to_numpy() * in_time


def own_limit(X: np.ndarray, chances: np.ndarray) -> np.ndarray:
    """Coefficients at which the model's form comes nearest to the true chances."""
    beta = np.zeros(X.shape[1])
    for _ in range(100):
        p = expit(X @ beta)
        information = (X * (p * (1 - p))[:, None]).T @ X
        step = np.linalg.solve(information, X.T @ (chances - p))
        beta += step
        if np.abs(step).max() < 1e-10:
            return beta
    pytest.fail("the true chances have no nearest form")


def test_the_true_main_effects_lie_inside_the_joint_99_percent_region(main, chances):
    assert main.method == "glmm"
    effects = main.design.owner >= 0
    assert effects.sum() >= 15
    away = (main.beta - own_limit(main.X, chances))[effects]
    cov = main.cov[np.ix_(effects, effects)]
    distance = away @ np.linalg.solve(cov, away)
    assert distance < stats.chi2.ppf(0.99, int(effects.sum()))


def test_that_region_would_not_hold_no_effect_at_all(main):
    effects = main.design.owner >= 0
    beta, cov = main.beta[effects], main.cov[np.ix_(effects, effects)]
    assert beta @ np.linalg.solve(cov, beta) > 2 * stats.chi2.ppf(0.99, len(beta))
