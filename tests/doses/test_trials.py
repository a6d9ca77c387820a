"""Trials, verdicts, and the clock that does not flatter the arm of two doses."""

from __future__ import annotations

import random

import numpy as np
import pytest
from armed import asking, compared, contrasts, primary, queens
from blocked import stratified_difference
from queen_outcomes.facts.dose_words import difference_said
from queen_outcomes.stats.shares.proportions import newcombe_difference

pytestmark = pytest.mark.slow


def by_lot(n, shares, seed=1, block=4):
    """Give a trial's queens: blocks of four in a row, arms drawn within each."""
    made = queens(n, shares, seed=seed, trial="T1")
    chance = random.Random(seed)
    names = list(shares)
    for start in range(0, n, block):
        order = names * (block // len(names))
        chance.shuffle(order)
        for number, name in zip(
            range(start, min(start + block, n)), order, strict=False
        ):
            made[number] |= {
                "protocol": name,
                "block": f"b{start // block}",
                "lays": chance.random() < shares[name],
            }
    return made


def table(made):
    return (
        np.array([queen["lays"] for queen in made], float),
        np.array([queen["protocol"] == "two" for queen in made]),
        np.array([queen["block"] for queen in made]),
        np.array([queen["graft_batch"] for queen in made]),
    )


def test_a_trial_is_judged_within_its_blocks_by_the_engine_of_blocks():
    made = by_lot(160, {"one": 0.7, "two": 0.8})
    row = primary(compared(made))
    assert (row["trial"], row["method"]) == ("T1", "stratified")
    want = stratified_difference(*table(made))
    sign = 1 if row["arm"] == "two" else -1
    assert row["difference"] == pytest.approx(sign * want.estimate)
    limits = sorted([sign * want.low, sign * want.high])
    assert [row["low"], row["high"]] == pytest.approx(limits)
    assert row["p"] == pytest.approx(want.p())
    assert 0 < row["homogeneity_p"] < 1
    clear = {**row, "difference": 0.1, "low": 0.02, "high": 0.2}
    assert "makes more" in difference_said(clear, by_lot=True)
    assert "goes with more" in difference_said(clear, by_lot=False)


def test_only_the_primary_method_and_the_plans_question_carry_a_verdict():
    store = compared(by_lot(160, {"one": 0.7, "two": 0.8}))
    judged = store.records("SELECT * FROM arm_contrasts WHERE verdict IS NOT NULL")
    assert [(r["outcome"], r["method"]) for r in judged] == [("laying", "stratified")]
    assert {r["margin"] for r in contrasts(store)} == {0.1}
    assert {r["margin"] for r in contrasts(store, outcome="lost")} == {None}


def test_without_a_margin_there_is_no_verdict_but_what_one_would_need():
    store = compared(by_lot(160, {"one": 0.7, "two": 0.8}), asking(None))
    row = primary(store)
    assert (row["verdict"], row["margin"]) == (None, None)
    assert "no margin" in row["said"]
    need = store.records("SELECT * FROM arm_needs ORDER BY margin")
    assert [r["margin"] for r in need] == [0.05, 0.1, 0.15]
    sizes = [r["queens"] for r in need]
    assert sizes == sorted(sizes, reverse=True)
    assert all(r["queens"] >= r["queens_alone"] > 0 for r in need)


def test_a_running_trial_is_interim_until_the_planned_number_of_each_arm_closed():
    made = by_lot(160, {"one": 0.7, "two": 0.8})
    running = primary(compared(made, asking(planned_arms={"T1": 81})))
    assert running["verdict"] == "interim"
    assert "160 of 162" in running["said"]
    over = primary(compared(made, asking(planned_arms={"T1": 80})))
    assert over["verdict"] not in (None, "interim")
    # an arm that is ahead does not make up for one that is behind
    for queen in made[:40]:
        queen["protocol"] = "one"
    ahead = primary(compared(made, asking(planned_arms={"T1": 70})))
    assert ahead["verdict"] == "interim"


def test_trials_are_compared_apart_from_the_other_courses():
    made = [*by_lot(120, {"one": 0.8, "two": 0.8}), *queens(60, {"two": 0.5, "x": 0.9})]
    store = compared(made)
    found = {(r["trial"], r["arm"]): r for r in store.records("SELECT * FROM arms")}
    assert {key: row["courses"] for key, row in found.items()} == {
        ("T1", "one"): 60,
        ("T1", "two"): 60,
        (None, "two"): 30,
        (None, "x"): 30,
    }
    assert {r["method"] for r in contrasts(store, primary=True)} == {
        "stratified",
        "adjusted",
    }


def test_a_trial_without_blocks_is_not_by_lot():
    made = queens(120, {"one": 0.8, "two": 0.8}, trial="T1")
    assert primary(compared(made))["method"] == "adjusted"


def test_limits_and_p_hold_for_all_arms_together():
    shares = {"one": 0.7, "two": 0.8, "three": 0.75}
    rows = contrasts(compared(queens(180, shares)), method="unadjusted")
    assert len(rows) == 2
    for row in rows:
        assert row["p_holm"] == pytest.approx(min(1.0, 2 * row["p"]))
        assert (row["p_holm"] < 0.05) == (not row["low"] < 0 < row["high"])
    alone = contrasts(
        compared([q for q in queens(180, shares) if q["protocol"] != "three"]),
        method="unadjusted",
    )
    (both,) = [r for r in rows if {r["arm"], r["reference"]} == {"one", "two"}] or [
        None
    ]
    if both is not None:
        assert both["high"] - both["low"] > alone[0]["high"] - alone[0]["low"]


def test_newcombes_limits_stand_beside_the_unadjusted_difference():
    made = queens(120, {"one": 0.7, "two": 0.8})
    for number, queen in enumerate(made):
        queen["graft_batch"] = f"g{number}"
    row = contrasts(compared(made), method="unadjusted")[0]
    yes = {
        name: sum(q["lays"] for q in made if q["protocol"] == name)
        for name in ("one", "two")
    }
    # every queen a batch of her own: the design effect is that of 60 batches, 60 / 59
    counts = (yes[row["arm"]] * 59 / 60, 59, yes[row["reference"]] * 59 / 60, 59)
    want = newcombe_difference(*counts)
    assert row["difference"] == pytest.approx(want.estimate)
    assert row["newcombe_low"] == pytest.approx(want.low)
    assert row["newcombe_high"] == pytest.approx(want.high)


def test_where_yes_is_the_failure_above_zero_is_still_better():
    made = queens(160, {"one": 1.0, "two": 1.0})
    for number, queen in enumerate(made):
        # a quarter of arm two dies on day 5; of arm one nearly none
        if number % 8 == 1 or number == 0:
            queen["dies_on"] = 5
    store = compared(made)
    lost = contrasts(store, outcome="lost", arm="two")
    assert {r["method"] for r in lost} == {"unadjusted", "stratified", "adjusted"}
    for row in lost:
        assert row["difference"] == pytest.approx(-0.24, abs=0.04), row["method"]
        assert row["ratio"] < 1
    kept = contrasts(store, method="unadjusted", arm="two")
    assert kept[0]["difference"] < 0


def split_dose_station():
    """Give two arms alike, but that in the second some die between the doses.

    Equal chances: in each arm 12 of 60 die a day after the first dose.
    """
    made = queens(120, {"single 12": 1.0, "6 and 6": 1.0})
    for number, queen in enumerate(made):
        queen["doses"] = (6.0, 6.0) if queen["protocol"] == "6 and 6" else (12.0,)
        if number % 10 in (0, 1):
            queen["dies_on"] = 1
    return made


def test_queens_that_die_between_two_doses_count_against_the_two_doses():
    store = compared(split_dose_station())
    (row,) = contrasts(store, method="unadjusted")
    assert row["difference"] == pytest.approx(0.0)
    assert row["closed"] == 120
    # arms by doses given would have lost them, and flattered the two doses
    given = [{**q, "protocol": None} for q in split_dose_station()]
    found = {r["arm"]: r for r in compared(given).records("SELECT * FROM arms")}
    assert found["2 x 6 uL"]["rate"] == 1.0
    assert found["1 x 12 uL"]["rate"] == pytest.approx(0.8)


def test_two_doses_get_no_more_days_than_one():
    made = queens(120, {"single 12": 1.0, "6 and 6": 1.0})
    for number, queen in enumerate(made):
        queen["doses"] = (6.0, 6.0) if queen["protocol"] == "6 and 6" else (12.0,)
        # half of each arm is first seen with eggs on day 23 after the first dose
        queen["lays_on"] = 23 if number % 4 < 2 else 10
    store = compared(made)
    rates = {}
    for table in ("outcomes", "outcomes_from_first"):
        found = store.rows(
            f"SELECT protocol, avg((state = 'yes')::INT) FROM {table} JOIN courses "
            "USING (course_id) WHERE outcome = 'laying' GROUP BY ALL"
        )
        rates[table] = dict(found)
    # by the clock of the last insemination the second dose would buy two days
    assert rates["outcomes"] == {"single 12": 0.5, "6 and 6": 1.0}
    assert rates["outcomes_from_first"] == {"single 12": 0.5, "6 and 6": 0.5}
    for row in contrasts(store, method="unadjusted"):
        # a day drawn within its limits may fall on the other side of a window's end
        assert row["difference"] == pytest.approx(0.0, abs=0.01)
