"""Kappas and limits of agreement against published examples and a reference library.

Sources: Cohen J. Psychol Bull 1968;70:213-220; Fleiss JL, Cohen J, Everitt BS. Psychol
Bull 1969;72:323-327; Fleiss JL. Psychol Bull 1971;76:378-382; Fleiss JL, Nee JCM, Landis
JR. Psychol Bull 1979;86:974-977; Bland JM, Altman DG. Lancet 1986;i:307-310. Figures
of the two pathologists by R's vcd 1.4-11.
"""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.shares.agreement import (
    cohen_kappa,
    fleiss_kappa,
    limits_of_agreement,
)
from statsmodels.stats import inter_rater

PATHOLOGISTS = [[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]]
HUNDRED = [[75, 1, 4], [5, 4, 1], [0, 0, 10]]
# Fleiss 1971, table 1: psychiatrists who gave depression, personality disorder,
# schizophrenia, neurosis, other
PATIENTS = """00060 03003 01401 00006 03030 20400 00402 20310 20040 00006
10050 11040 03300 10050 02031 00501 30012 51000 02040 10203
00006 01050 02013 20040 10041 05010 40002 02040 10500 00006"""


def test_pathologists():
    plain = cohen_kappa(PATHOLOGISTS)
    assert plain.kappa == pytest.approx(0.4930056, abs=5e-8)
    assert (plain.ase, plain.ase0) == pytest.approx((0.0567432, 0.0501386), abs=1e-7)
    assert (plain.low, plain.high) == pytest.approx((0.3817911, 0.6042201), abs=1e-7)
    linear = cohen_kappa(PATHOLOGISTS, weights="linear")
    assert (linear.kappa, linear.ase) == pytest.approx((0.6488095, 0.0476524), abs=1e-7)
    square = cohen_kappa(PATHOLOGISTS, weights="quadratic")
    assert (square.kappa, square.ase) == pytest.approx((0.7838219, 0.0386703), abs=1e-7)


def test_hundred_of_fleiss():
    plain = cohen_kappa(HUNDRED)
    assert plain.n == 100
    assert plain.kappa == pytest.approx(0.6764706, abs=5e-8)
    assert (plain.ase, plain.ase0) == pytest.approx((0.0877030, 0.0761873), abs=1e-7)
    for weights, kappa in (("linear", 0.7222222), ("quadratic", 0.7553191)):
        found = cohen_kappa(HUNDRED, weights=weights)
        assert found.kappa == pytest.approx(kappa, abs=5e-8)


@pytest.mark.parametrize("table", [PATHOLOGISTS, HUNDRED, [[20, 5], [10, 15]]])
@pytest.mark.parametrize("weights", ["none", "linear", "quadratic"])
def test_two_checkers_agree_with_a_reference_library(table, weights):
    theirs = {"none": None, "linear": "linear", "quadratic": "quadratic"}[weights]
    other = inter_rater.cohens_kappa(np.array(table), wt=theirs)
    found = cohen_kappa(table, weights=weights)
    expected = (other.kappa, other.std_kappa, other.std_kappa0)
    assert (found.kappa, found.ase, found.ase0) == pytest.approx(expected, rel=1e-10)


def test_six_psychiatrists():
    counts = [[int(digit) for digit in patient] for patient in PATIENTS.split()]
    found = fleiss_kappa(counts)
    assert (found.subjects, found.raters) == (30, 6)
    assert found.kappa == pytest.approx(0.4302445, abs=5e-8)  # printed as 0.430
    seen = (found.observed, found.by_chance)
    assert seen == pytest.approx((0.5555556, 0.2199383), abs=5e-8)
    assert found.se0 == pytest.approx(0.0243739, abs=5e-8)
    assert found.z == pytest.approx(17.651831, abs=5e-7)
    assert found.se_1971 == pytest.approx(0.0275031, abs=5e-8)
    each = [0.2447552, 0.2447552, 0.52, 0.4711273, 0.5661178]
    np.testing.assert_allclose(found.by_category, each, atol=5e-8)
    assert found.kappa == pytest.approx(inter_rater.fleiss_kappa(np.array(counts)))


def test_peak_flow_meters():
    # Bland and Altman 1986, table 1, first readings of either meter, l/min (from memory,
    # confirmed by the printed mean -2.1 and standard deviation 38.8). Printed with two
    # standard deviations: -79.7 to 75.5; 95 % limits of the mean -22.0 to 17.8, of the
    # lower limit -114.3 to -45.1, with 3 s^2 / n where the exact variance is used here
    large = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259]
    large, mini = [*large, 423, 427], [*mini, 350, 451]
    found = limits_of_agreement(large, mini, multiple=2)
    assert found.n == 17
    assert (found.mean, found.sd) == pytest.approx((-2.1, 38.8), abs=0.05)
    assert (found.low, found.high) == pytest.approx((-79.7, 75.5), abs=0.1)
    mean = (found.mean_low, found.mean_high)
    assert mean == pytest.approx((-22.0, 17.8), abs=0.1)
    lower = (found.low_low, found.low_high)
    assert lower == pytest.approx((-114.3, -45.1), abs=1.0)
    usual = limits_of_agreement(large, mini)
    assert usual.high - usual.low == pytest.approx(2 * 1.96 * found.sd)


def test_a_pair_that_was_not_both_measured_is_left_out():
    found = limits_of_agreement([5, 7, np.nan, 9], [4, np.nan, 2, 6])
    assert (found.n, found.mean) == (2, 2.0)
    assert "fewer than two" in limits_of_agreement([1], [2]).message


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (cohen_kappa([[9, 0], [0, 0]]), "same score"),
        (cohen_kappa([[0, 0], [0, 0]]), "nothing"),
        (fleiss_kappa([[3, 0], [3, 0]]), "every score"),
        (fleiss_kappa([[3, 0], [1, 1]]), "different numbers"),
        (fleiss_kappa(np.empty((0, 2))), "two or more"),
    ],
)
def test_scores_that_allow_no_kappa_give_a_reason(found, words):
    assert words in found.message
    assert np.isnan(found.kappa)
