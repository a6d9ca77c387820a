"""Wilson's and Newcombe's limits against the published tables.

Score limits and tests of a difference against published figures.

Sources: Newcombe RG, Stat Med 1998;17:873-890 (methods 5, 6; examples a to d);
Miettinen O, Nurminen M, Stat Med 1985;4:213-226; Farrington CP, Manning G, Stat Med
1990;9:1447-1454. More digits from R 4.2.2, ratesci 1.0.0.

Score limits: what the test does not reject, for any counts.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import queen_outcomes
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.shares.proportions import (
    Interval,
    _newton_step,
    blocked_score_limits,
    blocked_score_z,
    difference_bounds,
    more_than,
    newcombe_difference,
    restricted_shares,
    score_limits,
    score_test,
    score_z,
    wilson,
)
from scipy.optimize import minimize_scalar
from scipy.stats import binom, norm
from statsmodels.stats import proportion
from statsmodels.stats.proportion import confint_proportions_2indep


@pytest.mark.parametrize(
    ("yes", "n", "low", "high"),
    [
        (81, 263, 0.2552885, 0.3662096),
        (15, 148, 0.0623864, 0.1604872),
        (0, 20, 0.0, 0.1611252),
    ],
)
def test_wilson_s_limits(yes, n, low, high):
    # Newcombe 1998, table I (.0624 to .1605, 0 to .1611); ratesci 1.0.0
    found = wilson(yes, n)
    assert (found.low, found.high) == (
        pytest.approx(low, abs=5e-8),
        pytest.approx(high, abs=5e-8),
    )


SHARES_OF_TWO = [
    ((56, 70, 48, 80), 0.0524315, 0.3338727),
    ((9, 10, 3, 10), 0.1705227, 0.8090180),
    ((6, 7, 2, 7), 0.0582279, 0.8062496),
    ((5, 56, 0, 29), -0.0381371, 0.1925600),
]


@pytest.mark.parametrize(("counts", "low", "high"), SHARES_OF_TWO)
def test_newcombe_s_method_10(counts, low, high):
    # Newcombe 1998, table II, examples a to d; ratesci 1.0.0
    found = newcombe_difference(*counts)
    assert found.low == pytest.approx(low, abs=5e-8)
    assert found.high == pytest.approx(high, abs=5e-8)


def test_the_library_s_score_limits_are_off_so_nothing_here_calls_them():
    # Miettinen and Nurminen's limits of 56/70 - 48/80 are 0.0528297 to 0.3381729
    _, high = confint_proportions_2indep(56, 70, 48, 80, method="score", compare="diff")
    assert abs(high - 0.3381729) > 0.005
    (folder,) = queen_outcomes.__path__
    sources = [path.read_text("utf-8") for path in Path(folder).rglob("*.py")]
    assert sources
    assert not any("confint_proportions_2indep" in text for text in sources)


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


KINDS = ["mee", "miettinen_nurminen"]


@st.composite
def counts(draw):
    n1, n2 = draw(st.integers(1, 60)), draw(st.integers(1, 60))
    return draw(st.integers(0, n1)), n1, draw(st.integers(0, n2)), n2


def log_likelihood(x1, n1, x2, n2, p1, p2):
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = [(x1, p1), (n1 - x1, 1 - p1), (x2, p2), (n2 - x2, 1 - p2)]
        return sum(np.where(x == 0, 0.0, x * np.log(p)) for x, p in parts)


@pytest.mark.slow
@settings(deadline=None)
@given(counts(), st.floats(-0.999, 0.999))
def test_no_other_pair_of_shares_is_likelier(table, d0):
    p1, p2 = restricted_shares(*table, d0)
    assert p1 - p2 == pytest.approx(d0, abs=1e-12)
    assert 0 <= p1 <= 1
    assert 0 <= p2 <= 1
    others = np.linspace(max(0.0, -d0), min(1.0, 1.0 - d0), 201)
    with_d0 = np.clip(others + d0, 0.0, 1.0)
    rest = log_likelihood(*table, with_d0, others)
    # where two roots meet, a cubic gives half of a float's digits
    assert log_likelihood(*table, p1, p2) >= np.max(rest) - 1e-6


@pytest.mark.slow
@settings(deadline=None)
@given(counts(), st.sampled_from(KINDS), st.sampled_from([0.8, 0.95, 0.99]))
def test_limits_and_p_never_contradict_each_other(table, kind, level):
    found = score_limits(*table, level, kind)
    assert -1 <= found.low <= found.estimate <= found.high <= 1
    for limit, outward in ((found.low, -1), (found.high, 1)):
        if abs(limit) < 1:
            p = score_test(*table, limit, kind).p
            assert p == pytest.approx(1 - level, abs=1e-6)
            beyond = limit + outward * min(1e-3, (1 - abs(limit)) / 2)
            assert score_test(*table, beyond, kind).p < 1 - level


@pytest.mark.slow
@settings(deadline=None)
@given(counts(), st.floats(-0.99, 0.99), st.sampled_from(KINDS))
def test_rejected_exactly_when_outside_the_limits(table, d0, kind):
    found = score_limits(*table, 0.95, kind)
    if min(abs(d0 - found.low), abs(d0 - found.high)) < 1e-6:
        return
    inside = found.low < d0 < found.high
    assert (score_test(*table, d0, kind).p > 0.05) == inside


@pytest.mark.slow
@settings(deadline=None)
@given(counts())
def test_swapping_arms_or_answers_turns_the_sign(table):
    x1, n1, x2, n2 = table
    found = score_limits(*table)
    for turned in (
        score_limits(x2, n2, x1, n1),
        score_limits(n1 - x1, n1, n2 - x2, n2),
    ):
        assert (-turned.high, -turned.low) == pytest.approx(
            (found.low, found.high), abs=1e-7
        )


def test_blocks_alike_add_up():
    # four times the same block: half the width of limits, about
    one, four = blocked_score_limits([30], [40], [20], [40]), None
    four = blocked_score_limits([30] * 4, [40] * 4, [20] * 4, [40] * 4)
    assert four.estimate == pytest.approx(one.estimate)
    narrower = (one.high - one.low) / (four.high - four.low)
    assert narrower == pytest.approx(2, abs=0.05)
    wide = blocked_score_limits([30], [40], [20], [40], df=3)
    assert wide.low < one.low < one.high < wide.high


def is_nan_between(found, low, high):
    return np.isnan(found.estimate) and (found.low, found.high) == (low, high)


@pytest.mark.parametrize("counts", [(0, 0, 3, 5), (3, 5, 0, 0), (0, 0, 0, 0)])
def test_arms_without_courses_bound_nothing(counts):
    assert is_nan_between(score_limits(*counts), -1, 1)
    assert is_nan_between(newcombe_difference(*counts), -1, 1)
    found = score_test(*counts, -0.1)
    assert found.d0 == -0.1
    assert np.isnan([*found.shares, found.z, found.p_above, found.p]).all()
    assert is_nan_between(blocked_score_limits([], [], [], []), -1, 1)


def test_one_course_an_arm_is_enough():
    # both shares are a half where they are alike: 1 / sqrt(1/4 + 1/4)
    found = score_test(1, 1, 0, 1, 0)
    assert found.z == pytest.approx(np.sqrt(2))
    assert found.p_above == pytest.approx(norm.sf(np.sqrt(2)))
    assert found.p == pytest.approx(2 * norm.sf(np.sqrt(2)))
    turned = score_test(0, 1, 1, 1, 0)
    assert turned.z == pytest.approx(-np.sqrt(2))
    assert turned.p_above == pytest.approx(norm.cdf(np.sqrt(2)))
    assert turned.p == pytest.approx(found.p)
    limits = score_limits(1, 1, 0, 1, 0.9)
    assert (limits.estimate, limits.high) == (1, 1)
    assert score_test(1, 1, 0, 1, limits.low).p == pytest.approx(0.1)


def test_wilson_s_limits_end_at_zero_and_one():
    assert is_nan_between(wilson(0, 0), 0, 1)
    # n / (n + z^2) where all are yes
    for level, z in ((0.8, 1.281552), (0.95, 1.959964), (0.99, 2.575829)):
        for n in (0.5, 1, 2, 3, 7, 29, 113):
            found, other = wilson(n, n, level), wilson(0, n, level)
            assert (found.estimate, found.high) == (1, 1)
            assert found.low == pytest.approx(n / (n + z**2), abs=1e-6)
            assert (other.estimate, other.low) == (0, 0)
            assert other.high == pytest.approx(z**2 / (n + z**2), abs=1e-6)


def test_limits_of_a_difference_come_from_the_arms_that_point_that_way():
    # 3, 4, 5 by hand on both sides
    found = more_than(Interval(0.5, 0.2, 0.9), Interval(0.3, 0.0, 0.7))
    assert (found.estimate, found.low, found.high) == pytest.approx((0.2, -0.3, 0.7))


@pytest.mark.parametrize(
    ("arms", "seen", "low", "high"),
    [
        (((3, 4, 2), (1, 2, 3)), 0.25, 3 / 6 - 4 / 5, 5 / 6 - 1 / 5),
        (((1, 1, 0), (0, 1, 0)), 1, 1, 1),
        (((0, 0, 1), (1, 2, 0)), np.nan, -0.5, 0.5),
        (((1, 2, 0), (0, 0, 1)), np.nan, -0.5, 0.5),
        (((0, 0, 0), (1, 2, 0)), np.nan, -1, 1),
        (((1, 2, 0), (0, 0, 0)), np.nan, -1, 1),
    ],
)
def test_the_unseen_could_be_all_yes_or_all_no(arms, seen, low, high):
    found = difference_bounds(*arms)
    assert (found.estimate, found.low, found.high) == pytest.approx(
        (seen, low, high), nan_ok=True
    )


@pytest.mark.parametrize(
    ("table", "d0"),
    [
        *(((7, 10, 3, 12), d0) for d0 in (-0.9, -0.4, 0.0, 0.2, 0.6, 0.95)),
        *(((1, 30, 25, 26), d0) for d0 in (-0.8, 0.1, 0.7)),
        *(((29, 30, 2, 45), d0) for d0 in (-0.3, 0.5, 0.8)),
        *(((0, 9, 0, 4), d0) for d0 in (-0.2, 0.2)),
        *(((9, 9, 4, 4), d0) for d0 in (-0.2, 0.2)),
        ((5, 5, 0, 5), 1.0),  # all three roots of the cubic are one
        ((0, 5, 5, 5), -1.0),
    ],
)
def test_the_most_likely_shares_by_a_search(table, d0):
    ends = max(0.0, -d0), min(1.0, 1.0 - d0)
    found = minimize_scalar(
        lambda p: -log_likelihood(*table, min(max(p + d0, 0), 1), p),
        bounds=ends,
        method="bounded",
        options={"xatol": 1e-12},
    )
    tried = [found.x, *ends]
    best = max(tried, key=lambda p: log_likelihood(*table, min(max(p + d0, 0), 1), p))
    p1, p2 = restricted_shares(*table, d0)
    assert p2 == pytest.approx(best, abs=2e-7)
    assert p1 == pytest.approx(best + d0, abs=2e-7)


def test_polishing_steps_to_the_nearest_root_and_no_further():
    # (p - 0.2) (p - 0.5) (p + 1), and (p - 0.5)^2 (p + 1) where it is level
    assert _newton_step(0.2 + 1e-7, 0.3, -0.6, 0.1) == pytest.approx(1e-7, rel=1e-5)
    assert _newton_step(0.5 - 1e-7, 0.3, -0.6, 0.1) == pytest.approx(-1e-7, rel=1e-5)
    assert _newton_step(0.21, 0.3, -0.6, 0.1) == 0
    assert _newton_step(0.5, 0.0, -0.75, 0.25) == 0


def test_a_difference_without_variance_is_away_without_bound():
    for z in (lambda d0: score_z(1, 2, 1, 2, d0), one_block(1, 2, 1, 2)):
        assert z(-1.0) == np.inf
        assert z(1.0) == -np.inf
    for z in (lambda d0: score_z(0, 5, 0, 5, d0), one_block(0, 5, 0, 5)):
        assert z(0.0) == 0


def one_block(*counts):
    return lambda d0: blocked_score_z(*([count] for count in counts), d0)


TWO_BLOCKS = [8, 15], [10, 20], [4, 15], [10, 30]


def test_blocks_are_weighted_by_mantel_and_haenszel():
    # weights 5 and 12, differences 0.4 and 0.25; pooled shares 0.6 in both blocks:
    # 5 / sqrt(25 x 0.24 / 5 + 144 x 0.24 / 12)
    assert blocked_score_z(*TWO_BLOCKS, 0) == pytest.approx(5 / np.sqrt(4.08))
    found = blocked_score_limits(*TWO_BLOCKS)
    assert found.estimate == pytest.approx(5 / 17)
    assert blocked_score_z(*TWO_BLOCKS, found.low) == pytest.approx(1.959964)
    assert blocked_score_z(*TWO_BLOCKS, found.high) == pytest.approx(-1.959964)
    wide = blocked_score_limits(*TWO_BLOCKS, 0.9, df=3)  # Student's table: 2.353363
    assert blocked_score_z(*TWO_BLOCKS, wide.low) == pytest.approx(2.353363)
    assert blocked_score_z(*TWO_BLOCKS, wide.high) == pytest.approx(-2.353363)


def test_what_no_test_rejects_reaches_to_the_end():
    # effective counts can leave the share a hair below one
    assert score_limits(10 - 1e-8, 10, 0, 10).high == 1
    assert score_limits(1e-8, 10, 10, 10).low == -1


@pytest.mark.slow
@pytest.mark.parametrize(("n", "p"), [(50, 0.8), (100, 0.85), (100, 0.7)])
def test_at_the_margin_the_test_claims_too_much_rarely(n, p):
    # every pair of counts with its probability: the chance itself, not a simulation
    x = np.arange(n + 1)
    z = score_z(x[:, None], n, x[None], n, -0.1)
    chance = np.outer(binom.pmf(x, n, p - 0.1), binom.pmf(x, n, p))
    assert 0.015 < np.sum(chance[z > 1.959964]) <= 0.034
