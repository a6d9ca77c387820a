"""Ranks against published fits of twelve hospitals.

Sources: "Surgical", BUGS Examples volume I (fully Bayes output printed there); Goldstein H,
Spiegelhalter DJ. JRSS A 1996;159:385-443; Lin R et al. Bayesian Analysis
2006;1:915-946. Figures by glmer of lme4 1.1-31 under R 4.2.2.
"""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.shares import ranks
from queen_outcomes.stats.shares.ranks import expected_ranks, rank_limits

# twelve hospitals' random intercepts and their errors, by glmer with 25 nodes
MODES = [-0.3234597, 0.3697889, -0.0424742, -0.2259747, -0.3682298, -0.0615851]
MODES += [-0.1023585, 0.5804386, -0.0500718, 0.0642809, 0.3689533, -0.0706903]
ERRORS = [0.3129944, 0.2162551, 0.2534751, 0.1376661, 0.2348369, 0.2215679]
ERRORS += [0.2427728, 0.1795419, 0.2171526, 0.2605212, 0.1788346, 0.1804992]


def test_hospitals_expected_ranks():
    known = [3.428526, 10.082614, 6.064953, 3.837759, 2.758278, 5.857534, 5.408597]
    known += [11.448442, 5.989358, 7.196828, 10.168873, 5.758238]
    found = expected_ranks(MODES, np.square(ERRORS))
    np.testing.assert_allclose(found, known, atol=5e-5)
    assert found.sum() == pytest.approx(78)


def test_hospitals_rank_limits_are_near_the_fully_bayes_ones():
    # printed: A 1-10, B 6-12, E 1-8, H 9-12, K 7-12; plugging the deviation in may move
    # an end by one rank
    found = rank_limits(MODES, np.square(ERRORS), seed=1)
    at = [0, 1, 4, 7, 10]
    np.testing.assert_allclose(found.low[at], [1, 6, 1, 9, 7], atol=1)
    np.testing.assert_allclose(found.high[at], [10, 12, 8, 12, 12], atol=1)


def test_like_operators_have_no_deviation_and_share_every_rank():
    found = rank_limits(np.zeros(4), np.zeros(4))
    np.testing.assert_array_equal(found.expected, 2.5)
    assert (found.low.tolist(), found.high.tolist()) == ([1] * 4, [4] * 4)


def test_what_moves_together_is_ranked_with_certainty():
    # a common deviation hides both levels and no order
    covariance = np.full((3, 3), 4.0) + 1e-6 * np.eye(3)
    found = rank_limits([0.1, -0.2, 0.3], covariance)
    assert found.expected == pytest.approx([2, 1, 3])
    assert found.low.tolist() == found.high.tolist() == [2, 1, 3]
    apart = rank_limits([0.1, -0.2, 0.3], np.full(3, 4.0))
    assert (apart.low.tolist(), apart.high.tolist()) == ([1] * 3, [3] * 3)


def test_drawn_ranks_average_to_the_exact_ones():
    rng = np.random.default_rng(3)
    modes, root = rng.normal(size=6), rng.normal(size=(6, 6)) / 2
    drawn = modes + np.random.default_rng(4).standard_normal((40_000, 6)) @ root.T
    each = 1 + (drawn[:, :, None] > drawn[:, None, :]).sum(axis=2)
    found = expected_ranks(modes, root @ root.T)
    np.testing.assert_allclose(each.mean(axis=0), found, atol=0.03)


def test_limits_are_the_ranks_that_few_draws_lie_beyond(monkeypatch):
    # 40 draws, of which one is 0.025; ranked in blocks of ten
    monkeypatch.setattr(ranks, "AT_ONCE", 30)
    rng = np.random.default_rng(2)
    spread = rng.normal(size=(3, 3))
    modes, covariance = np.array([0.3, 0.0, -0.6]), spread @ spread.T
    normal = np.random.default_rng(9).standard_normal((40, 3))
    drawn = modes + normal @ np.linalg.cholesky(covariance).T
    each = np.array([[1 + np.sum(row < value) for value in row] for row in drawn])
    found = rank_limits(modes, covariance, seed=9, draws=40)
    assert found.low.tolist() == np.sort(each, axis=0)[0].tolist()
    assert found.high.tolist() == np.sort(each, axis=0)[38].tolist()
    half = rank_limits(modes, covariance, seed=9, draws=40, level=0.5)
    assert half.low.tolist() == np.sort(each, axis=0)[9].tolist()
    assert half.high.tolist() == np.sort(each, axis=0)[29].tolist()
    assert len(rank_limits([], np.empty((0, 0))).low) == 0


def test_an_order_without_spread_is_certain():
    assert expected_ranks([0.2, 0.1, 0.2], np.zeros(3)).tolist() == [2.5, 1, 2.5]
