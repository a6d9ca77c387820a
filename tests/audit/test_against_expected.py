"""An operator's failures against what was expected, by the binomial distribution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from closed_courses import closed_courses
from queen_outcomes.audit import operators as operators_module
from queen_outcomes.audit.apart import Apart
from queen_outcomes.audit.operators import (
    Intercept,
    _flag,
    _rank,
    followed,
    operator_rows,
    read_intercepts,
    spread_rows,
    thinned,
)
from queen_outcomes.models.closed import ClosedCourses
from queen_outcomes.models.risks import RiskModel
from scipy.optimize import brentq
from scipy.special import expit, logit, ndtr, ndtri
from scipy.stats import binom

FLAT = RiskModel((), np.zeros(1, int), np.zeros(1), 0.0, {}, False, 1, 0)
Z = 1.959964


def of_two(answers, risk: float = 0.2) -> ClosedCourses:
    """Give ten courses of A, answered in every filling, then ten of B that none failed."""
    answers = np.array(answers, float)
    settled = np.where(np.ptp(answers, axis=0) == 0, 1.0 - answers[0], np.nan)
    made = closed_courses(
        np.append(settled, np.zeros(10)),
        np.full(20, risk),
        np.full(20, np.datetime64("2026-06-01")),
        course_id=np.char.zfill(np.arange(20).astype(str), 3),
        operator=np.repeat(["A", "B"], 10),
        graft_batch=np.full(20, ""),
        semen_batch=np.full(20, ""),
    )
    others = np.ones((len(answers), 10))
    return replace(made, answers=np.hstack([answers, others]))


def row_of_a(cases: ClosedCourses, fewest: int = 5) -> dict:
    apart = {"A": Apart(), "B": Apart()}
    return operator_rows(cases, FLAT, {}, fewest, apart)[0]


def tails_of(failures: int, n: int, p: float) -> tuple[float, float]:
    """Give both mid-P tails."""
    half = binom.pmf(failures, n, p) / 2
    return binom.cdf(failures - 1, n, p) + half, binom.sf(failures, n, p) + half


def limits_of(failures: int, n: int) -> tuple[float, float]:
    """Give mid-P limits: Agresti, Categorical Data Analysis, section 1.4.4."""
    low = brentq(lambda p: tails_of(failures, n, p)[1] - 0.025, 1e-9, 1 - 1e-9)
    high = brentq(lambda p: tails_of(failures, n, p)[0] - 0.025, 1e-9, 1 - 1e-9)
    return low, high


def test_settled_courses_have_the_binomial_limits_and_tails():
    row = row_of_a(of_two([[0, 0, 0, 0, 1, 1, 1, 1, 1, 1]]))
    assert (row["at_risk"], row["filled"], row["crude"]) == (10, 4, 0.4)
    assert row["expected"] == pytest.approx(2.0)
    assert row["ratio"] == pytest.approx(2.0)
    assert row["adjusted"] == pytest.approx(0.4, abs=1e-6)
    assert [row["low"], row["high"]] == pytest.approx(limits_of(4, 10), abs=1e-4)
    assert row["mid_p"] == pytest.approx(2 * tails_of(4, 10, 0.2)[1])
    assert (row["shown"], row["flag"]) == (True, "")
    # fewer than expected: the other tail
    row = row_of_a(of_two([[0] + [1] * 9], 0.5))
    assert row["mid_p"] == pytest.approx(2 * tails_of(1, 10, 0.5)[0])


def test_fillings_that_differ_widen_limits_and_bring_tails_closer():
    """Rubin's rules on the log odds of three fillings with 3, 4 and 5 failures of ten."""
    each = logit(np.array([0.3, 0.4, 0.5]))
    between = (1 + 1 / 3) * each.var(ddof=1)
    low, high = limits_of(4, 10)
    down, up = logit(0.4) - logit(low), logit(high) - logit(0.4)
    middle = each.mean()
    row = row_of_a(of_two([[0] * k + [1] * (10 - k) for k in (3, 4, 5)]))
    assert row["adjusted"] == pytest.approx(expit(middle), abs=1e-6)
    reached = [row["low"], row["high"]]
    far = np.array([-np.hypot(down, Z * between**0.5), np.hypot(up, Z * between**0.5)])
    assert reached == pytest.approx(expit(middle + far), abs=1e-4)
    within = ((down + up) / 2 / Z) ** 2
    calm = np.sqrt(within / (between + within))
    above = ndtr(ndtri(tails_of(4, 10, 0.2)[1]) * calm)
    assert row["mid_p"] == pytest.approx(2 * above, abs=1e-4)
    assert row["filled"] == pytest.approx(4)
    assert row["crude"] == pytest.approx(0.4)


def test_who_is_at_risk_in_some_fillings_counts_by_her_share():
    gone = [0, 0, 0, 0, 1, 1, 1, 1, 1, np.nan]
    row = row_of_a(of_two([[0, 0, 0, 0, 1, 1, 1, 1, 1, 1], gone]))
    assert row["at_risk"] == 9.5
    assert row["crude"] == pytest.approx((4 / 10 + 4 / 9) / 2)
    assert row["expected"] == pytest.approx(9.5 * 0.2)
    assert row["ratio"] == pytest.approx(4 / 1.9)
    each = logit(np.array([4 / 10, 4 / 9]))
    assert row["adjusted"] == pytest.approx(expit(each.mean()), abs=1e-6)
    down = logit(0.4) - logit(limits_of(4, 10)[0])
    far = np.hypot(down, Z * np.sqrt((1 + 1 / 2) * each.var(ddof=1)))
    assert row["low"] == pytest.approx(expit(each.mean() - far), abs=1e-4)


def test_two_fillings_a_failure_apart_are_averaged_on_the_log_odds():
    row = row_of_a(of_two([[0] * k + [1] * (10 - k) for k in (4, 5)]))
    assert row["adjusted"] == pytest.approx(expit(logit(0.4) / 2), abs=1e-6)
    # where all fail a quarter of a failure is taken off
    row = row_of_a(of_two([[0] * k + [1] * (10 - k) for k in (9, 10)]))
    middle = (logit(0.9) + logit(0.975)) / 2
    assert row["adjusted"] == pytest.approx(expit(middle), abs=1e-6)


def test_a_single_course_is_counted_and_held_back_where_ten_are_asked_for():
    one = of_two([[0] * 10]).some(np.array([0, *range(10, 20)]))
    row = row_of_a(one, fewest=10)
    assert (row["crude"], row["expected"]) == (1.0, pytest.approx(0.2))
    assert (row["shown"], row["flag"]) == (False, None)


def test_who_cannot_be_told_apart_from_batches_has_no_figure():
    apart = {"A": Apart("the graft batches", has_figure=False), "B": Apart()}
    row, _ = operator_rows(of_two([[0] * 10]), FLAT, {}, 5, apart)
    assert "expected" not in row
    assert (row["courses"], row["shown"], row["flag"]) == (10, False, None)


def test_there_is_no_figure_where_most_of_it_is_filled_in():
    row = row_of_a(of_two([[0] * 9 + [1], [1] * 9 + [0]]))
    assert not row["shown"]
    assert "expected" not in row
    # all settled, and all alike: log odds stop a quarter of a failure from the end
    row = row_of_a(of_two([[1] * 10]))
    assert row["adjusted"] == pytest.approx(0.25 / 10, abs=0.03)
    assert row["low"] == 0 <= row["adjusted"]


def test_courses_are_followed_at_risk_in_half_of_the_fillings():
    made = of_two([[np.nan] * 2 + [1] * 8, [np.nan] + [0] * 9])
    assert followed(made).tolist() == [False] + [True] * 19
    risk = np.where(np.arange(20) == 7, np.nan, 0.2)
    assert followed(made.with_risk(risk)).sum() == 18
    assert not followed(replace(made, answers=np.empty((0, 20)))).any()


def test_a_large_station_is_thinned_to_the_same_mean(monkeypatch):
    risks = np.array([0.5, 0.1, 0.2, 0.1])
    assert thinned(risks) is risks
    monkeypatch.setattr(operators_module, "MOST_RISKS", 4)
    assert thinned(risks) is risks
    monkeypatch.setattr(operators_module, "MOST_RISKS", 2)
    expected = expit([logit(0.1), (logit(0.2) + logit(0.5)) / 2])
    assert thinned(risks) == pytest.approx(expected)


def test_only_who_is_shown_and_told_apart_is_flagged():
    """Benjamini-Hochberg at 0.05: of three P of 0.03 all, of four with one 1.0 none."""

    def row(below, above, shown=True, apart=""):
        return {"shown": shown, "apart_from": apart, "tails": (below, above)}

    rows = [row(0.985, 0.015), row(0.015, 0.985), row(0.985, 0.015)]
    hidden = [row(0.5, 0.5, shown=False), row(0.5, 0.5, apart="the line")]
    bare = {"shown": False, "apart_from": ""}
    made = [*rows, *hidden, bare]
    _flag(made)
    assert [r["flag"] for r in made] == ["more", "fewer", "more", None, None, None]
    assert all("tails" not in r for r in made)
    made = [row(0.985, 0.015), row(0.5, 0.5)]
    _flag(made)
    assert [r["flag"] for r in made] == ["", ""]


def ranked(effects, *, courses=(10, 10), se=0.1, apart=("", ""), model=FLAT):
    rows = [
        {"operator": name, "courses": n, "apart_from": why}
        for name, n, why in zip("AB", courses, apart, strict=False)
    ]
    given = {
        name: Intercept(e, se) for name, e in zip("AB", effects, strict=True) if e < 9
    }
    _rank(rows, given, model, of_two([[0] * 2 + [1] * 8]))
    return rows


def test_shrunken_rates_stand_around_the_usual_hand_by_courses():
    # thirty courses at +0.4 and ten at -0.4: the usual hand is at +0.2
    a, b = ranked([0.4, -0.4], courses=(30, 10))
    assert a["shrunken"] == pytest.approx(expit(logit(0.2) - 0.2))
    assert b["shrunken"] == pytest.approx(expit(logit(0.2) + 0.6))
    reach = np.array([-1, 1]) * Z * 0.1
    limits = [a["shrunken_low"], a["shrunken_high"]]
    assert limits == pytest.approx(expit(logit(0.2) - 0.2 + reach), abs=1e-6)
    assert [a["rank_low"], a["rank_high"], b["rank_low"], b["rank_high"]] == [
        *(1, 1, 2, 2)
    ]


def test_ranks_are_as_sure_as_the_intercepts():
    """Two that lie 1.4 standard errors of their difference apart may stand either way."""
    a, b = ranked([0.1, -0.1])
    assert [a["rank_low"], a["rank_high"], b["rank_low"], b["rank_high"]] == [
        *(1, 2, 1, 2)
    ]


def test_a_rate_is_averaged_over_batches_that_deviate():
    """Two deviations of 0.6 and 0.8 are together one of 1: drawn here by quadrature."""
    model = replace(FLAT, deviations={"graft_batch": 0.6, "semen_batch": 0.8})
    a, _ = ranked([0.5, -0.5], model=model)
    points, weights = np.polynomial.hermite_e.hermegauss(60)
    weights = weights / weights.sum()

    def mean(at):
        return weights @ expit(at + points)

    level = brentq(lambda at: mean(at) - 0.2, -9, 9)
    assert a["shrunken"] == pytest.approx(mean(level - 0.5), abs=1e-4)


def test_without_a_second_hand_or_a_spread_there_are_no_ranks_or_limits():
    for rows in (
        ranked([0.4, 9.0]),  # no intercept
        ranked([0.4, -0.4], courses=(30, 0)),
        ranked([0.4, -0.4], apart=("", "the line")),
    ):
        assert all("shrunken" not in row for row in rows)
    for row in ranked([0.0, 0.0], se=0.0):
        assert row["shrunken"] == pytest.approx(0.2)
        assert (row["shrunken_low"], row["shrunken_high"]) == (None, None)


def test_intercepts_are_read_with_the_error_that_their_limits_show(full_store):
    groups = {"outcome": "laying", "window_days": 21, "model": "main"}
    groups |= {"grouping": "operator"}
    store = full_store(
        model_groups=[{**groups, "level": "A", "effect": 0.3, "low": -0.1, "high": 0.7}]
    )
    found = read_intercepts(store, ("laying", 21))
    assert found["A"].effect == 0.3
    assert found["A"].se == pytest.approx(0.4 / Z)


def test_the_spread_between_operators_is_one_for_twenty_that_chance_parts(monkeypatch):
    """Twenty hands, ten courses at a half: the z of 5 +- k failures is k / sqrt(2.5)."""
    operator = np.repeat(np.char.add("O", np.arange(20).astype(str)), 10)
    number = np.tile(np.arange(10), 20)
    many = np.where(np.arange(20) % 2, 7, 3)
    failed = (number < np.repeat(many, 10)).astype(float)

    def made(failed):
        return closed_courses(
            failed,
            np.full(200, 0.5),
            np.full(200, np.datetime64("2026-06-01")),
            course_id=np.char.zfill(np.arange(200).astype(str), 3),
            operator=operator,
        )

    (row,) = spread_rows(made(failed), 10)
    assert (row["operators"], row["phi"]) == (20, pytest.approx(4 / 2.5))
    # s squared is sum p(1-p) / E^2 = 0.1 each; DerSimonian and Laird's, of equal weights
    assert row["tau2"] == pytest.approx((20 * 1.6 - 19) / (20 / 0.1 - 1 / 0.1))
    assert spread_rows(made(failed), 11) == []
    failed[0] = np.nan  # of one hand nine are left
    assert spread_rows(made(failed), 10) == []
    assert spread_rows(made(np.full(200, np.nan)), 0) == []
    (row,) = spread_rows(made(failed).some(np.arange(9, 200, 10)), 0)  # a course each
    assert row["operators"] == 20
