"""What a rule says of its columns, and how slots that stand side by side are written."""

import pytest
from proposals_by_hand import proposed
from queen_outcomes.records.map.seen.feed import Feed
from queen_outcomes.records.map.seen.station import Part
from queen_outcomes.records.map.written import notes, rules
from sheets_by_hand import part, sheet

DAY, NEXT = "2025-06-01", "2025-06-09"


@pytest.mark.parametrize(
    ("slots", "templates", "each"),
    [
        (
            {
                "1": {"checked_on": "Check 1 date", "eggs": "Check 1 eggs"},
                "2": {"checked_on": "Check 2 date", "eggs": "Check 2 eggs"},
            },
            {"checked_on": "{} date", "eggs": "{} eggs"},
            ["Check 1", "Check 2"],
        ),
        # what the headings of a slot begin with is its own
        (
            {
                "1": {"checked_on": "1 day", "eggs": "1 day eggs"},
                "2": {"checked_on": "2 day", "eggs": "2 day eggs"},
            },
            {"checked_on": "{}", "eggs": "{} eggs"},
            ["1 day", "2 day"],
        ),
        # nothing in common: each is named
        (
            {
                "1": {"checked_on": "Date", "eggs": "Eggs"},
                "2": {"checked_on": "Date (2)", "eggs": "Eggs (2)"},
            },
            {"checked_on": "{date}", "eggs": "{eggs}"},
            [
                {"date": "Date", "eggs": "Eggs"},
                {"date": "Date (2)", "eggs": "Eggs (2)"},
            ],
        ),
        (
            {"1": {"eggs": "Eggs 1"}, "2": {"eggs": "Eggs 2"}},
            {"eggs": "{eggs}"},
            [{"eggs": "Eggs 1"}, {"eggs": "Eggs 2"}],
        ),
    ],
)
def test_slots_are_written_as_short_as_they_can_be(slots, templates, each):
    names = [name for roles in slots.values() for name in roles.values()]
    laid = sheet(
        ",".join(["Queen", *names]) + "\n" + ",".join(["D1", *["x"] * len(names)])
    )
    one = Part(laid, Feed("checks", {}, slots))
    assert rules._each(proposed(one), one) == (templates, each)


def test_days_as_headings_are_written_as_days():
    laid = sheet(f"Queen,8.6.25,{NEXT},10.6.\nD1,eggs,Q,Q")
    names = ["8.6.25", NEXT, "10.6."]
    feed = Feed(
        "checks", {}, {n: {"findings": n} for n in names}, {n: n for n in names}
    )
    one = Part(laid, feed)
    made = proposed(one, answers={})
    made.orders.asked.clear()
    made.orders.by_file["sheet.csv"] = "mdy"
    made.orders.yearless["sheet.csv"] = 2024
    rule = rules.made(made, one, {})
    assert rule.each == [
        {"check": "8.6.25", "day": "2025-08-06"},
        {"check": NEXT, "day": NEXT},
        {"check": "10.6.", "day": "2024-10-06"},
    ]
    assert rule.columns == {"findings": "{check}", "checked_on": {"value": "{day}"}}
    made.orders.by_file.clear()
    assert rules.made(made, one, {}).each[0]["day"] == "8.6.25"  # which nobody guesses
    assert rules._iso("soon", None, one, made) == "soon"


def test_what_a_columns_rule_says_beside_its_heading():
    looks = part(
        "c.csv",
        "checks",
        pattern_pct=["0.8"],
        eggs=["x", ""],
        mark_seen=["yes"],
        checked_on=[DAY],
    )
    place = ("c.csv", "checks")
    answers = {
        ("percent", *place, "pattern_pct"): "share",
        ("blank", *place): "no",
        ("column", *place, "mark_seen"): "no",
        ("mixed", *place, "checked_on"): "swapped",
    }
    made = proposed(looks, answers=answers)
    made.orders.turned[(*place, "checked_on")] = "mdy"
    rule = rules.made(made, looks, {})
    assert rule.columns == {
        "pattern_pct": {"from": "pattern_pct", "unit": "share"},
        "eggs": {"from": "eggs", "blank": "no"},
        "checked_on": {"from": "checked_on", "dates": "mixed:mdy"},
    }
    leave = proposed(
        looks,
        answers={
            ("blank", *place): "leave",
            ("percent", *place, "pattern_pct"): "percent",
        },
    )
    leave.orders.by_column[(*place, "checked_on")] = "dmy"
    columns = rules.made(leave, looks, {}).columns
    assert columns["eggs"] == {"from": "eggs", "blank": "not looked"}
    # said, so that nobody asks again
    assert columns["pattern_pct"] == {"from": "pattern_pct", "unit": "%"}
    assert columns["checked_on"] == {"from": "checked_on", "dates": "dmy"}
    asked = proposed(looks, answers={("blank", *place): None})
    assert rules.made(asked, looks, {}).columns["eggs"] == "eggs"


def test_a_score_is_no_per_cent_and_stays_unread():
    looks = part("c.csv", "checks", pattern_pct=[*"12345"], eggs=["yes"] * 5)
    place = ("percent", "c.csv", "checks", "pattern_pct")
    made = proposed(looks, answers={place: "score"})
    assert list(rules.made(made, looks, {}).columns) == ["eggs"]
    (told,) = notes.scores(made, looks)
    assert told.endswith(
        'pattern_pct = { from = "pattern_pct", scores = '
        "{ 1 = .., 2 = .., 3 = .., 4 = .., 5 = .. } }"
    )
    assert notes.scores(proposed(looks, answers={place: "percent"}), looks) == []


@pytest.mark.parametrize(
    ("texts", "start"),
    [(["Check 1 a", "Check 1 b"], "Check 1 "), (["ab", "abc"], "ab"), (["a", "b"], "")],
)
def test_what_texts_begin_with(texts, start):
    assert rules._common_start(texts) == start


@pytest.mark.parametrize(
    ("second", "unit"), [("Dose 2 (ml)", "mL"), ("Dose 2 (ul)", "")]
)
def test_slots_of_one_unit_have_it(second, unit):
    laid = sheet(f"Queen,Dose 1 (ml),{second}\nD1,8,9")
    slots = {"1": {"dose_ul": "Dose 1 (ml)"}, "2": {"dose_ul": second}}
    assert (
        rules._slot_unit(Part(laid, Feed("inseminations", {}, slots)), "dose_ul")
        == unit
    )


def test_a_slots_text_may_lose_the_word_before_it():
    assert rules._shortest("Round 1 Check") == "Round 1"
    assert rules._shortest("Check") == "Check"


@pytest.mark.parametrize(
    ("texts", "found"),
    [
        ({"1": "1st look", "2": "2nd look"}, {"checked_on": "{} day"}),
        ({"1": "1st look", "2": "1st look"}, None),
        ({"1": "1st look", "2": ""}, None),
    ],
)
def test_slots_have_one_form_where_each_has_a_text_of_its_own(texts, found):
    slots = {"1": {"checked_on": "1st look day"}, "2": {"checked_on": "2nd look day"}}
    assert rules._templates(slots, texts) == found
