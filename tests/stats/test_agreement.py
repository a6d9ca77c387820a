"""Kappas and limits of agreement against published examples and a reference library.

Sources: Cohen J. Psychol Bull 1968;70:213-220; Fleiss JL, Cohen J, Everitt BS. Psychol
Bull 1969;72:323-327; Bland JM, Altman DG. Lancet 1986;i:307-310. Figures
of the two pathologists by R's vcd 1.4-11.
"""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.shares.agreement import cohen_kappa, limits_of_agreement
from statsmodels.stats import inter_rater

PATHOLOGISTS = [[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]]
HUNDRED = [[75, 1, 4], [5, 4, 1], [0, 0, 10]]


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


def test_peak_flow_meters():
    # Bland and Altman 1986, table 1, first readings of either meter, l/min (from memory,
    # confirmed by the printed mean -2.1 and standard deviation 38.8). Printed with two
    # standard deviations: -79.7 to 75.5
    large = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259]
    large, mini = [*large, 423, 427], [*mini, 350, 451]
    found = limits_of_agreement(large, mini, multiple=2)
    assert found.n == 17
    assert (found.mean, found.sd) == pytest.approx((-2.1, 38.8), abs=0.05)
    assert (found.low, found.high) == pytest.approx((-79.7, 75.5), abs=0.1)
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
    ],
)
def test_scores_that_allow_no_kappa_give_a_reason(found, words):
    assert words in found.message
    assert found.n == (9 if words == "same score" else 0)
    assert np.isnan(found.kappa)
