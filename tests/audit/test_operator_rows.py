"""What the audit writes of operators, batches, signals, days, cases and checkers."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from audited import audited, told, with_prior
from closed_courses import closed_courses
from modelled import queens
from queen_outcomes.audit.apart import Apart
from queen_outcomes.audit.batches import day_rows
from queen_outcomes.audit.learning import (
    experience_rows,
    learning_rows,
    stretch_ends,
    stretch_of,
)
from queen_outcomes.audit.operators import (
    FEWEST,
    Intercept,
    operator_rows,
    spread_rows,
)
from queen_outcomes.audit.running_series import signal_rows
from queen_outcomes.facts.exports.audit import AUDIT_INTERNAL
from queen_outcomes.models.closed import ClosedCourses
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.stats.series.cusum import cusum_path, weights
from queen_outcomes.stats.series.learning import learning_limit
from scipy.special import expit, logit
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

DETAILS = [table.name for table in AUDIT_INTERNAL if table.name != "audit_courses"]
FLAT = RiskModel(
    (),
    np.zeros(1, int),
    np.zeros(1),
    0.0,
    {},
    is_yes_failure=False,
    courses=1,
    failures=0,
)

NOT_APART = {name: Apart() for name in "AB"}


def cases(n: int, **columns) -> ClosedCourses:
    """Give courses of one operator, a day each, unless told otherwise."""
    days = np.datetime64("2026-05-01") + np.arange(n)
    usual = {
        "course_id": np.array([f"Q{at:04d}/1" for at in range(n)]),
        "operator": np.full(n, "A"),
        "year": np.full(n, "2026"),
        "graft_batch": np.full(n, ""),
        "semen_batch": np.full(n, ""),
        "d0": days,
        "operator_case": np.arange(1.0, n + 1),
        "failed": np.zeros(n),
        "risk": np.full(n, 0.2),
    }
    return closed_courses(**{**usual, **columns})


@pytest.fixture(scope="module")
def usual():
    return audited(queens(300))


@pytest.mark.slow
def test_the_batches_of_an_operator_add_up_to_the_operator(usual):
    for row in told(usual, "operators"):
        own = told(
            usual, "operator_batches", operator=row["operator"], kind="graft_batch"
        )
        assert sum(part["courses"] for part in own) == row["courses"]
        assert sum(part["failures"] for part in own) == row["failures"]
        expected = sum(part["expected"] for part in own)
        assert expected == pytest.approx(row["expected"], rel=1e-9)


@pytest.mark.slow
def test_days_and_stretches_hold_every_course_once(usual):
    decided = sum(row["courses"] for row in told(usual, "operators"))
    for table in ("audit_days", "experience"):
        assert sum(row["courses"] for row in told(usual, table)) == decided


@pytest.mark.slow
def test_the_order_of_the_records_changes_nothing(usual):
    again = audited(queens(300), shuffle=3)
    for name in ("operators", "batches", *DETAILS):
        assert told(again, name) == told(usual, name), name


@pytest.mark.slow
def test_one_operator_is_expected_to_fail_as_often_as_seen():
    store = audited(queens(80, operator="A"))
    (row,) = told(store, "operators")
    assert row["expected"] == pytest.approx(row["failures"], rel=1e-6)
    assert (row["shared_pct"], row["separable"]) == (0.0, False)
    assert (row["rank_low"], row["shrunken"], row["flag"]) == (None, None, "")
    (limits,) = told(store, "learning_limits")
    assert limits["message"] == "too few courses of others to take a failure rate from"


@pytest.mark.slow
@pytest.mark.parametrize("lays", [True, False])
def test_a_station_where_all_end_alike_flags_nobody(lays):
    store = audited(queens(80, lays=lays))
    rows = told(store, "operators")
    assert rows
    for row in rows:
        assert row["failures"] == (0 if lays else row["courses"])
        assert not row["flag"]
        assert row["rank_low"] is None
        if row["shown"]:
            assert 0 < row["expected"] < row["courses"]
            assert row["low"] <= row["adjusted"] <= row["high"]
    assert all(not row["flag"] for row in told(store, "batches"))
    assert told(store, "learning") == []


@pytest.mark.slow
def test_without_operators_batches_and_days_are_still_told():
    made = [{k: v for k, v in q.items() if k != "operator"} for q in queens(60)]
    store = audited(made)
    assert told(store, "operators") == []
    assert told(store, "batches")
    assert sum(row["courses"] for row in told(store, "audit_days")) == 60
    empty = set(DETAILS) - {"audit_days"}
    assert all(told(store, name) == [] for name in empty)


@pytest.mark.slow
def test_without_a_closed_course_every_table_is_there_and_empty():
    store = audited([])
    assert all(told(store, name) == [] for name in ("operators", "batches", *DETAILS))


def test_courses_of_unknown_risk_are_counted_and_take_no_part():
    made = cases(40, failed=np.tile([1.0, 0.0], 20))
    made = made.with_risk(np.where(np.arange(40) % 4 < 2, np.nan, 0.5))
    (row,) = operator_rows(made, FLAT, {}, 10, NOT_APART)
    assert (row["courses"], row["unknown_risk"], row["failures"]) == (20, 20, 10)
    assert row["expected"] == pytest.approx(10.0)
    (none,) = operator_rows(
        made.with_risk(np.full(40, np.nan)), FLAT, {}, 10, NOT_APART
    )
    assert (none["courses"], none["unknown_risk"], none["shown"]) == (0, 40, False)
    assert "expected" not in none


@pytest.mark.parametrize("yes_fails", [False, True])
def test_shrunken_rates_and_ranks_follow_the_direction_of_failing(yes_fails):
    # log odds of yes; all risks are 0.2, so a step moves log(1/4) and nothing else
    intercepts = {"A": Intercept(0.5, 0.1), "B": Intercept(-0.5, 0.1)}
    model = replace(FLAT, is_yes_failure=yes_fails)
    made = two_hands(60, (np.arange(60) % 5 == 0) * 1.0)
    rows = {
        row["operator"]: row
        for row in operator_rows(made, model, intercepts, 10, NOT_APART)
    }
    better, worse = (rows[name] for name in ("BA" if yes_fails else "AB"))
    for row, step in ((better, -0.5), (worse, 0.5)):
        assert row["shrunken"] == pytest.approx(expit(logit(0.2) + step))
        limits = [row["shrunken_low"], row["shrunken_high"]]
        reach = 1.959964 * 0.1 * np.array([-1, 1])
        assert limits == pytest.approx(expit(logit(0.2) + step + reach), abs=1e-6)
    assert (better["rank_low"], worse["rank_high"]) == (1, 2)


def test_a_run_holds_the_courses_that_made_its_signal():
    chance = np.random.default_rng(5)
    failed = (chance.random(120) < np.repeat([0.15, 0.5], 60)).astype(float)
    failed[::17] = np.nan
    risk = chance.uniform(0.05, 0.3, 120)
    success, failure = weights(risk, 2.0)
    scores = np.where(failed > 0, failure, success)
    found = cusum_path(np.where(np.isnan(failed), np.nan, scores), 3.0)
    series = [
        {
            "operator": "A",
            "series": "level",
            "case": at + 1,
            "course_id": f"Q{at}/1",
            "inseminated_at": "",
            "known_on": None,
            "failed": None if np.isnan(failed[at]) else bool(failed[at]),
            "expected": risk[at],
            "cusum_worse": found.value[at],
            "cusum_better": 0.0,
            "signal": "worse" if found.signal[at] else "",
            "season_told": True,
        }
        for at in range(120)
    ]
    ids = np.array([row["course_id"] for row in series])
    graft = np.where(np.arange(120) < 100, "g1", "")
    parts = [{"operator": "A", "kind": "graft_batch", "batch": "g1", "alone": True}]
    made = cases(120, course_id=ids, graft_batch=graft)
    signals, batches = signal_rows(series, made, parts)
    assert len(signals) == found.signal.sum() >= 2
    for signal in signals:
        first, last = signal["first_case"] - 1, signal["case"]
        places = [at for at in range(first, last) if not np.isnan(failed[at])]
        made = sum(failure[at] if failed[at] else success[at] for at in places)
        assert made == pytest.approx(found.value[last - 1])
        assert signal["courses"] == len(places)
        assert signal["failures"] == np.nansum(failed[places])
        assert signal["expected"] == pytest.approx(risk[places].sum())
        held = [at for at in places if graft[at]]
        own = [row for row in batches if row["case"] == signal["case"]]
        assert [row["courses"] for row in own] == ([len(held)] if held else [])
        assert [row["failures"] for row in own] == (
            [failed[held].sum()] if held else []
        )
    assert batches
    assert all(row["alone"] and row["kind"] == "graft_batch" for row in batches)


def test_a_day_is_held_against_what_chance_gives():
    day = np.full(20, np.datetime64("2026-05-01"))
    (row,) = day_rows(cases(20, d0=day, failed=np.arange(20) < 13.0))
    assert (row["courses"], row["failures"]) == (20, 13)
    assert [row["low"], row["high"]] == binom.ppf([0.025, 0.975], 20, 0.2).tolist()
    upper = binom.sf(13, 20, 0.2) + binom.pmf(13, 20, 0.2) / 2
    assert row["mid_p"] == pytest.approx(2 * upper)
    assert row["flag"] == "more"


def test_stretches_of_cases_double():
    numbers = np.array([1, 25, 26, 50, 51, 100, 101, 200, 201, 1601])
    assert stretch_of(numbers).tolist() == [0, 0, 1, 1, 2, 2, 3, 3, 4, 7]
    assert [stretch_ends(k) for k in range(4)] == [
        (1, 25),
        (26, 50),
        (51, 100),
        (101, 200),
    ]
    for number in range(1, 500):
        first, last = stretch_ends(int(stretch_of(np.array([number]))[0]))
        assert first <= number <= last


def test_the_share_of_a_stretch_has_wilsons_limits():
    made = cases(60, failed=(np.arange(60) % 5 == 0) * 1.0)
    first, second, third = experience_rows(made, {}, 10)
    assert (first["courses"], second["courses"], third["courses"]) == (25, 25, 10)
    low, high = proportion_confint(20, 25, method="wilson")
    assert [first["share"], first["low"], first["high"]] == pytest.approx(
        [0.8, low, high]
    )
    assert first["expected"] == pytest.approx(0.8)


def test_batches_that_share_their_fate_widen_the_limits():
    failed = np.repeat([1.0, 0.0, 0.0, 0.0, 1.0], 5)
    alone = experience_rows(cases(25, failed=failed), {}, 10)[0]
    graft = np.repeat(list("abcde"), 5)
    shared = experience_rows(cases(25, failed=failed, graft_batch=graft), {}, 10)[0]
    assert shared["share"] == alone["share"]
    assert shared["low"] < alone["low"]
    assert shared["high"] > alone["high"]


def test_cases_before_the_first_record_are_counted():
    rows = experience_rows(cases(60), {"A": 100}, 10)
    assert [(row["from_case"], row["courses"]) for row in rows] == [(101, 60)]
    few = experience_rows(cases(60), {"A": 95}, 10)
    assert (few[0]["courses"], few[0]["shown"], few[0]["share"]) == (5, False, None)


def two_hands(n: int, failed_of_a) -> ClosedCourses:
    """Give as many courses of B, a fifth of them failed, as of A."""
    operator = np.repeat(["A", "B"], n)
    failed = np.concatenate([failed_of_a, (np.arange(n) % 5 == 0) * 1.0])
    number = np.tile(np.arange(1.0, n + 1), 2)
    return cases(2 * n, operator=operator, failed=failed, operator_case=number)


def test_a_beginner_is_held_against_the_others_and_a_fixed_horizon():
    made = two_hands(60, (np.arange(60) < 10) * 1.0)
    curves, limits = learning_rows(made, {"B": 100}, 10)
    (row,) = limits
    assert row["operator"] == "A"
    assert row["adequate"] == pytest.approx(0.2)
    assert row["inadequate"] == pytest.approx(1 / 3)  # odds 1/4 doubled
    assert row["limit"] == pytest.approx(learning_limit(1 / 3, 0.2, 100).limit)
    reached = [one["number"] for one in curves if one["reached"]]
    assert reached == [row["reached_at"]]
    # ten failures first hold the line at zero; then each success adds log(0.8 / (2/3))
    assert reached == [10 + int(np.ceil(row["limit"] / np.log(1.2)))]


def test_a_veteran_has_no_learning_curve():
    made = two_hands(30, np.zeros(30))
    assert learning_rows(made, {"A": 100, "B": 99}, 10)[1] == []
    assert [r["operator"] for r in learning_rows(made, {"A": 98, "B": 99}, 10)[1]] == [
        "A"
    ]


@pytest.mark.slow
def test_settings_place_a_veteran():
    store = audited(queens(120), with_prior(A=400))
    assert "A" not in {row["operator"] for row in told(store, "learning_limits")}
    assert told(store, "experience", operator="A")[0]["from_case"] == 401


def test_the_variance_between_operators_is_asked_of_many_only():
    names = np.array([f"O{at % FEWEST:02d}" for at in range(40 * FEWEST)])
    often = np.isin(names, ["O00", "O01", "O02", "O03"])
    every = np.arange(len(names)) // FEWEST % 5
    failed = np.where(often, every < 3, every < 1) * 1.0
    (row,) = spread_rows(cases(len(names), operator=names, failed=failed), 10)
    assert row["operators"] == FEWEST
    assert row["phi"] > 1
    assert row["tau2"] > 0
    fewer = cases(
        len(names), operator=np.where(names == "O19", "", names), failed=failed
    )
    assert spread_rows(fewer, 10) == []


def test_no_day_is_told_of_a_course_without_an_answer():
    assert day_rows(cases(5, failed=np.full(5, np.nan))) == []
    assert dt.date(2026, 5, 1) in {row["d0"] for row in day_rows(cases(5))}
