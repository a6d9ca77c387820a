"""Arms, pairs and overlaps of a handful of courses, counted by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from armed import answered
from blocked import stratified_difference
from queen_outcomes.doses import arm_model, arm_rows, comparing
from queen_outcomes.doses.arm_courses import (
    GIVEN,
    MEANT,
    PROTOCOL,
    SINCE,
    Answers,
    ArmCourses,
    Comparison,
    comparisons_by,
    find_comparisons,
    is_mixed,
    label_arms,
)
from queen_outcomes.doses.arm_model import CO2_BEFORE, _in_every_arm
from queen_outcomes.doses.costs import DroneSemen, for_success, frontier, mean_used
from queen_outcomes.doses.differences import (
    ArmPair,
    find_overlap,
    simultaneous_level,
    simultaneous_p,
    stratified,
    unadjusted,
    verdict,
)
from queen_outcomes.doses.dose_curve import _dose_for
from queen_outcomes.stats.shares.proportions import (
    Interval,
    newcombe_difference,
    score_limits,
    score_test,
    wilson,
)
from scipy.stats import t

NAN = np.nan


def text(*words) -> np.ndarray:
    return np.array(words, dtype=str)


def label(protocol, doses, meant, given):
    return label_arms(
        text(*protocol), *(np.array(part, float) for part in (doses, meant, given))
    )


def test_doses_meant_stand_for_what_was_meant_where_all_had_as_many():
    for number in (1, 2):
        found = label(["", ""], [number] * 2, [8, 12], [8, 12])
        assert (found.source, found.intended, found.said) == (MEANT, True, "")
    unlike = label(["", "", ""], [1, 2, 3], [8, 12, 18], [NAN] * 3)
    assert unlike.label.tolist() == ["1 x 8 uL", "2 x 6 uL", "3 x 6 uL"]
    assert not unlike.intended
    # a course without a dose names no arm, and is not asked for its number
    none = label(["", "", ""], [1, 0, 1], [8, 8, 8], [NAN] * 3)
    assert none.label.tolist() == ["1 x 8 uL", "", "1 x 8 uL"]
    assert none.intended


def test_half_the_courses_make_a_source_usual_and_else_the_fullest_names():
    assert label(["a", ""], [1, 1], [8, 12], [8, 12]).source == PROTOCOL
    assert label(["a", "", ""], [1] * 3, [8, NAN, NAN], [8, 9, 7.6]).source == GIVEN
    rare = label(["", "", ""], [1] * 3, [NAN] * 3, [8, NAN, NAN])
    assert (rare.source, rare.label.tolist()) == (GIVEN, ["1 x 8 uL", "", ""])
    assert label([], [], [], []).label.tolist() == []


@pytest.mark.parametrize(
    ("arm", "block", "mixed"),
    [
        ("abab", "1122", True),
        ("aabb", "1122", False),
        # half of the courses stand in a block of both arms
        ("abaa", "1122", True),
        ("abaaa", "11222", False),
        # four of five blocks known, and three of four
        ("ababa", "1122-", True),
        ("abab", "112-", False),
        ("----", "1122", False),
        ("abab", "----", False),
        # a course without an arm says nothing of its block
        ("abab-", "1122-", True),
    ],
)
def test_arms_are_by_lot_where_half_stand_side_by_side(arm, block, mixed):
    split = (np.array(["" if c == "-" else c for c in part]) for part in (arm, block))
    assert is_mixed(*split) == mixed


def courses(**columns) -> ArmCourses:
    n = len(columns["protocol"])
    empty, nothing = np.full(n, ""), np.full(n, NAN)
    parts = {"trial": empty, "block": empty, "doses": np.ones(n)}
    parts |= {"meant": nothing, "given": nothing, "values": {}} | columns
    return ArmCourses(**parts)


def test_trials_are_set_apart_and_only_they_are_by_lot():
    blocks = text("1", "1", "1", "1")
    made = courses(
        protocol=text("a", "b", "a", "b"), trial=text("", "", "T", "T"), block=blocks
    )
    outside, trial = find_comparisons(made)
    assert (outside.trial, outside.rows.tolist()) == (None, [0, 1])
    assert (trial.trial, trial.rows.tolist()) == ("T", [2, 3])
    assert (outside.randomised, trial.randomised) == (False, True)
    assert outside.stands_for == ("dose", "doses")


def test_before_and_since_a_day_holds_the_day_itself_as_since():
    made = courses(
        protocol=text("a", "a", "a"),
        trial=text("", "", "T"),
        values={"first_on": text("2026-05-31", "2026-06-01", "2026-06-02")},
    )
    whole, trial = comparisons_by(made, None, dt.date(2026, 6, 1))
    assert whole.arm.tolist() == [
        *("before 2026-06-01", "since 2026-06-01", "since 2026-06-01")
    ]
    assert (whole.source, whole.intended, whole.trial) == (SINCE, False, None)
    assert (trial.trial, trial.rows.tolist()) == ("T", [2])
    assert whole.stands_for == ("year", "season")


def test_the_commonest_arm_comes_first_and_names_settle_a_tie():
    arm = text("b", "a", "c", "c", "", "", "")
    one = Comparison(None, np.arange(7), arm, arm, PROTOCOL, True, "", False)
    assert one.commonest == ["c", "a", "b"]
    assert one.only(arm == "a").rows.tolist() == [1]


def test_an_answer_is_a_success_as_the_outcome_is_wanted():
    state = text("yes", "no", "undecided", "left", "")
    yes = np.array([[1, 0, 1, 0, NAN]])
    laying, lost = (Answers((name, 21), state, yes) for name in ("laying", "lost"))
    np.testing.assert_array_equal(lost.successes, [[0, 1, 0, 1, NAN]])
    np.testing.assert_array_equal(laying.success, [1, 0, NAN, NAN, NAN])
    np.testing.assert_array_equal(lost.success, [0, 1, NAN, NAN, NAN])
    assert laying.closed.tolist() == [True, True, True, True, False]
    assert (laying.is_yes_failure, lost.is_yes_failure) == (False, True)


def pair(success, first, batch=None, block=None, margin=0.1):
    n = len(success)
    batch, block = (np.full(n, "") if x is None else x for x in (batch, block))
    success = np.array(success, float)
    # as if who is not settled were not at risk
    return ArmPair(
        *(success, success[None, :], np.array(first, bool)),
        *(batch, block, 0.95, margin),
    )


def test_courses_of_their_own_are_two_shares():
    # 9 of 14 against 4 of 13, one of the arm and two of the other not settled
    success = [1] * 9 + [0] * 5 + [NAN] + [1] * 4 + [0] * 9 + [NAN] * 2
    made = pair(success, [True] * 15 + [False] * 15)
    # G / (G - 1) of the ratio's variance takes a course of each arm
    found, counts = unadjusted(made), (9 * 13 / 14, 13, 4 * 12 / 13, 12)
    expected = score_limits(*counts)
    assert (found.estimate, found.low, found.high) == pytest.approx(
        (expected.estimate, expected.low, expected.high)
    )
    assert found.p == pytest.approx(score_test(*counts, 0.0).p)
    assert found.p_margin == pytest.approx(score_test(*counts, -0.1).p_above)
    assert found.ratio == pytest.approx(9 / 14 / (4 / 13))
    assert found.newcombe.low == pytest.approx(newcombe_difference(*counts).low)
    # all unsettled against the arm, and all for it
    assert (found.unseen.low, found.unseen.high) == pytest.approx(
        (9 / 15 - 6 / 15, 10 / 15 - 4 / 15)
    )
    assert found.said == ""
    assert np.isnan(unadjusted(pair(success, made.first, margin=None)).p_margin)


def test_an_arm_without_a_decided_course_or_a_success_has_no_ratio():
    none = unadjusted(pair([1, NAN], [True, False]))
    assert "no course" in none.said
    assert np.isnan(none.ratio)
    assert np.isnan(unadjusted(pair([1, 0], [True, False])).ratio)
    assert unadjusted(pair([0, 1], [True, False])).ratio == 0


@pytest.fixture(scope="module")
def uncertain():
    """Twelve batches of six, half of each in the arm; five fillings differ in some courses."""
    rng = np.random.default_rng(7)
    n = 72
    first, batch = np.arange(n) % 2 == 0, np.repeat(np.arange(12), 6).astype(str)
    success = (rng.random(n) < np.where(first, 0.8, 0.6)).astype(float)
    open_ones = rng.random(n) < 0.2
    filled = np.tile(success, (5, 1))
    filled[:, open_ones] = rng.random((5, open_ones.sum())) < 0.7
    success[open_ones] = NAN
    return ArmPair(success, filled, first, batch, np.full(n, ""), 0.95, 0.1)


def rubin(within, between, m, whole=np.inf):
    """Variance and freedom over fillings: Rubin 1987; Barnard and Rubin 1999."""
    total = within + (1 + 1 / m) * between
    part = (1 + 1 / m) * between / total
    gaps = (m - 1) / part**2
    seen = (whole + 1) / (whole + 3) * whole * (1 - part) if np.isfinite(whole) else np.inf
    return total, 1 / (1 / gaps + 1 / seen)


def test_blocks_of_fillings_that_differ_are_joined_by_rubin_s_rules(uncertain):
    each = [
        stratified_difference(one, uncertain.first, uncertain.batch, uncertain.batch)
        for one in uncertain.filled
    ]
    steps = [one.estimate for one in each]
    total, df = rubin(
        np.mean([one.se**2 for one in each]),
        np.var(steps, ddof=1),
        *(5, np.mean([one.df for one in each])),
    )
    found = stratified(uncertain, by_lot=False)
    step, arm = np.mean(steps), t.isf(0.025, df) * np.sqrt(total)
    assert np.ptp(steps) > 0
    assert (found.estimate, found.low, found.high) == pytest.approx(
        (step, step - arm, step + arm)
    )
    assert found.p == pytest.approx(2 * t.sf(abs(step) / np.sqrt(total), df))
    assert found.p_margin == pytest.approx(t.sf((step + 0.1) / np.sqrt(total), df))
    assert np.isnan(stratified(replace(uncertain, margin=None), by_lot=False).p_margin)
    # limits are no shares' difference beyond 1
    sure = replace(uncertain, level=1 - 1e-12)
    assert (stratified(sure, by_lot=False).low, stratified(sure, by_lot=False).high) == (
        -1,
        1,
    )


def test_fillings_that_differ_leave_fewer_courses_to_the_shares(uncertain):
    counts = []
    for arm in (uncertain.first, ~uncertain.first):
        filled, batch = uncertain.filled[:, arm], uncertain.batch[arm]
        shares = filled.mean(axis=1)
        inside = []
        for one, share in zip(filled, shares, strict=True):
            away = [(one[batch == b] - share).sum() for b in np.unique(batch)]
            # a ratio's variance between batches, never below that of as many lone courses
            apart = 12 / 11 * np.sum(np.square(away)) / len(one) ** 2
            inside.append(max(apart, share * (1 - share) / len(one)))
        total, _ = rubin(np.mean(inside), shares.var(ddof=1), 5)
        n = shares.mean() * (1 - shares.mean()) / total
        counts += (n * shares.mean(), n)
    found, expected = unadjusted(uncertain), score_limits(*counts)
    assert (found.estimate, found.low, found.high) == pytest.approx(
        (expected.estimate, expected.low, expected.high)
    )
    assert found.p == pytest.approx(score_test(*counts, 0.0).p)


def test_what_blocks_can_compare_is_counted_in_words():
    first = [True, False] * 4 + [True]
    success = [1, 0, 1, 1, 0, 1, 1, 0, 1]
    block = text("1", "1", "2", "2", "3", "3", "4", "4", "")
    found = stratified(pair(success, first, block=block), by_lot=True)
    assert found.said.startswith("over 4 blocks that hold both arms")
    assert "1 course in none of them" in found.said
    one = stratified(pair(success[:2], first[:2], block=block[:2]), by_lot=True)
    assert "block" in one.said
    none = stratified(pair(success, first), by_lot=True)
    assert none.said == "no blocks are recorded"
    assert stratified(pair(success, first), by_lot=False).said == (
        "no graft batches are recorded"
    )
    apart = stratified(pair([1, 0], [True, False], batch=text("g", "h")), by_lot=False)
    assert apart.said == "no graft batch holds both arms"


def overlap(shared=("operator",), **groups):
    n = len(next(iter(groups.values())))
    values = {"graft_batch": np.full(n, ""), **groups}
    first = np.arange(n) % 2 == 0
    return find_overlap(values, first, ~first, shared)


def test_overlap_is_the_share_in_levels_with_both_arms():
    # X holds both arms in three courses, Y one arm in one; one is not recorded
    found = overlap(operator=text("X", "X", "X", "Y", ""))
    assert found.shares == {"operator": 0.75}
    assert found.least == 0.75
    assert overlap(operator=text("", "")).shares == {}
    assert overlap(operator=text("", "")).least == 1.0
    assert "hardly share operators" in overlap(operator=text("X", "Y")).apart


def test_an_arm_without_a_decided_course_shares_nothing_because_there_is_none():
    values = {"graft_batch": np.full(4, "g"), "operator": np.full(4, "X")}
    found = find_overlap(values, np.zeros(4, bool), np.ones(4, bool), ("operator",))
    assert "no course is decided" in found.apart
    assert "share" not in found.apart


@pytest.mark.parametrize(
    ("batches", "fewest", "apart"),
    [
        # the first arm in one batch, in two; batches of a single course say nothing
        (("g", "h", "g", "k"), 1, True),
        (("g", "h", "k", "j", "g", "h"), 2, False),
        (("g", "h", "k", "j"), -1, False),
        (("g", "g", "h", "h"), -1, False),
    ],
)
def test_batches_of_one_arm_each_are_counted(batches, fewest, apart):
    found = overlap(("graft_batch",), graft_batch=text(*batches))
    found_apart = bool(found.apart)
    assert (found.whole_batches, found_apart) == (fewest, apart)


@pytest.mark.parametrize(
    ("given", "every"),
    [
        ([0.1, 0.9], True),
        ([0.0, 0.5], False),
        ([1.0, 0.5], False),
    ],
)
def test_an_exposure_is_no_part_of_a_protocol_where_each_arm_has_both(given, every):
    before = [
        "one before" if at < 10 * share else "none"
        for share in given
        for at in range(10)
    ]
    values = {CO2_BEFORE.column: text(*before), "arm": np.repeat(["a", "b"], 10)}
    assert _in_every_arm(values) == every


def test_a_verdict_at_the_very_edge_claims_nothing():
    assert verdict(0.0, 0.2, 0.1, 9).word == "not_worse"
    assert verdict(-0.1, 0.2, 0.1, 9).word == "inconclusive"
    assert verdict(-0.05, 0.0, 0.1, 9).word == "not_worse"
    assert verdict(-0.3, -0.1, 0.1, 9).word == "inconclusive"
    assert verdict(0.1, 0.2, 0.0, 9).word == "none"
    assert verdict(0.1, 0.2, 0.1, 9, planned=10).word == "interim"
    assert verdict(0.1, 0.2, 0.1, 10, planned=10).word == "better"


@pytest.mark.parametrize(
    ("arms", "word"),
    [
        ((30, 30), "better"),
        ((29, 30), "interim"),
        ((31, 29), "interim"),
        ((90, 30), "better"),
    ],
)
def test_a_trial_is_judged_once_each_arm_has_what_was_planned(arms, word):
    asked = SimpleNamespace(judged=True, margin=0.1, planned=30)
    data = SimpleNamespace(asked=asked, comparison=SimpleNamespace(intended=True))
    found = SimpleNamespace(estimate=0.2, low=0.1, high=0.3)
    assert comparing._judge(data, found, np.repeat([True, False], arms)).word == word


def test_comparisons_share_the_five_per_cent():
    assert simultaneous_level(1) == simultaneous_level(0) == pytest.approx(0.95)
    assert simultaneous_level(2) == pytest.approx(0.975)
    np.testing.assert_allclose(simultaneous_p([0.01, NAN, 0.7]), [0.02, NAN, 1.0])


def test_the_dose_for_a_share_is_that_of_successes_whatever_the_outcome_asks():
    dose, p = np.arange(4, 13, 2.0), np.array([0.5, 0.6, 0.7, 0.8, 0.9])

    def curve(p, low, high):
        rows = zip(dose, p, low, high, strict=True)
        names = ("dose_ul", "probability", "low", "high")
        return [dict(zip(names, row, strict=True)) for row in rows]

    laid = _dose_for(0.75, curve(p, p - 0.15, p + 0.08), "laying")
    # who is lost failed: the same curve upside down, its limits the other way round
    lost = _dose_for(0.75, curve(1 - p, 1 - p - 0.08, 1 - p + 0.15), "lost")
    # between 8 and 10 µL along a straight line of log-odds: 3 lies between 7/3 and 4
    way = np.log(3 * 3 / 7) / np.log(4 * 3 / 7)
    assert laid.dose == pytest.approx(8 + 2 * way)
    assert (lost.dose, lost.low, lost.high) == pytest.approx(
        (laid.dose, laid.low, laid.high), nan_ok=True
    )


def test_a_mean_of_two_courses_and_of_one():
    found = mean_used([4.0, 8.0, NAN], ["g", "h", "h"])
    reach = t.isf(0.025, 1) * np.sqrt(2 / 1 * (4 + 4)) / 2
    assert (found.estimate, found.low, found.high) == pytest.approx((6, 0, 6 + reach))
    one = mean_used([4.0], ["g"])
    assert (one.estimate, one.low, one.high) == (4, 0, np.inf)
    assert np.isnan(mean_used([NAN], ["g"]).estimate)


def test_a_cost_known_exactly_moves_with_the_success_alone():
    found = for_success(Interval(10, 10, 10), Interval(0.5, 0.4, 0.8))
    assert (found.estimate, found.low, found.high) == pytest.approx((20, 12.5, 25))
    free = for_success(Interval(0, 0, 0), Interval(0.5, 0.4, 0.8))
    assert (free.estimate, free.low, free.high) == (0, 0, 0)
    open_above = for_success(Interval(10, 10, 10), Interval(0.5, 0.0, 0.8))
    assert open_above.high == np.inf
    never = for_success(Interval(10, 8, 12), Interval(0.0, 0.0, 0.4))
    assert (never.estimate, never.low, never.high) == (np.inf, 20, np.inf)
    hopeless = for_success(Interval(10, 8, 12), Interval(0.0, 0.0, 0.0))
    assert hopeless.low == np.inf


def test_arms_alike_in_all_are_both_on_the_frontier():
    drones, queens = [5, 5, 6, 4, NAN], [2, 2, 2, 3, 1]
    assert frontier(drones, queens).tolist() == [True, True, False, True, False]


def test_a_failure_s_rate_is_turned_into_a_success_with_its_limits():
    state = text("yes", "no", "no", "no")
    made = courses(protocol=text(*"aaaa"), values={"graft_batch": text("", "", "", "")})

    def success(outcome, model):
        found = SimpleNamespace(
            model=model,
            arms=("a",),
            answers=answered((outcome, 21), state),
            asked=SimpleNamespace(settings=SimpleNamespace(min_shown=4)),
        )
        return arm_rows._success(made, found, "a", np.arange(4))

    fitted = SimpleNamespace(share=lambda _: (0.2, 0.1, 0.4))
    for outcome, ends in (("laying", (0.2, 0.1, 0.4)), ("lost", (0.8, 0.6, 0.9))):
        found, said = success(outcome, fitted)
        assert (found.estimate, found.low, found.high) == pytest.approx(ends)
        assert "adjusted for" in said
    # without a model: 1 of 4 as it is, a course less for the variance of a ratio; no
    # limit is nearer than Wilson's
    plain, said = success("laying", None)
    limits = wilson(0.75, 3)
    assert plain.estimate == pytest.approx(0.25)
    assert plain.low <= limits.low + 1e-12
    assert plain.high >= limits.high - 1e-12
    assert said == "success as it is, not adjusted"
    lost, _ = success("lost", None)
    assert (lost.low, lost.high) == pytest.approx((1 - plain.high, 1 - plain.low))


def test_an_arm_has_costs_from_as_many_closed_courses_as_are_shown():
    """Eight uL a course at a success in two: 16 uL, and at 2 uL a drone 8 drones."""
    arm = text(*"aaaabbbbb", "c", "c", "c", "c")
    state = text(*["yes", "no"] * 2, *["yes", "no"] * 2, "", *["yes"] * 3, "")
    n = len(arm)
    values = {"semen_batch": np.full(n, ""), "graft_batch": np.full(n, "")}
    values |= {"bench_minutes": np.full(n, 3.0), "visits": np.full(n, 1.0)}
    made = courses(protocol=arm, given=np.full(n, 8.0), values=values)
    found = SimpleNamespace(
        model=None,
        arms=("a", "b", "c"),
        comparison=SimpleNamespace(commonest=("b", "a", "c"), rows=np.arange(n), arm=arm),
        answers=answered(("laying", 21), state),
        asked=SimpleNamespace(settings=SimpleNamespace(min_shown=4)),
    )
    costs = arm_rows.arm_costs(made, found, DroneSemen(2.0, "measured"))
    # of the third arm three are closed
    assert [(one.arm, one.courses, one.successes) for one in costs] == [("a", 4, 2), ("b", 4, 2)]
    for one in costs:
        takes = {name: x.estimate for name, x in one.takes.items()}
        assert takes == pytest.approx(
            {"semen_ul": 16, "drones": 8, "queens": 2, "minutes": 6, "visits": 2}
        )
        assert one.takes["queens"].low >= 1
        assert one.said == "measured; success as it is, not adjusted"


def test_doses_and_batches_of_an_arm_by_hand():
    assert arm_rows._usual(np.array([2, 1, 2, NAN])) == 2
    assert arm_rows._mean(np.array([8, NAN, 12.0])) == 10
    assert arm_rows._usual(np.array([NAN])) is arm_rows._mean(np.array([NAN])) is None
    assert arm_rows._batches(text("g", "", "h", "g")) == 2


def test_what_the_arm_stands_for_is_not_said_to_be_left_out():
    said = ["dose (uL): too few", "CO2 schedule: one level", "line: too few"]
    assert arm_model._others(said) == ("line: too few",)


def test_a_model_that_there_is_not_has_no_rows():
    found = SimpleNamespace(
        model=None,
        answers=SimpleNamespace(question=("laying", 21)),
        comparison=SimpleNamespace(trial=None),
        asked=SimpleNamespace(method="adjusted"),
    )
    row = arm_rows.model_row(found)
    assert (row["method"], row["rows"], row["factors"], row["left_out"]) == (
        *("none", 0, "", ""),
    )
    assert row["message"] == "fewer than two arms can be compared"


def test_a_comparison_asked_for_counts_visits_until_the_window_is_closed(monkeypatch):
    from queen_outcomes.doses import compare_request
    from queen_outcomes.facts.settings import Outcomes, Settings

    class Read(Exception):
        pass

    def read(store, prior, until):
        raise Read(until)

    monkeypatch.setattr(compare_request, "read_courses", read)
    settings = Settings(outcomes=Outcomes(grace_days=9))
    request = compare_request.CompareRequest(outcome="laying", days=21)
    with pytest.raises(Read) as caught:
        compare_request.compare_once(None, settings, dt.date(2026, 9, 1), request)
    assert caught.value.args == (30,)
