"""What each setting may hold, at both sides of every boundary, and all that a refusal says."""

from __future__ import annotations

import datetime as dt
import math
import re

import pytest
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.reading import PASS_OVER, ColumnRule, ReadRule
from queen_outcomes.facts.settings import parse
from queen_outcomes.facts.settings_form import (
    FORM,
    HABITS,
    MOST_SLOTS,
    Field,
    _limits,
    by_name,
)

RANGE = re.compile(r"a whole number from (\d+) to (\d+)")


def fields(form, place=""):
    for name, inner in form.items():
        if isinstance(inner, Field):
            yield f"{place}{name}", inner
        elif isinstance(inner, dict):
            yield from fields(inner, f"{place}{name}.")


FIELDS = {**dict(fields(FORM)), **dict(fields(HABITS, "files."))}
RANGES = {name: one for name, one in FIELDS.items() if RANGE.fullmatch(one.expected)}


@pytest.mark.parametrize("name", RANGES)
def test_a_whole_number_goes_from_the_lowest_to_the_highest_that_is_told(name):
    low, high = map(int, RANGE.fullmatch(RANGES[name].expected).groups())
    held = [RANGES[name].read(value) for value in (low - 1, low, high, high + 1)]
    assert held == [None, low, high, None]
    assert [RANGES[name].read(value) for value in (True, float(low), str(low), [low])] == [None] * 4


def test_there_are_such_settings():
    assert {"outcomes.grace_days", "show.min_shown", "season.first_month", "plan.days"} <= set(RANGES)


@pytest.mark.parametrize(
    ("name", "value", "held"),
    [
        ("name", " Heath ", "Heath"),
        ("name", "  ", None),
        ("name", 3, None),
        ("as_of", dt.date(2026, 7, 5), dt.date(2026, 7, 5)),
        ("as_of", dt.datetime(2026, 7, 5, 10, tzinfo=dt.UTC), None),
        ("as_of", "2026-07-05", None),
        ("as_of", dt.date(1200, 1, 1), None),
        ("memory", "0.5 GB", 0.5),
        ("memory", "0.4 GB", None),
        ("memory", "10000GB", 10_000.0),
        ("memory", "10001 GB", None),
        ("memory", "4", None),
        ("outcomes.check_days", 21, (21,)),
        ("outcomes.check_days", [60, 14, 60], (14, 60)),
        ("outcomes.check_days", [1, 3650], (1, 3650)),
        ("outcomes.check_days", [0], None),
        ("outcomes.check_days", [3651], None),
        ("outcomes.check_days", [], None),
        ("outcomes.check_days", [True], None),
        ("outcomes.pattern_good_pct", 100, 100.0),
        ("outcomes.pattern_good_pct", 0.5, 0.5),
        ("outcomes.pattern_good_pct", 0, None),
        ("outcomes.pattern_good_pct", 100.5, None),
        ("outcomes.pattern_good_pct", True, None),
        ("plan.margin", 0.1, 0.1),
        ("plan.margin", 0, None),
        ("plan.margin", 1, None),
        ("plan.margin", "0.1", None),
        ("models.terms", ["dose", "tip"], ("dose", "tip")),
        ("models.terms", [], None),
        ("models.terms", ["dose", "dose"], None),
        ("models.terms", ["dose", "weather"], None),
        ("models.terms", [3], None),
        ("prior_cases", {" Anna ": 0, "Ben": 10**6}, {"Anna": 0, "Ben": 10**6}),
        ("prior_cases", {"Anna": -1}, None),
        ("prior_cases", {"Anna": 10**6 + 1}, None),
        ("prior_cases", {"Anna": True}, None),
        ("prior_cases", 3, None),
        ("records.fold", ["queen_id", "graft_batch"], ("queen_id", "graft_batch")),
        ("records.fold", ["line"], None),
        ("records.fold", 3, None),
        ("files.header", 1, (1,)),
        ("files.header", 10_000, (10_000,)),
        ("files.header", 10_001, None),
        ("files.header", 0, None),
        ("files.header", [2, 3, 5], (2, 3, 5)),
        ("files.header", [1, 2, 3, 4], None),
        ("files.header", [], None),
        ("files.header", [3, 3], None),
        ("files.header", True, None),
        ("files.month", "2025-12", "2025-12"),
        ("files.month", "1925-01", "1925-01"),
        ("files.month", "2225-01", None),
        ("files.month", "2025-00", None),
        ("files.prefix", "25-", {"queen_id": "25-"}),
        ("files.prefix", "E-{}-26", {"queen_id": "E-{}-26"}),
        ("files.prefix", "{}{}", None),
        ("files.prefix", {"colony_id": "Y", "queen_id": ""}, {"colony_id": "Y", "queen_id": ""}),
        ("files.prefix", {"line": "Y"}, None),
        ("files.prefix", {"queen_id": 25}, None),
        ("files.prefix", 25, None),
        ("files.apart", {"Looks": 1}, {"Looks": 1}),
        ("files.apart", {"Looks": MOST_SLOTS}, {"Looks": MOST_SLOTS}),
        ("files.apart", {"Looks": MOST_SLOTS + 1}, None),
        ("files.apart", {"Looks": 0}, None),
        ("files.apart", {"Looks": True}, None),
        ("files.apart", {" ": 2}, None),
        ("files.apart", ["Looks"], None),
        ("files.no_record", {" Done ": [" fed ", "II"]}, {"Done": ("fed", "II")}),
        ("files.no_record", {"Done": "fed"}, {"Done": ("fed",)}),
        ("files.no_record", {" ": ["fed"]}, None),
        ("files.no_record", {"Done": [" "]}, None),
        ("files.no_record", "fed", None),
        ("files.form", True, "yes"),
        ("files.form", False, None),
        ("files.form", "yes", None),
        ("files.year", 2025, 2025),
        ("files.year", "2025/26", "2025/26"),
        ("files.year", "2025/27", None),
        ("files.year", "2025-05", "2025-05"),
        ("files.year", "rows", "rows"),
        ("files.year", True, None),
        ("files.struck", PASS_OVER, PASS_OVER),
        ("files.struck", "yes", None),
        ("files.empty", ["-", " ? "], ("-", "?")),
        ("files.empty", [3], None),
    ],
)  # fmt: skip
def test_what_a_setting_may_hold(name, value, held):
    found = FIELDS[name].read(value)
    assert found == held
    assert type(found) is type(held)


@pytest.mark.parametrize(
    ("value", "bounds"),
    [
        ([1, 9], (1.0, 9.0)),
        ([5, 5], (5.0, 5.0)),
        ([5, 4], None),
        ([-math.inf, 9], (None, 9.0)),
        ([1, math.inf], (1.0, None)),
        ([-1e9, 1e9], (-1e9, 1e9)),
        ([-1.1e9, 9], None),
        ([1, 1.1e9], None),
        ([1], None),
        ([1, 2, 3], None),
        (["1", 2], None),
        ([True, 2], None),
        ([math.nan, 2], None),
        ("1 to 9", None),
    ],
)
def test_limits_are_the_lowest_and_the_highest(value, bounds):
    read = _limits("inseminations", "dose_ul", "hard").read(value)
    assert (read and (read.low, read.high)) == bounds


def test_a_limit_stays_open_only_where_it_is_the_usual_one():
    read = _limits("inseminations", "dose_ul", "hard").read
    assert (read([0, 30]).low_open, read([0.5, 30]).low_open) == (True, False)


def test_a_section_of_counts_shows_how_a_line_of_it_looks():
    assert by_name("planned_arms", "Doses_2026").expected == "[planned_arms] with lines such as Doses_2026 = 120"
    assert FIELDS["prior_cases"].expected.endswith("Anna = 120")


def rule_of(table="checks", **more):
    return parse({"read": [{"from": ["a.csv", "b.csv"], "table": table, **more}]}).reading.rules


def test_a_rule_is_read_as_it_is_written():
    (rule,) = rule_of(
        only={"Done": [" look ", "II"]},
        each=["1st", {"check": "2nd", "date": 3}],
        colours={"#ffff00": {"eggs": True, "pattern_pct": 80}},
        columns={
            "queen_id": "Queen",
            "checked_on": {"from": ["Day", "{check}"], "days": -1, "dates": "dmy", "year": "2025/26"},
            "eggs": {"from": "E {}", "filled": "yes", "words": {"yes": ["ja"], "nein": "no", "ned": "no"}},
            "pattern_pct": {"from": "P", "scores": {"4": 85, " A ": 100, "0": 0}},
            "drone_in_worker": {"value": "few"},
            "checker": {"title": "by"},
            "brood_given": {"value": False},
            "findings": {
                "from": "Seen",
                "words": {"E {pattern_pct}": {"eggs": "yes"}},
                "parts": {"{pattern_pct}": {}, "L": {"larvae": True}},
                "absent": {"sealed": "no"},
            },
        },
    )  # fmt: skip
    assert rule == ReadRule(
        1,
        ("a.csv", "b.csv"),
        "checks",
        {
            "queen_id": ColumnRule(("Queen",)),
            "checked_on": ColumnRule(("Day", "{check}"), days=-1, dates="dmy", year="2025/26"),
            "eggs": ColumnRule(("E {}",), filled="yes", words={"yes": ("ja",), "no": ("nein", "ned")}),
            "pattern_pct": ColumnRule(("P",), scores={"4": 85, "A": 100, "0": 0}),
            "drone_in_worker": ColumnRule(value="few"),
            "checker": ColumnRule(title="by"),
            "brood_given": ColumnRule(value="no"),
            "findings": ColumnRule(
                ("Seen",),
                findings={"E {pattern_pct}": {"eggs": "yes"}},
                parts={"{pattern_pct}": {}, "L": {"larvae": "yes"}},
                absent={"sealed": "no"},
            ),
        },
        ({"": "1st"}, {"check": "2nd", "date": "3"}),
        {"#FFFF00": {"eggs": "yes", "pattern_pct": "80"}},
        {"Done": ("look", "II")},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("said", "slots"),
    [
        ("Look", ({"": "Look"},)),
        (["Look", ""], ({"": "Look"}, {"": ""})),
        ([str(n) for n in range(MOST_SLOTS)], tuple({"": str(n)} for n in range(MOST_SLOTS))),
    ],
)
def test_slots_of_a_rule(said, slots):
    (rule,) = rule_of(each=said, columns={"eggs": "E {}"})
    assert rule.slots == slots


@pytest.mark.parametrize(
    ("value", "constant"),
    [
        (True, "yes"), (False, "no"), (" few ", "few"), (8, "8"), (8.5, "8.5"),
        (dt.date(2025, 6, 1), "2025-06-01"), (dt.datetime(2025, 6, 1, 8, 30, tzinfo=dt.UTC), "2025-06-01 08:30:00+00:00"),
    ],
)  # fmt: skip
def test_a_constant_is_what_a_cell_would_hold(value, constant):
    (rule,) = rule_of(columns={"note": {"value": value}})
    assert rule.columns["note"].value == constant


def test_texts_of_numbers_count_as_the_number_that_is_said():
    (rule,) = rule_of("inseminations", columns={"dose_ul": {"from": "D", "words": {"8-9": 8.5, "eight": 8, "acht": 8, "less": -1}}})
    assert rule.columns["dose_ul"].words == {"8.5": ("8-9",), "8": ("eight", "acht"), "-1": ("less",)}


def told(content):
    with pytest.raises(UsageError) as caught:
        parse(content)
    return caught.value.text()


LOOK = {"from": "a.csv", "table": "checks"}
DONE = {"from": "a.csv", "table": "inseminations"}


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        ({"table": "checks", "columns": {"eggs": "E"}}, ["[[read]] no. 1, from", "None", "a text in quotes, or a list of them"]),
        ({"from": "a.csv", "columns": {"eggs": "E"}}, ["[[read]] no. 1, table", '"queens"', '"lab"']),
        ({**LOOK, "columns": {"eggs": "E"}, "evry": 3}, ['there is no setting named "evry"', "one of from, table, only, each, columns, colours"]),
        ({**LOOK, "columns": {"eggs": [""]}}, ["columns.eggs", "a heading, or a list of them"]),
        ({**LOOK, "columns": {"eggs": 3}}, ["columns.eggs", "a heading, or a list of them"]),
        ({**LOOK, "columns": {"eggs": {}}}, ['one of from = "heading"']),
        ({**LOOK, "columns": {"eggs": {"value": "yes", "title": "E"}}}, ['one of from = "heading"']),
        ({**LOOK, "columns": {"eggs": {"title": "E", "from": "E"}}}, ['one of from = "heading"']),
        ({**LOOK, "columns": {"eggs": "E"}, "each": [3]}, ["[[read]] no. 1, each", 'texts, or sections such as { check = "1st check", date = "date" }']),
        ({**LOOK, "columns": {"eggs": "E"}, "each": [{}]}, ["[[read]] no. 1, each", "{}"]),
        ({**LOOK, "columns": {"eggs": "E"}, "each": [str(n) for n in range(MOST_SLOTS + 1)]}, [f"{MOST_SLOTS + 1} slots", f"at most {MOST_SLOTS}"]),
        ({**LOOK, "columns": {"eggs": "E {b}"}, "each": [{"a": "1", "c": "2"}]}, ['no slot of "each" has "{b}"', "{a} or {c}", "columns.eggs"]),
        ({**LOOK, "columns": {"eggs": "E"}, "colours": {"yellow": {"eggs": "yes"}}}, ['a colour such as "#FFFF00"']),
        ({**LOOK, "columns": {"eggs": "E"}, "colours": {"#FFFF0": {}}}, ['a colour such as "#FFFF00"']),
        ({**LOOK, "columns": {"eggs": "E"}, "colours": {"#FFFF00": {"eggs": "maybe"}}}, ['colours, "#FFFF00" eggs', '"yes" or "no"']),
        ({**LOOK, "columns": {"eggs": "E"}, "only": {"Done": []}}, ["only", "a heading and its texts"]),
        ({**LOOK, "columns": {"eggs": "E"}, "only": {" ": ["x"]}}, ["only", "a heading and its texts"]),
        ({**LOOK, "columns": {"eggs": "E"}, "only": "x"}, ["a section was expected", "only"]),
        ({**LOOK, "columns": {"checked_on": {"from": "D", "days": 367}}}, ["a whole number from -366 to 366"]),
        ({**LOOK, "columns": {"eggs": {"from": "E", "words": {"x": "some"}}}}, ["one of yes, no = your words"]),
        ({**DONE, "columns": {"leak": {"from": "L", "words": {"x": "lots"}}}}, ["one of none, some, most = your words"]),
        ({**DONE, "columns": {"dose_ul": {"from": "D", "words": {"8-9": "8"}}}}, ['your text = a number, "8-9" = 8.5']),
        ({**DONE, "columns": {"dose_ul": {"from": "D", "words": {"8-9": True}}}}, ['your text = a number, "8-9" = 8.5']),
        ({**LOOK, "columns": {"pattern_pct": {"from": "P", "scores": {"4": 100.5}}}}, ["score = 0 to 100 per cent"]),
        ({**LOOK, "columns": {"pattern_pct": {"from": "P", "scores": {"4": -1}}}}, ["score = 0 to 100 per cent"]),
        ({**LOOK, "columns": {"pattern_pct": {"from": "P", "scores": {"4": True}}}}, ["score = 0 to 100 per cent"]),
        ({**LOOK, "columns": {"findings": {"from": "F", "parts": {"{pattern_pct} %": {}}}}}, ["braces alone, as parts stand in any order"]),
        ({**LOOK, "columns": {"findings": {"from": "F", "parts": {"{pattern_pct}": {}, "8 E": {}}}}}, ["no part with a figure beside one for any number"]),
        ({**LOOK, "columns": {"findings": {"from": "F", "parts": {" ": {}}}}}, ["a text"]),
        ({**LOOK, "columns": {"findings": {"from": "F", "parts": {"{pattern_pct}": {}, "{multiple_eggs}": {}}}}}, ["multiple_eggs"]),
        ({**LOOK, "columns": {"findings": {"from": "F", "words": {"x": {"pattern_pct": "much"}}}}}, ["a number"]),
        ({**LOOK, "columns": {"findings": {"from": "F", "words": {"x": {"queen_id": "Q"}}}}}, ['there is no setting named "queen_id"']),
    ],
)  # fmt: skip
def test_a_rule_that_cannot_be_read_says_where_and_what_would_do(rule, says):
    found = told({"read": [rule]})
    assert [part for part in says if part not in found] == []


def test_two_parts_for_any_number_are_one_too_many():
    parts = {"{dose_ul}": {}, "{attempts}": {}}
    said = told({"read": [{**DONE, "columns": {"note": "N"}}], "words": {"parts": parts}})
    assert "one part for any number" in said
    assert "'{attempts}'" in said


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ({"read": 3}, "sections that begin with [[read]]"),
        ({"read": [3]}, "sections that begin with [[read]]"),
        ({"files": {"a.csv": 3}}, '[files."a.csv"] with lines below it'),
        ({"files": 3}, "[files] with lines below it"),
        ({"outcomes": 3}, "[outcomes] with lines below it"),
        ({"records": {"same": 3}}, "[records.same] with lines below it"),
        ({"records": {"same": {"operator": {"Ada": 3}}}}, "records.same.operator.Ada"),
        ({"records": {"same": {"operator": {"Ada": ["x"], "Eve": ["ada"]}}}}, '"ada" for both "Ada" and "Eve"'),
        ({"words": {"yes": ["ja"], "no": ["JA"]}}, '"JA" for both "yes" and "no"'),
        ({"words": {"yes": ["n"]}}, '"n", which is no, for yes'),
        ({"words": {"findings": {"x": 3}}}, 'words.findings."x"'),
        ({"words": {"absent": {"eggs": "maybe"}}}, '"yes" or "no"'),
        ({"zork": 3}, "take the line out"),
        ({"nam": "x"}, 'did you mean "name"?'),
    ],
)
def test_a_setting_that_cannot_be_read_says_what_was_expected(content, says):
    assert says in told(content)
