"""What the settings may say of reading, which level wins, and what they may not say."""

from __future__ import annotations

import pytest
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.reading import ColumnRule, takes
from queen_outcomes.facts.settings import parse

RULE = {"from": "a.csv", "table": "checks", "columns": {"checked_on": "Day"}}


def test_the_nearest_level_wins():
    reading = parse(
        {
            "dates": {"order": "dmy"},
            "numbers": {"decimal": ","},
            "words": {"empty": ["-"], "yes": ["ja"]},
            "files": {"a.csv": {"dates": "mdy", "empty": ["?"]}},
        }
    ).reading
    station = reading.cell_rule("checks", "checked_on", "b.csv")
    assert (station.dates, station.decimal, station.empty) == ("dmy", ",", ("-",))
    file = reading.cell_rule("checks", "checked_on", "a.csv")
    assert (file.dates, file.decimal, file.empty) == ("mdy", ",", ("?",))
    own = ColumnRule(("Day",), dates="ymd", decimal=".", empty=())
    column = reading.cell_rule("checks", "checked_on", "a.csv", own)
    assert (column.dates, column.decimal, column.empty) == ("ymd", ".", ())


def test_a_word_means_what_the_nearer_level_says():
    reading = parse(
        {
            "words": {
                "empty": ["-"],
                "drone_in_worker": {"few": ["some"], "none": ["no"]},
            }
        }
    ).reading
    own = ColumnRule(("Drones",), words={"none": ("-",), "many": ("some",)})
    rule = reading.cell_rule("checks", "drone_in_worker", "a.csv", own)
    assert rule.words == {"none": ("-", "no"), "many": ("some",)}
    assert rule.empty == ()


@pytest.mark.parametrize(
    ("pattern", "name", "does"),
    [
        ("2025*.xlsx", "2025 book.xlsx#Queens", True),
        ("2025*.xlsx#Queens", "2025 book.xlsx#Late", False),
        ("*#Queens", "old/2024.xlsx#queens", True),
        ("checks.csv", "old/checks.csv", True),
        ("old/*", "checks.csv", False),
        ("README*", "readme.txt", True),
        ("bench [[]1].csv", "bench [1].csv", True),
    ],
)
def test_patterns(pattern, name, does):
    assert takes(pattern, name) is does


def scored(scores, *, column="pattern_pct", **more):
    """Give a rule with a column of scores."""
    return {**RULE, "columns": {column: {"from": "P", "scores": scores, **more}}}


def refused(content):
    """Give the whole message of a refusal."""
    with pytest.raises(UsageError) as caught:
        parse(content)
    return caught.value.text()


@pytest.mark.parametrize(("said", "read"), [(1, (1,)), ([2], (2,)), ([1, 2, 3], (1, 2, 3))])
def test_one_line_of_headings_or_up_to_three_are_read(said, read):
    habits = parse({"files": {"a.csv": {"header": said}}}).reading.habits["a.csv"]
    assert habits.header == read


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ({"records": {"fold": ["operator"]}}, "queen_id, colony_id"),
        ({"records": {"co2": "some"}}, '"every", "other"'),
        ({"records": {"same": {"operater": {}}}}, 'did you mean "operator"?'),
        (
            {"records": {"same": {"operator": {"A": ["x"], "B": ["X"]}}}},
            "one spelling stands for two names",
        ),
        ({"files": {"a.csv": {"month": "2026-13"}}}, 'such as "2026-05"'),
        ({"files": {"a.csv": {"month": 202605}}}, 'such as "2026-05"'),
        ({"files": {"a.csv": {"no_record": {"Done": []}}}}, "headings, each with its texts"),
        ({"files": {"a.csv": {"date": "dmy"}}}, 'did you mean "dates"?'),
        ({"files": {"a.csv": {"header": [4, 3]}}}, "line of the headings"),
        ({"read": [RULE | {"table": "cheks"}]}, '"checks"'),
        ({"read": [{**RULE, "columns": {"egs": "E"}}]}, 'did you mean "eggs"?'),
        ({"read": [{**RULE, "columns": {}}]}, "[read.columns]"),
        (
            {"read": [{**RULE, "each": ["1"], "columns": {"eggs": "{look}"}}]},
            'no slot of "each" has "{look}"',
        ),
        (
            {
                "read": [
                    {**RULE, "columns": {"pattern_pct": {"from": "P", "unit": "x"}}}
                ]
            },
            '"share"',
        ),
        (
            {"read": [{**RULE, "columns": {"eggs": {"from": "E", "value": "yes"}}}]},
            'one of from = "heading", value = "constant" and title = "word"',
        ),
        ({"read": [scored({"4": 101})]}, "score = 0 to 100 per cent"),
        ({"read": [scored({"4": "85"})]}, "score = 0 to 100 per cent"),
        ({"read": [scored({" ": 85})]}, "score = 0 to 100 per cent"),
        ({"read": [scored([85])]}, "scores"),
        ({"read": [scored({"4": 85}, unit="%")]}, "no unit beside scores"),
        ({"read": [scored({"4": 85}, words={"4": 80})]}, "no words beside scores"),
        ({"read": [scored({"A": 85, "a": 10})]}, "each score once"),
        ({"read": [scored({"4": 85, "4.0": 10})]}, "each score once"),
        ({"read": [scored({"4": 85}, column="eggs")]}, 'no setting named "scores"'),
        ({"words": {"findings": {"DL": {"drones": "many"}}}}, "drone_in_worker"),
        ({"words": {"findings": {"DL": {"drone_in_worker": "lots"}}}}, '"many"'),
        ({"words": {"about": 3}}, "about"),
        ({"words": {"findings": {"EL {patern_pct}": {}}}}, 'did you mean "pattern_pct"?'),
        ({"words": {"findings": {"EL {eggs}": {}}}}, "pattern_pct"),
        ({"words": {"findings": {"EL {pattern_pct}": {"pattern_pct": 8}}}}, "nothing else"),
        ({"words": {"findings": {"EL {pattern_pct} {dose_ul}": {}}}}, "at most one column in braces"),
        ({"words": {"yes": ["no"], "no": ["yes"]}}, "a word of ours is said to mean"),
        ({"words": {"leak": {"most": ["none"]}}}, "a word of ours is said to mean"),
        ({"words": {"no": ["-"], "empty": ["-"]}}, '"-" for both "no" and "empty"'),
        (
            {
                "read": [
                    {
                        **RULE,
                        "columns": {
                            "eggs": {"from": "E", "empty": "-", "words": {"no": "-"}}
                        },
                    }
                ]
            },
            '"-" for both "no" and "empty"',
        ),
        (
            {
                "read": [
                    {**RULE, "columns": {"checked_on": {"from": "D", "filled": "yes"}}}
                ]
            },
            'no setting named "filled"',
        ),
        (
            {"columns": {"checks": {"eggs": "Brood", "larvae": "brood "}}},
            '"brood" for both eggs and larvae',
        ),
    ],
)
def test_what_cannot_hold_is_refused_in_words(content, told):
    assert told in refused(content)


def test_all_faults_are_told_in_one_run():
    told = refused(
        {
            "dates": {"order": "ydm"},
            "plan": {"outcome": "laying", "days": 22},
            "read": [RULE | {"table": "cheks"}],
            "nmae": "x",
        }
    )
    assert told.count("error:") == 4
