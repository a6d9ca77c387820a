"""Weights for being decided: what they undo and what they say."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.logistic.weighting import decided_weights


def sold_when_good(n=20000, seed=3):
    """Courses where a good line is decided less often: Z, decided, answer."""
    rng = np.random.default_rng(seed)
    line = (rng.random(n) < 0.5).astype(float)
    answer = (rng.random(n) < 0.4 + 0.4 * line).astype(float)
    decided = (rng.random(n) < 0.9 - 0.5 * line).astype(float)
    return np.column_stack([np.ones(n), line]), decided, answer


def test_weighted_decided_courses_stand_for_all():
    Z, decided, answer = sold_when_good()
    found = decided_weights(Z, decided)
    seen = decided == 1
    plain, weighted = answer[seen].mean(), np.average(answer, weights=found.weights)
    assert abs(plain - answer.mean()) > 0.05
    assert weighted == pytest.approx(answer.mean(), abs=0.01)
    assert found.mean == pytest.approx(1.0, abs=1e-9)
    assert not found.weights[~seen].any()


def test_extreme_weights_are_pulled_in_and_counted():
    rng = np.random.default_rng(1)
    Z = np.column_stack([np.ones(2000), rng.normal(size=2000)])
    decided = (rng.random(2000) < 1 / (1 + np.exp(-2 * Z[:, 1]))).astype(float)
    whole, cut = decided_weights(Z, decided, cut=None), decided_weights(Z, decided)
    assert cut.most < whole.most
    assert cut.least > whole.least
    assert cut.cut == pytest.approx(0.02 * decided.sum(), abs=3)
    assert cut.effective > whole.effective


def test_when_all_are_decided_every_weight_is_one():
    found = decided_weights(np.ones((5, 1)), np.ones(5))
    assert (found.weights == 1).all()
    assert found.effective == 5


def test_separated_and_impossible_weights_are_said():
    Z = np.column_stack([np.ones(40), np.repeat([0.0, 1.0], 20)])
    decided = np.r_[np.ones(20), np.tile([1.0, 0.0], 10)]
    apart = decided_weights(Z, decided)
    assert "penalised" in apart.message
    assert np.isfinite(apart.weights).all()
    assert "alike" in decided_weights(Z, np.zeros(40)).message
    Z[0, 0] = np.nan
    assert np.isnan(decided_weights(Z, decided).weights).all()
