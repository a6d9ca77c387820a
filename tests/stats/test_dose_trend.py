"""Trend over dose, and the dose for a stated success, against published figures.

Sources: Armitage P, Biometrics 1955;11:375-386; Cochran WG, Biometrics 1954;10:417-451;
Agresti's malformations table; R's prop.trend.test and its example; Venables WN, Ripley
BD, Modern Applied Statistics with S (budworm, dose.p of MASS 7.3-58.2). R 4.2.2.
"""

from __future__ import annotations

import numpy as np
import pytest
from likelihood_tests import likelihood_ratio
from queen_outcomes.stats.logistic.plain import fit_plain
from queen_outcomes.stats.shares.dose_response import dose_on_curve, trend_test
from scipy.special import expit
from scipy.stats import chi2

BORN = np.array([17114, 14502, 793, 127, 38])
MALFORMED = np.array([48, 38, 5, 1, 1])
DRINKS = np.array([0, 0.5, 1.5, 4, 7])


def test_malformations_by_drinks_a_day():
    found = trend_test(MALFORMED, BORN, DRINKS, "drinks a day, mid-points")
    assert found.z**2 == pytest.approx(6.570134, abs=5e-7)
    assert found.z == pytest.approx(2.563227, abs=5e-7)
    assert found.p == pytest.approx(0.01037041, abs=5e-9)
    assert found.total == pytest.approx(12.08205, abs=5e-6)
    assert found.lack_p == pytest.approx(chi2.sf(5.511921, 3), abs=5e-8)


def test_the_slope_is_that_of_a_straight_line_weighed_by_courses():
    """As numpy's own least squares has it; of strata, off each one's own share and score."""
    x, n, s = np.array([8, 20, 30]), np.array([40, 60, 50]), np.array([6.0, 8.0, 12.0])
    slope = np.polyfit(s, x / n, 1, w=np.sqrt(n))[0]
    assert trend_test(x, n, s, "dose").slope == pytest.approx(slope, rel=1e-12)


def test_the_answer_depends_on_the_scores_so_they_are_named():
    found = trend_test(MALFORMED, BORN, np.arange(1, 6), "groups in order")
    assert found.z**2 == pytest.approx(1.827816, abs=5e-7)
    assert found.p == pytest.approx(0.1763858, abs=5e-8)
    assert found.scored_by == "groups in order"


def test_malformations_on_a_logistic_line():
    share, ones = MALFORMED / BORN, np.ones(5)
    line = fit_plain(np.column_stack([ones, DRINKS]), share, BORN)
    flat = fit_plain(ones[:, None], share, BORN)
    assert line.beta[1] == pytest.approx(0.3165604, abs=5e-8)
    assert line.se[1] == pytest.approx(0.1254462, abs=2e-6)
    full = np.sum(MALFORMED * np.log(share) + (BORN - MALFORMED) * np.log1p(-share))
    assert 2 * (full - line.log_likelihood) == pytest.approx(1.948721, abs=1e-5)
    assert 2 * (full - flat.log_likelihood) == pytest.approx(6.201998, abs=1e-5)
    fitted = expit(line.beta[0] + line.beta[1] * DRINKS)
    squares = BORN * (share - fitted) ** 2 / (fitted * (1 - fitted))
    assert squares.sum() == pytest.approx(2.052290, abs=1e-5)
    assert likelihood_ratio(line, flat).statistic == pytest.approx(4.253277, abs=1e-5)


def test_smokers_among_lung_patients():
    found = trend_test([83, 90, 129, 70], [86, 93, 136, 82], [1, 2, 3, 4], "studies")
    assert found.z**2 == pytest.approx(8.224922, abs=5e-7)
    assert found.p == pytest.approx(0.004131897, abs=5e-10)
    assert found.total == pytest.approx(12.600411, abs=5e-7)


def test_within_departments_two_groups_are_the_test_of_mantel_and_haenszel():
    # datasets/UCBAdmissions of R 4.2.2, mantelhaen.test(correct=FALSE): admitted and all,
    # men then women, by department; its variance has N - 1 where this one has N
    admitted = np.array([512, 89, 353, 17, 120, 202, 138, 131, 53, 94, 22, 24])
    applied = np.array([825, 108, 560, 25, 325, 593, 417, 375, 191, 393, 373, 341])
    department, man = np.repeat(np.arange(6), 2), np.tile([1, 0], 6)
    found = trend_test(admitted, applied, man, "sex", department)
    assert found.z**2 == pytest.approx(1.524607, rel=2e-3)
    assert found.z < 0
    whole = trend_test(
        [admitted[1::2].sum(), admitted[::2].sum()],
        [applied[1::2].sum(), applied[::2].sum()],
        [0, 1],
        "sex, all departments together",
    )
    assert whole.z > 9  # as the departments differ, and whom they admit


def test_within_strata_the_trend_is_the_sum_of_their_ordinal_associations():
    # statsmodels, Table.test_ordinal_association, stratum by stratum
    from statsmodels.stats.contingency_tables import Table

    rng = np.random.default_rng(3)
    n = rng.integers(20, 60, size=(3, 4))
    x = rng.binomial(
        n, [[0.2, 0.3, 0.4, 0.5], [0.5, 0.5, 0.6, 0.7], [0.8, 0.8, 0.8, 0.9]]
    )
    scores = np.array([6.0, 8, 10, 12])
    lean = variance = 0.0
    for yes, of in zip(x, n, strict=True):
        table = Table(np.column_stack([of - yes, yes]), shift_zeros=False)
        one = table.test_ordinal_association(
            row_scores=scores, col_scores=np.array([0, 1])
        )
        lean += one.statistic - one.null_mean
        variance += one.null_sd**2 * (of.sum() - 1) / of.sum()
    strata = np.repeat([0, 1, 2], 4)
    found = trend_test(x.ravel(), n.ravel(), np.tile(scores, 3), "doses", strata)
    assert found.z == pytest.approx(lean / np.sqrt(variance), rel=1e-9)


def test_a_stratum_of_one_dose_or_one_answer_tells_nothing_of_a_trend():
    yes, n, dose = [3, 5, 9], [10, 10, 10], [6, 8, 10]
    alone = trend_test(yes, n, dose, "doses")
    more = trend_test(
        [*yes, 40, 5, 6], [*n, 50, 5, 6], [*dose, 6, 6, 8], "doses", [0, 0, 0, 1, 2, 2]
    )
    assert (more.z, more.p, more.lack_p) == pytest.approx(
        (alone.z, alone.p, alone.lack_p)
    )
    apart = trend_test([3, 9], [10, 10], [6, 10], "doses", [0, 1])
    assert apart.message == "fewer than two doses have courses"


def budworms():
    # 20 moths a dose, killed; log2 of the dose 0 to 5; males, then females
    killed = np.array([1, 4, 9, 13, 18, 20, 0, 2, 6, 10, 12, 16])
    dose, male = np.tile(np.arange(6.0), 2), np.repeat([1.0, 0.0], 6)
    X = np.column_stack([np.ones(12), male, dose])
    return killed, X, fit_plain(X, killed / 20, np.full(12, 20))


def test_budworms_on_a_line():
    killed, X, fit = budworms()
    assert fit.beta[0] == pytest.approx(-3.4731553, abs=5e-7)
    assert fit.beta[0] + fit.beta[1] == pytest.approx(-2.3724119, abs=5e-7)
    assert fit.beta[2] == pytest.approx(1.0642140, abs=5e-7)
    male = np.sqrt(np.array([1, 1, 0]) @ fit.cov @ np.array([1, 1, 0]))
    assert (fit.se[0], male, fit.se[2]) == pytest.approx(
        (0.4685202, 0.3855108, 0.1310775), rel=1e-5
    )
    p, q = expit(X @ fit.beta), killed / 20
    parts = q * np.log(np.maximum(q, 1e-300) / p)
    parts += (1 - q) * np.log(np.maximum(1 - q, 1e-300) / (1 - p))
    assert 40 * parts.sum() == pytest.approx(6.757064, abs=1e-5)


@pytest.mark.parametrize(
    ("success", "dose"), [(0.25, 2.2312647), (0.50, 3.2635874), (0.75, 4.2959102)]
)
def test_dose_that_kills_a_share_of_the_females(success, dose):
    fit = budworms()[2]
    # read off the curve, whatever the grid
    grid = np.linspace(0, 5, 7)
    curve = expit(fit.beta[0] + fit.beta[2] * grid)
    read = dose_on_curve(success, grid, curve, curve, curve)
    assert (read.dose, read.low, read.high) == pytest.approx([dose] * 3, abs=5e-7)
