"""What is listed for a second look once rows are linked, each rule at its very edge."""

import datetime as dt

import pytest
from queen_outcomes.facts.dictionary import DERIVED_LIMITS
from queen_outcomes.outcomes.derive import write_listed
from station_tables import check, day, derived, insemination, leave

LAST = 122
"""The as-of day of `derived`, counted from 1 June."""
QUEEN = {"queens": [{"queen_id": "Q", "marked": True}]}


def listed(reason, columns="value", **records):
    store = derived(**{"inseminations": [insemination()], **records})
    return store.rows(
        f"SELECT {columns} FROM course_findings WHERE reason = $reason ORDER BY ALL",
        {"reason": reason},
    )


def noon(number):
    return dt.datetime.combine(day(number), dt.time(12))


def of_stranger(number):
    """One row in each table about a queen that nobody inseminated, on one day."""
    return {
        "checks": [check(number, "Zulu", eggs=True)],
        "exits": [leave(number, "dead", "Zulu")],
        "placements": [
            {"queen_id": "Zulu", "colony_id": "N1", "placed_on": day(number)}
        ],
        "co2": [{"queen_id": "Zulu", "given_at": noon(number)}],
        "lab": [{"queen_id": "Zulu", "sampled_on": day(number)}],
    }


def test_a_strange_queen_is_told_up_to_the_as_of_day_and_not_after_it():
    tables = listed("queen_not_inseminated", '"table"', **of_stranger(LAST))
    assert tables == [(name,) for name in ("checks", "co2", "exits", "lab", "placements")]
    later = {**of_stranger(LAST + 1), "checks": []}
    assert listed("queen_not_inseminated", **later) == []


@pytest.mark.parametrize(
    ("written", "nearest"),
    [
        ("AB1234", "AB1234"),
        ("AB1299", "AB1234"),
        ("AB1", None),
        ("AB12", "AB1234"),
        ("AB1999", None),
        ("AB123456", "AB1234"),
        ("AB1234567", None),
    ],
)
def test_an_id_two_letters_off_is_named_and_no_farther_one(written, nearest):
    found = listed(
        "queen_not_inseminated",
        "value, other",
        inseminations=[insemination(queen_id="AB1234")],
        checks=[check(9, written, eggs=True)],
    )
    if written == nearest:
        assert found == []
    else:
        told = f"; the nearest known is {nearest}" if nearest else None
        assert found == [(written, told)]


def test_the_nearest_is_looked_for_a_hundred_times():
    checks = [check(9, f"X{n:03d}", eggs=True) for n in range(1, 102)]
    found = listed(
        "queen_not_inseminated",
        "value, other",
        inseminations=[insemination(queen_id="X000")],
        checks=checks,
    )
    named = [value for value, other in found if other]
    # in the order of the ids: the 101st is told, its nearest is not looked for
    assert len(found) == 101
    assert found[99][0] in named
    assert found[100] == ("X101", None)


def aged(days):
    return {
        "queens": [{"queen_id": "Q", "emerged_on": day(-days)}],
        "inseminations": [insemination()],
    }


def test_a_derived_value_on_its_limit_is_within_it():
    hard, soft = DERIVED_LIMITS["queen_age_days"]
    edges = {
        hard.low - 1: ["derived_impossible"],
        hard.low: ["derived_unusual"],
        soft.low - 1: ["derived_unusual"],
        soft.low: [],
        soft.high: [],
        soft.high + 1: ["derived_unusual"],
        hard.high: ["derived_unusual"],
        hard.high + 1: ["derived_impossible"],
    }
    assert len(edges) == 8
    for days, reasons in edges.items():
        store = derived(**aged(days))
        found = [reason for (reason,) in store.rows("SELECT reason FROM course_findings")]
        assert found == reasons, days


def test_a_derived_value_is_told_to_one_decimal():
    """The insemination is at 10 o'clock; hours of semen are impossible before 0."""

    def said(number, hour, minute):
        taken = dt.datetime.combine(day(number), dt.time(hour, minute))
        store = derived(inseminations=[insemination(collected_at=taken)])
        return store.rows("SELECT reason, value FROM course_findings")

    assert said(0, 10, 20) == [("derived_impossible", "-0.3")]
    assert said(-2, 9, 45) == [("derived_unusual", "48.3")]
    assert said(-2, 10, 0) == said(0, 10, 0) == []


def test_looks_that_leave_no_day_for_the_onset_contradict_each_other():
    # no eggs on day 10, and larvae on 13 mean laying by 10: after and by on one day
    looks = [check(10, eggs=False), check(13, larvae=True)]
    assert listed("onset_conflict", "value, other", checks=looks) == [("10", "10")]
    looks[0] = check(9, eggs=False)
    assert listed("onset_conflict", checks=looks) == []


def test_an_exit_belongs_to_the_course_from_its_day_0_on():
    assert listed("exit_before_course", exits=[leave(0, "dead")]) == []
    assert listed("exit_before_course", exits=[leave(-1, "dead")]) == [(str(day(-1)),)]
    both = [leave(0, "dead"), leave(LAST, "sold")]
    assert listed("later_exit", exits=both) == [(str(day(LAST)),)]


def test_exits_after_the_as_of_day_are_not_told():
    for number, told in ((LAST, 1), (LAST + 1, 0)):
        exits = [leave(3, "dead"), leave(number, "sold")]
        assert len(listed("later_exit", exits=exits)) == told
        assert len(listed("exit_without_reason", exits=[leave(number, None)])) == told
    assert listed("exit_before_course", exits=[leave(LAST + 1, "dead")]) == []


def test_a_look_on_the_day_she_went_is_still_hers():
    exits = [leave(20, "dead")]
    on_the_day, after = check(20, eggs=True), check(21, eggs=True)
    assert listed("after_end", exits=exits, checks=[on_the_day]) == []
    assert listed("after_end", "value, other", exits=exits, checks=[after]) == [
        (str(day(21)), str(day(20)))
    ]


def test_an_end_the_looks_tell_comes_before_the_exit_that_follows():
    looks = [
        check(9, eggs=True, queen_seen=True),
        check(14, queen_seen=True, mark_seen=False),
        check(16, queen_seen=True, eggs=True),
    ]
    exits = [leave(30, "superseded")]
    found = listed("after_end", "value, other", checks=looks, exits=exits, **QUEEN)
    assert found == [(str(day(16)), str(day(14)))]


def test_a_look_on_the_day_of_a_further_course_is_of_that_course():
    doses = [insemination(), insemination(30)]
    exits = [leave(20, "missing")]
    on_day_0, before = check(30, eggs=False), check(29, eggs=False)
    assert listed("after_end", inseminations=doses, exits=exits, checks=[on_day_0]) == []
    assert listed("after_end", inseminations=doses, exits=exits, checks=[before]) == [
        (str(day(29)),)
    ]


def told(**records):
    store = derived(**{"inseminations": [insemination()], **records})
    store.table(
        "listed_records",
        "SELECT '' AS source, 1 AS line, 1 AS slot, '' AS \"table\", '' AS severity, '' AS reason, "
        "'' AS \"column\", '' AS value, '' AS message WHERE false",
    )
    write_listed(store)
    return store.records("SELECT * FROM listed ORDER BY reason")


def test_a_finding_is_listed_with_file_line_and_sentence():
    early, late = leave(3, "dead"), leave(9, "sold")
    (row,) = told(exits=[early, late])
    assert (row["source"], row["line"]) == ("exits.csv", 3)
    assert (row["reason"], row["severity"]) == ("later_exit", "look")
    assert "Q/1" in row["message"]


def test_every_finding_has_a_sentence_and_a_weight():
    rows = told(checks=[check(200, "R")], exits=[leave(-1, "dead"), leave(3, None)])
    assert len({row["reason"] for row in rows}) >= 2
    assert all(row["message"] and row["severity"] in ("look", "set_aside") for row in rows)


def test_a_station_without_findings_lists_nothing():
    assert told() == []
