"""CUSUM weights, paths, run lengths and learning curves against published figures.

Sources: Steiner SH, Cook RJ, Farewell VT, Treasure T. Biostatistics 2000;1:441-452; Brook
D, Evans DA. Biometrika 1972;59:539-549; Reynolds MR, Stoumbos ZG. J Qual Technol
1999;31:87-108; Biau DJ, Porcher R. Stat Med 2010;29:1900-1909; Knoth S, Wittenberg P, Gan
FF. Stat Med 2019;38:2206-2218. Run lengths by R's vlad 0.2.2 (racusum_arl_mc and racusum_crit_mc with 2000 states), confirmed by
simulation of 600 000 runs; exact chances by a linear system and by enumeration, confirmed
by simulation of 300 000 and 400 000.
"""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.series.cusum import cusum_path, weights
from queen_outcomes.stats.series.learning import (
    alike_signal_chance,
    competence_chance,
    learning_curve,
    learning_limit,
    learning_weights,
)
from run_lengths import (
    average_run_length,
    lattice_alternative,
    lattice_run_length,
    limit_for_run_length,
    signal_chance,
)
from scipy.special import expit

MIX = np.array([0.05, 0.10, 0.20, 0.30, 0.45])
SHARES = np.full(5, 0.2)
Y = np.array([0, 0, 1, 0, 1, 1, 0, 0, 1, 1, 1, 0.0])
P = np.array([0.1, 0.2, 0.15, 0.1, 0.3, 0.25, 0.1, 0.2, 0.15, 0.3, 0.1, 0.2])


def test_weights_of_cardiac_surgery():
    # logit p = -3.68 + 0.077 S at Parsonnet scores 0 and 50; printed in Steiner 2000,
    # p. 446, as -0.024, 0.67, -0.43, 0.26
    p = expit(-3.68 + 0.077 * np.array([0, 50]))
    success, failure = weights(p, 2)
    np.testing.assert_allclose(success, [-0.02430466, -0.43333831], atol=1e-8)
    np.testing.assert_allclose(failure, [0.66884252, 0.25980887], atol=1e-8)
    success, failure = weights(p, 0.5)
    np.testing.assert_allclose(success, [0.01237750, 0.31635452], atol=1e-8)
    np.testing.assert_allclose(failure, [-0.68076968, -0.37679266], atol=1e-8)


def test_paths_of_twelve_cases():
    worse = [0, 0, 0.55338524, 0.45807506, 0.88885797, 1.35886160, 1.26355142]
    worse += [1.08122987, 1.63461511, 2.06539802, 2.66323502, 2.48091347]
    better = [0.05129329, 0.15665381, 0, 0.05129329, 0, 0, 0.05129329, 0.15665381]
    better += [0, 0, 0, 0.10536052]
    for ratio, values in ((2.0, worse), (0.5, better)):
        success, failure = weights(P, ratio)
        found = cusum_path(np.where(Y > 0, failure, success))
        np.testing.assert_allclose(found.value, values, atol=1e-8)


@pytest.mark.parametrize(
    ("risk", "m", "raised", "lengths"),
    [
        (0.1, 7, 0.19435796, {2: (98.713013, 24.561936), 3: (283.118322, 41.368235)}),
        (0.1, 7, 0.19435796, {4: (718.536894, 59.811505)}),
        (0.01, 61, 0.02501125, {2: (1017.425556, 169.339748)}),
        (0.01, 61, 0.02501125, {3: (3071.742086, 271.031721)}),
        (0.01, 61, 0.02501125, {5: (23076.9304, 497.644946)}),
    ],
)
def test_bernoulli_cusum_on_its_lattice(risk, m, raised, lengths):
    other = lattice_alternative(risk, m)
    assert other == pytest.approx(raised, abs=5e-9)
    for failures, expected in lengths.items():
        found = [lattice_run_length(p, m, failures) for p in (risk, other)]
        assert found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("risk", "m", "approximate"), [(0.1, 7, 279.8125), (0.01, 61, 3036.9130)]
)
def test_bernoulli_cusum_is_near_the_corrected_diffusion(risk, m, approximate):
    # the correction of Reynolds and Stoumbos 1999 as remembered, not read again
    raised = lattice_alternative(risk, m)
    r1 = np.log((1 - risk) / (1 - raised))
    r2 = np.log(raised * (1 - risk) / (risk * (1 - raised)))
    log = np.log(risk)
    shift = 0.410 - 0.0842 * log - 0.0391 * log**3 - 0.00376 * log**4 - 8e-6 * log**7
    h = 3 + shift * np.sqrt(risk * (1 - risk))
    length = (np.exp(h * r2) - h * r2 - 1) / abs(r2 * risk - r1)
    assert length == pytest.approx(approximate, rel=1e-6)
    assert lattice_run_length(risk, m, 3) == pytest.approx(length, rel=0.012)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("odds_ratio", "change", "length"),
    [
        *((2, 1, 168.2366), (2, 1.5, 56.8838), (2, 2, 32.9654), (2, 3, 19.1507)),
        *((0.5, 1, 199.0851), (0.5, 0.5, 47.5491)),
    ],
)
def test_run_lengths_of_a_mix_of_patients(odds_ratio, change, length):
    found = average_run_length(MIX, SHARES, 2.0, odds_ratio=odds_ratio, change=change)
    assert found == pytest.approx(length, rel=5e-3)


@pytest.mark.parametrize(
    ("risk", "limit", "change", "length"),
    [
        *((0.2, 2, 1, 144.895), (0.2, 2, 2, 28.169), (0.1, 2, 1, 239.957)),
        # 840: two roundings to the nearest state give 654 and 886 instead
        (0.1, 3, 1, 840),
    ],
)
def test_run_lengths_of_like_patients(risk, limit, change, length):
    found = average_run_length([risk], [1], limit, change=change)
    assert found == pytest.approx(length, rel=1e-3)


@pytest.mark.parametrize(
    ("wanted", "limit"), [(200, 2.1306), (500, 2.8787), (1000, 3.4947)]
)
def test_limit_for_a_wanted_run_length(wanted, limit):
    assert limit_for_run_length(MIX, SHARES, wanted) == pytest.approx(limit, abs=0.01)


@pytest.mark.parametrize(
    ("change", "chances"),
    [
        (1, (0.114371, 0.262848, 0.489648, 0.755396)),
        (2, (0.568409, 0.874782, 0.989442, 0.999925)),
    ],
)
def test_chance_of_a_signal_within_so_many_cases(change, chances):
    at = np.array([25, 50, 100, 200]) - 1
    down, up = (float(w) for w in weights(0.2, 2))
    risk = {1: 0.2, 2: 1 / 3}[change]
    exact = alike_signal_chance(up, down, risk, 2.0, 200)
    np.testing.assert_allclose(exact[at], chances, atol=5e-7)
    chain = signal_chance(np.full(200, 0.2), 2.0, change=change)
    np.testing.assert_allclose(chain[at], chances, atol=2e-6)


def test_learning_curve_weights_and_first_signal():
    success, failure = learning_weights(0.2, 0.1)
    assert (success, failure) == pytest.approx((0.11778304, -0.69314718), abs=5e-9)
    chances = competence_chance(0.2, 0.2, 0.1, 1.25, 11)
    assert chances[9] == 0
    assert chances[10] == pytest.approx(0.8**11, rel=1e-12)


@pytest.mark.parametrize(
    ("limit", "rate", "chances"),
    [
        (1.25, 0.2, (0.347324, 0.653130, 0.902572, 0.992313)),
        (1.25, 0.1, (0.772710, 0.971903, 0.999602, 1.0)),
        (2.0, 0.2, (0.071769, 0.234272, 0.484201, 0.765877)),
        (2.0, 0.1, (0.389705, 0.801391, 0.981443, 0.999834)),
    ],
)
def test_learning_curve_chances(limit, rate, chances):
    found = competence_chance(rate, 0.2, 0.1, limit, 200)
    np.testing.assert_allclose(found[[24, 49, 99, 199]], chances, atol=6e-7)


def test_learning_limit_keeps_the_chance_that_a_fixed_one_does_not():
    found = learning_limit(0.2, 0.1, 100, false_chance=0.05)
    assert 0.04 < found.false_chance <= 0.05
    assert found.limit > 2.0  # at 2.0 it is 0.484, see above
    nearer = competence_chance(0.2, 0.2, 0.1, found.limit - 1e-5, 100)[-1]
    assert nearer > 0.05
    assert 0.5 < found.true_chance < 0.981443


def test_learning_curve_path():
    y = np.array([1, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0.0])
    found = learning_curve(y, 0.30, 0.15, 1.25)
    last = [1.24841296, 1.44256898, 1.63672499, 1.83088101]
    np.testing.assert_allclose(found.value[14:], last, atol=1e-8)
    np.testing.assert_allclose(found.value[8:10], [0.97078007, 0.27763289], atol=1e-8)
    assert found.competent_at == 16


def test_learning_curve_that_cannot_be_set_says_why():
    short = learning_limit(0.2, 0.1, 5)
    assert "too few" in short.message
    assert short.limit == np.inf
    assert "below" in learning_limit(0.1, 0.2, 50).message
    for inadequate, adequate in ((1.0, 0.1), (0.2, 0.0), (0.1, 0.1)):
        assert "below" in learning_limit(inadequate, adequate, 50).message
    assert "no cases" in learning_limit(0.2, 0.1, 0).message
    assert "too few" in learning_limit(0.2, 0.1, 1).message
    assert learning_curve([], 0.2, 0.1, 2.0).competent_at is None
