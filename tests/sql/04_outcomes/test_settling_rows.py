"""Which row of which file settled an answer, and which answer is a failure."""

import pytest
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.explain import parameters, statement
from station_tables import check, day, derived, insemination, leave, states

MARKED = [{"queen_id": "Q", "marked": True}]
LAYS = {"eggs": True, "larvae": True, "sealed": True, "queen_seen": True}
SOUND = {**LAYS, "mark_seen": True, "drone_in_worker": "none", "pattern_pct": 90}
GOOD = [check(number, **SOUND) for number in (14, 21, 40, 63, 95, 370)]
"""Lines 2 to 7; what was seen after a window's days of grace settles nothing of it."""


def known(**records):
    given = {"queens": MARKED, "inseminations": [insemination()], **records}
    return derived(day(500), **given)


def settled(store, outcome, window):
    (row,) = store.rows(
        "SELECT state, settled_by FROM outcomes WHERE course_id = 'Q/1' "
        "AND outcome = $outcome AND window_days = $window",
        {"outcome": outcome, "window": window},
    )
    return row


def test_looks_that_contradict_each_other_both_stand_behind_an_onset_from_day_0_on():
    store = known(checks=[check(15, eggs=False), check(20, sealed=True)])
    assert settled(store, "laying", 21) == ("yes", ["checks.csv:3", "checks.csv:2"])
    (span,) = store.rows(
        'SELECT "after", "by" FROM outcomes WHERE outcome = \'laying\' AND window_days = 21'
    )
    # sealed cells are eight days old or more
    assert span == (0, 12)


@pytest.mark.parametrize(
    ("outcome", "window", "records", "state", "rows"),
    [
        ("laying", 21, {"checks": GOOD}, "yes", ["checks.csv:2"]),
        ("laying", 21, {"exits": [leave(3, "dead")]}, "no", ["exits.csv:2"]),
        (
            "laying",
            21,
            {"inseminations": [insemination(), insemination(12)]},
            "no",
            ["inseminations.csv:3"],
        ),
        (
            "laying",
            21,
            {"checks": [check(9, eggs=False)], "exits": [leave(12, "sold")]},
            "left",
            ["exits.csv:2"],
        ),
        (
            "laying",
            21,
            {"checks": [check(9, eggs=False)], "exits": [leave(12, "missing")]},
            "no",
            ["exits.csv:2", "checks.csv:2"],
        ),
        (  # between day 0 and day 1: the looks do not contradict each other
            "laying",
            21,
            {"checks": [check(0, eggs=False), check(1, eggs=True)]},
            "yes",
            ["checks.csv:3"],
        ),
        ("pattern", 60, {"checks": GOOD}, "yes", ["checks.csv:5"]),
        ("drone_layer", 60, {"checks": GOOD}, "no", ["checks.csv:5"]),
        (
            "drone_layer",
            60,
            {"checks": [GOOD[0]], "exits": [leave(40, "drone_layer")]},
            "yes",
            ["exits.csv:2"],
        ),
        ("superseded", 90, {"checks": GOOD}, "no", ["checks.csv:6"]),
        (
            "superseded",
            90,
            {"checks": [GOOD[0]], "exits": [leave(80, "superseded")]},
            "yes",
            ["exits.csv:2"],
        ),
        ("lost", 21, {"checks": GOOD}, "no", ["checks.csv:3"]),
        ("lost", 21, {"exits": [leave(20, "missing")]}, "yes", ["exits.csv:2"]),
        ("lost", 21, {"exits": [leave(10, "culled_fault")]}, "left", ["exits.csv:2"]),
        (
            "established",
            60,
            {"checks": GOOD},
            "yes",
            ["checks.csv:2", "checks.csv:5"],
        ),
        (
            "established",
            60,
            {"checks": [GOOD[0]], "exits": [leave(30, "moved")]},
            "left",
            ["exits.csv:2"],
        ),
        ("lost", 21, {"checks": [check(9, eggs=True)]}, "undecided", []),
    ],
)
def test_the_deciding_rows_are_named_by_file_and_line(
    outcome, window, records, state, rows
):
    assert settled(known(**records), outcome, window) == (state, rows)


def test_rows_of_one_day_that_were_merged_are_all_named():
    looks = [check(14, eggs=True), check(14, larvae=True)]
    assert settled(known(checks=looks), "laying", 21) == (
        "yes",
        ["checks.csv:2", "checks.csv:3"],
    )


FAILED = {
    "laying": {"checks": [check(24, eggs=False, queen_seen=True)]},
    "pattern": {"checks": [check(40, **{**SOUND, "pattern_pct": 50})]},
    "drone_layer": {"checks": [check(40, **{**SOUND, "drone_in_worker": "many"})]},
    "superseded": {
        "checks": [GOOD[0], check(50, queen_seen=True, mark_seen=False, eggs=True)]
    },
    "lost": {"exits": [leave(9, "dead")]},
    "established": {"checks": [GOOD[0]], "exits": [leave(30, "culled_fault")]},
}
"""Of each outcome the plainest failure there is."""


def test_a_failure_is_what_the_registry_calls_one():
    good = states(known(checks=GOOD))
    assert set(FAILED) == set(OUTCOMES)
    for name, records in FAILED.items():
        bad = states(known(**records))
        for window in OUTCOMES[name].days:
            other = {"yes": "no", "no": "yes"}[OUTCOMES[name].fails]
            assert bad[name, window] == OUTCOMES[name].fails, name
            assert good[name, window] == other, name


def rules(store, *queens):
    given = parameters(store, list(queens), settings=Settings(), as_of=day(500))
    rows = store.rows(statement("outcomes_explained"), given)
    return {(row[0], row[1], row[2]): row[6] for row in rows}


def test_the_rule_told_is_the_outcome_s_own_and_of_the_queens_asked_for_only():
    store = derived(
        day(500),
        queens=[*MARKED, {"queen_id": "R", "marked": True}],
        inseminations=[insemination(), insemination(queen_id="R")],
        checks=GOOD,
        exits=[leave(9, "dead", "R")],
    )
    told = rules(store, "Q")
    assert {course for course, *_ in told} == {"Q/1"}
    assert told["Q/1", "lost", 21] == "she was there on day 21"
    assert told["Q/1", "established", 60] == "laying, and there on day 63"
    assert rules(store, "R")["R/1", "lost", 21] == "dead by day 9"


def test_a_rule_is_not_told_of_an_answer_that_it_would_not_give_now():
    store = known(checks=GOOD)
    store.execute("UPDATE outcomes SET state = 'no' WHERE outcome = 'pattern'")
    told = rules(store, "Q")["Q/1", "pattern", 60]
    assert told == "the settings have changed since this build"
