"""Ranks against published fits of twelve hospitals.

Sources: "Surgical", BUGS Examples volume I (fully Bayes output printed there); Goldstein H,
Spiegelhalter DJ. JRSS A 1996;159:385-443; Lin R et al. Bayesian Analysis
2006;1:915-946. Figures by glmer of lme4 1.1-31 under R 4.2.2.
"""

from __future__ import annotations

import numpy as np
from queen_outcomes.stats.shares.ranks import rank_limits

# twelve hospitals' random intercepts and their errors, by glmer with 25 nodes
MODES = [-0.3234597, 0.3697889, -0.0424742, -0.2259747, -0.3682298, -0.0615851]
MODES += [-0.1023585, 0.5804386, -0.0500718, 0.0642809, 0.3689533, -0.0706903]
ERRORS = [0.3129944, 0.2162551, 0.2534751, 0.1376661, 0.2348369, 0.2215679]
ERRORS += [0.2427728, 0.1795419, 0.2171526, 0.2605212, 0.1788346, 0.1804992]


def test_hospitals_rank_limits_are_near_the_fully_bayes_ones():
    # printed: A 1-10, B 6-12, E 1-8, H 9-12, K 7-12; plugging the deviation in may move
    # an end by one rank
    found = rank_limits(MODES, np.square(ERRORS))
    at = [0, 1, 4, 7, 10]
    np.testing.assert_allclose(found.low[at], [1, 6, 1, 9, 7], atol=1)
    np.testing.assert_allclose(found.high[at], [10, 12, 8, 12, 12], atol=1)


def test_like_operators_have_no_deviation_and_share_every_rank():
    found = rank_limits(np.zeros(4), np.zeros(4))
    assert (found.low.tolist(), found.high.tolist()) == ([1] * 4, [4] * 4)


def test_what_moves_together_is_ranked_with_certainty():
    # a common deviation hides both levels and no order
    covariance = np.full((3, 3), 4.0) + 1e-6 * np.eye(3)
    found = rank_limits([0.1, -0.2, 0.3], covariance)
    assert found.low.tolist() == found.high.tolist() == [2, 1, 3]
    apart = rank_limits([0.1, -0.2, 0.3], np.full(3, 4.0))
    assert (apart.low.tolist(), apart.high.tolist()) == ([1] * 3, [3] * 3)
