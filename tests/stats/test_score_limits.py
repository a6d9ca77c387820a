"""Score limits and tests of a difference against published figures.

Sources: Newcombe RG, Stat Med 1998;17:873-890 (methods 5, 6; examples a to d);
Miettinen O, Nurminen M, Stat Med 1985;4:213-226; Farrington CP, Manning G, Stat Med
1990;9:1447-1454. More digits from R 4.2.2, ratesci 1.0.0.
"""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.shares.proportions import (
    newcombe_difference,
    score_limits,
    score_test,
)
from statsmodels.stats import proportion

EXAMPLES = [
    ((56, 70, 48, 80), (0.0533338, 0.3377295), (0.0528297, 0.3381729)),
    ((9, 10, 3, 10), (0.1821265, 0.8369503), (0.1700250, 0.8406495)),
    ((6, 7, 2, 7), (0.0544483, 0.8478091), (0.0341755, 0.8534053)),
    ((5, 56, 0, 29), (-0.0313271, 0.1925600), (-0.0325966, 0.1933310)),
]


@pytest.mark.parametrize(("counts", "mee", "mn"), EXAMPLES)
def test_newcombe_s_examples(counts, mee, mn):
    # the paper prints example d: -.0313 to .1926 and -.0326 to .1933
    found = score_limits(*counts)
    assert (found.low, found.high) == pytest.approx(mee, abs=5.1e-8)
    found = score_limits(*counts, kind="miettinen_nurminen")
    assert (found.low, found.high) == pytest.approx(mn, abs=5.1e-8)


def test_not_worse_by_ten_points_170_of_200_against_176_of_200():
    found = score_test(170, 200, 176, 200, -0.10)
    assert found.shares == pytest.approx((0.8047901, 0.9047901), abs=5e-8)
    assert found.z == pytest.approx(2.0071899, abs=5e-8)
    assert found.p_above == pytest.approx(0.02236472, abs=5e-9)
    other = score_test(170, 200, 176, 200, -0.10, "miettinen_nurminen")
    assert other.z == pytest.approx(2.0046793, abs=5e-8)
    mee = score_limits(170, 200, 176, 200)
    mn = score_limits(170, 200, 176, 200, kind="miettinen_nurminen")
    assert (mee.low, mee.high) == pytest.approx((-0.0982986, 0.0376753), abs=5.1e-8)
    assert (mn.low, mn.high) == pytest.approx((-0.0983870, 0.0377624), abs=5.1e-8)
    other = newcombe_difference(170, 200, 176, 200)
    assert (other.low, other.high) == pytest.approx((-0.0977331, 0.0376540), abs=5e-8)


def test_not_worse_by_ten_points_92_of_100_against_94_of_100():
    found = score_test(92, 100, 94, 100, -0.10)
    assert found.z == pytest.approx(2.0021884, abs=5e-8)
    assert found.p_above == pytest.approx(0.02263224, abs=5e-9)


def test_the_library_is_off_where_ours_is_right():
    counts = (56, 70, 48, 80)
    low, high = proportion.confint_proportions_2indep(
        *counts, method="score", compare="diff"
    )
    ours = score_limits(*counts, kind="miettinen_nurminen")
    assert ours.high == pytest.approx(0.3381729, abs=5e-8)
    assert abs(high - ours.high) > 0.005
    assert abs(low - ours.low) > 0.0002
    # example d has no answer there at all
    quiet = np.errstate(divide="ignore", invalid="ignore")
    with quiet, pytest.raises(ValueError, match="different signs"):
        proportion.confint_proportions_2indep(
            5, 56, 0, 29, method="score", compare="diff"
        )


@pytest.mark.parametrize(
    ("counts", "d0", "right"),
    [
        ((56, 70, 48, 80), 0.33772946, -1.9599640),
        ((170, 200, 176, 200), -0.10, 2.0071899),
    ],
)
def test_the_library_s_score_test_is_off_where_ours_is_right(counts, d0, right):
    other = proportion.test_proportions_2indep(
        *counts, value=d0, compare="diff", method="score", correction=False
    )
    assert score_test(*counts, d0).z == pytest.approx(right, abs=1e-6)
    assert abs(abs(other.statistic) - abs(right)) > 0.02
