"""Arms as they were meant, and what is said where they cannot be compared."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pytest
from armed import AS_OF, arms, asking, compared, contrasts, primary, queens
from queen_outcomes.dashboard import doses as page
from queen_outcomes.dashboard.doses import LEAST_OVERLAP
from queen_outcomes.doses.arm_courses import (
    GIVEN,
    MEANT,
    PROTOCOL,
    is_mixed,
    label_arms,
)
from queen_outcomes.facts import exports as contract
from queen_outcomes.facts.dose_words import exchange_said
from queen_outcomes.models.season_plan import SeasonPlan

pytestmark = pytest.mark.slow

TWO = {"one": 0.8, "two": 0.8}


def label(protocol, doses, meant, given):
    nan = [np.nan] * len(protocol)
    return label_arms(
        np.array(protocol),
        np.array(doses, float),
        np.array(meant or nan, float),
        np.array(given or nan, float),
    )


def shown(store, settings):
    return page.show(store, settings, AS_OF)


def test_the_protocol_names_the_arm_and_not_the_doses_given():
    found = label(["6 and 6", "6 and 6", "8"], [1, 2, 1], [6, 12, 8], [6, 12, 8])
    assert (found.source, found.intended) == (PROTOCOL, True)
    assert found.label.tolist() == ["6 and 6", "6 and 6", "8"]


def test_without_protocols_doses_meant_name_it():
    found = label([""] * 3, [1, 1, 1], [8, 12, np.nan], [8.2, 11, 9])
    assert (found.source, found.intended) == (MEANT, True)
    assert found.label.tolist() == ["1 x 8 uL", "1 x 12 uL", ""]


def test_doses_meant_do_not_tell_how_many_there_were_to_be():
    found = label([""] * 3, [1, 2, 1], [8, 12, 6], None)
    assert found.label.tolist() == ["1 x 8 uL", "2 x 6 uL", "1 x 6 uL"]
    assert not found.intended
    assert "between two doses" in found.said


def test_doses_given_are_a_guess_to_the_whole_ul():
    found = label([""] * 3, [1, 2, 1], None, [8.3, 11.8, np.nan])
    assert (found.source, found.intended) == (GIVEN, False)
    assert found.label.tolist() == ["1 x 8 uL", "2 x 6 uL", ""]


def test_a_source_kept_now_and_then_does_not_name_arms():
    found = label(["a", "", ""], [1, 1, 1], [8, 12, 8], None)
    assert found.source == MEANT


def test_arms_are_mixed_where_blocks_hold_them_side_by_side():
    arm, block = np.array(["a", "b"] * 4), np.repeat(["1", "2"], 4)
    assert is_mixed(arm, block)
    assert not is_mixed(np.repeat(["a", "b"], 4), block)
    assert not is_mixed(arm, np.where(np.arange(8) < 4, "", block))


def test_tables_keep_the_promise_and_a_shuffle_changes_nothing():
    made = queens(120, {"one": 0.8, "two": 0.6, "three": 0.9})
    store, again = compared(made), compared(made, shuffle=3)
    tables = ("arms", "arm_contrasts", "arm_costs", "arm_exchange", "dose_response")
    found = {name: store.columns(name) for name in tables}
    said = contract.differences(found)
    assert [text for text in said if text.split(".")[0] in tables] == []
    for name in tables[:4]:
        sql = f"SELECT * FROM {name} ORDER BY ALL"
        assert store.rows(sql)
        assert store.rows(sql) == again.rows(sql)


def test_costs_stand_on_the_adjusted_success_told_above_them():
    made = queens(240, {"one": 0.6, "two": 0.9})
    for queen in made:
        queen["doses"] = (8.0,) if queen["protocol"] == "one" else (6.0, 6.0)
        queen["minutes"] = 5.0
    store = compared(made)
    costs = {r["arm"]: r for r in store.records("SELECT * FROM arm_costs")}
    for name, arm in arms(store).items():
        row = costs[name]
        assert row["queens_per_success"] == pytest.approx(1 / arm["adjusted"])
        assert row["semen_ul_per_success"] == pytest.approx(
            arm["mean_dose_ul"] / arm["adjusted"]
        )
        bench = {"one": 5.0, "two": 10.0}[name]
        assert row["minutes_per_success"] == pytest.approx(bench / arm["adjusted"])
        # two to four looks each, all within the window and its grace
        assert row["visits_per_success"] == pytest.approx(4 / arm["adjusted"], abs=0.5)
        for what in ("queens", "drones", "minutes", "visits"):
            assert (
                row[f"{what}_low"] <= row[f"{what}_per_success"] <= row[f"{what}_high"]
            )
        assert "adjusted for what the main model holds" in row["assumptions"]
    (reference,) = {r["reference"] for r in store.records("SELECT * FROM arm_exchange")}
    other = "two" if reference == "one" else "one"
    for row in store.records("SELECT * FROM arm_exchange"):
        name = f"{row['resource']}_per_success"
        step = costs[other][name] - costs[reference][name]
        assert row["more"] == pytest.approx(1000 * step)
        # limits of a difference from those of both (Donner and Zou 2012, from memory)
        ends = "" if row["resource"] == "semen_ul" else f"{row['resource']}_"
        one, usual = costs[other], costs[reference]
        down = np.hypot(one[name] - one[f"{ends}low"], usual[f"{ends}high"] - usual[name])
        up = np.hypot(one[f"{ends}high"] - one[name], usual[name] - usual[f"{ends}low"])
        assert row["low"] == pytest.approx(1000 * (step - down))
        assert row["high"] == pytest.approx(1000 * (step + up))
    (told,) = exchange_said(store.records("SELECT * FROM arm_exchange"), "laying")
    assert told.startswith(f"For 1,000 successes (laying) {other} takes ")
    fewer = "fewer" if other == "two" else "more"
    assert re.search(rf"takes \d+ {fewer} queens \(\d+ to \d+ {fewer}\)", told)


def test_counts_of_the_arms_add_up():
    store = compared(queens(120, TWO))
    for row in arms(store).values():
        parts = [row[k] for k in ("yes", "no", "undecided", "left")]
        assert (row["courses"], row["closed"], sum(parts)) == (60, 60, 60)
        assert row["rate"] == pytest.approx(row["yes"] / (row["yes"] + row["no"]))
        assert row["low"] < row["rate"] < row["high"]


def test_guessed_arms_have_figures_and_no_verdict():
    made = queens(120, TWO)
    for queen in made:
        queen["doses"] = (8.0,) if queen.pop("protocol") == "one" else (6.0, 6.0)
    row = primary(compared(made))
    assert (row["arm"], row["reference"]) == ("2 x 6 uL", "1 x 8 uL")
    assert row["difference"] is not None
    assert (row["verdict"], row["intended"]) == (None, False)
    assert "guessed" in row["said"]


def test_one_arm_only_is_told():
    settings = asking()
    store = compared(queens(60, {"one": 0.8}), settings)
    assert contrasts(store) == []
    (part,) = shown(store, settings)["parts"]
    assert part["findings"] == [
        "There is one arm only, one: nothing to compare it with."
    ]
    assert store.rows("SELECT arm, frontier FROM arm_costs") == [("one", True)]


def test_no_arm_at_all_is_told():
    made = queens(30, TWO)
    for queen in made:
        del queen["protocol"]
        queen["doses"] = (None,)
    settings = asking()
    store = compared(made, settings)
    assert arms(store) == {}
    assert shown(store, settings)["nothing"].startswith("No course has an arm")


def test_a_station_without_courses_is_answered():
    settings = asking()
    store = compared([], settings)
    assert shown(store, settings)["parts"] == []


def test_an_arm_of_three_queens_has_counts_only():
    made = queens(123, TWO)
    for queen in made[-3:]:
        queen["protocol"] = "three"
    store = compared(made)
    row = arms(store)["three"]
    assert (row["courses"], row["rate"]) == (3, None)
    few = contrasts(store, arm="three")
    assert [r["difference"] for r in few] == [None] * 3
    assert all("fewer than 10 closed courses" in r["note"] for r in few)
    # and it does not widen the limits of the arm that can be compared
    both = compared(made[:-3])
    assert primary(store, arm="two")["low"] == pytest.approx(
        primary(both)["low"], abs=0.02
    )


def test_arms_of_different_seasons_are_not_told_apart():
    made = queens(160, TWO)
    for number, queen in enumerate(made):
        late = queen["protocol"] == "two"
        queen["on"] = number % 60 + (365 if late else 0)
        queen["graft_batch"] = f"{'b' if late else 'a'}{number // 12}"
    settings = asking()
    store = compared(made, settings)
    for row in contrasts(store):
        assert (row["difference"], row["verdict"]) == (None, None)
        assert "hardly share seasons" in row["note"]
    (part,) = shown(store, settings)["parts"]
    (pair,) = part["apart"]
    assert pair["rows"] == [
        {"level": "2025", "arm": 0, "other": 80},
        {"level": "2026", "arm": 80, "other": 0},
    ]
    assert contrasts(store, primary=True)[0]["overlap"] < LEAST_OVERLAP


def in_whole_batches(n, batches):
    made = queens(n, TWO)
    for number, queen in enumerate(made):
        batch = number % batches
        queen |= {"graft_batch": f"g{batch}", "protocol": ("one", "two")[batch % 2]}
        queen["on"] = 10 + batch
    return made


def test_two_batches_each_of_one_arm_are_not_told_apart():
    for row in contrasts(compared(in_whole_batches(60, 2))):
        assert row["difference"] is None
        assert "every graft batch stood in one arm" in row["note"]


def test_a_few_batches_each_of_one_arm_leave_the_model_nothing():
    row = primary(compared(in_whole_batches(120, 4)))
    assert row["difference"] is None
    assert "cannot be told apart from what goes with it" in row["note"]


def test_many_batches_each_of_one_arm_are_compared_between_batches():
    store = compared(in_whole_batches(240, 24))
    row = primary(store)
    alone = contrasts(store, method="unadjusted")[0]
    assert row["difference"] == pytest.approx(alone["difference"], abs=0.05)
    within = contrasts(store, method="stratified")[0]
    assert (within["difference"], within["note"]) == (
        None,
        "no graft batch holds both arms",
    )


def test_operators_with_an_arm_each_are_not_told_apart():
    made = queens(120, TWO)
    for queen in made:
        queen["operator"] = {"one": "A", "two": "B"}[queen["protocol"]]
    assert "hardly share operators" in primary(compared(made))["note"]


def test_reference_and_method_stay_as_the_season_fixed_them():
    made = queens(120, TWO)
    plan = SeasonPlan("2026", AS_OF)
    first = primary(compared(made, plan=plan))
    name = "doses outside of trials"
    assert plan.fresh[name]["reference"] == first["reference"] == "one"
    more = [{**queen, "protocol": "two"} for queen in made[:60]]
    later = SeasonPlan("2026", AS_OF + dt.timedelta(7), sections=dict(plan.fresh))
    assert primary(compared(made + more, plan=later))["reference"] == "one"
    assert primary(compared(made + more))["reference"] == "two"


def test_another_margin_within_a_season_is_a_change_of_plan():
    made = queens(120, TWO)
    plan = SeasonPlan("2026", AS_OF)
    compared(made, plan=plan)
    later = SeasonPlan("2026", AS_OF, sections=dict(plan.fresh))
    compared(made, asking(0.2), plan=later)
    assert [c["what"] for c in later.changed] == [
        "doses outside of trials: margin was 0.1, is 0.2"
    ]
