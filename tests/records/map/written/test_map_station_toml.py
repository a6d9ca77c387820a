"""What is written into the settings, and what stays as it stands there."""

import tomllib

import pytest
from queen_outcomes.records.map.asked.questions import Question
from queen_outcomes.records.map.written import known, sections, station_toml
from queen_outcomes.records.map.written.mapping import Written
from queen_outcomes.records.map.written.rules import NewRule

RULE = NewRule(["a.csv"], "checks", {"queen_id": "No."})


def put(text, written=None, **more):
    return tomllib.loads(station_toml.put(text, written or Written(), **more))


@pytest.mark.parametrize(
    ("source", "pattern", "named"),
    [
        ("a.csv", "a.csv", True),
        ("a.csv", "b.csv", False),
        ("a.csv", "*.csv", True),
        ("book.xlsx#May", "book.xlsx", True),
        ("book.xlsx#May", "book.xlsx#May", True),
        ("book.xlsx#May", "book.xlsx#June", False),
        ("book.xlsx#May", "*.xlsx", True),
        ("a b.csv", "a[ ]b.csv", True),
    ],
)
def test_a_pattern_without_a_sheet_names_all_of_a_file(source, pattern, named):
    assert known.is_known(source, ["zork", pattern]) == named
    assert not known.is_known(source, [])


def test_sources_that_settings_speak_of_are_those_of_every_section():
    settings = {
        "records": {"ignore": ["a"]},
        "read": [{"from": "b"}, {"from": ["c", "d"]}, {}],
        "tables": {"checks": "e", "exits": ["f"]},
    }
    assert known.known_patterns(settings) == list("abcdef")
    assert known.known_patterns({}) == []


def test_headings_are_known_of_columns_that_there_are():
    columns = {"queen_id": "No.", "zork": "Z", "note": 5}
    assert known.known_headings(
        {"columns": {"checks": columns, "zork": columns, "exits": "x"}}
    ) == {"checks": {"queen_id": "No."}}
    assert known.known_headings({"columns": "x"}) == known.known_headings({}) == {}


def test_a_rule_is_written_with_all_that_it_has_and_no_more():
    full = NewRule(
        ["a.csv", "b [1].csv"],
        "checks",
        {"queen_id": "{n} No.", "eggs": {"from": "Eggs", "blank": "no"}},
        [{"n": "1st"}, {"n": "2nd"}],
        {"#FF0000": {"queen_seen": "no"}},
    )
    plain, told = put('name = "X"\n', Written(rules=[RULE, full]))["read"]
    assert plain == {"from": "a.csv", "table": "checks", "columns": {"queen_id": "No."}}
    assert told == {
        "from": ["a.csv", "b [[]1].csv"],
        "table": "checks",
        "each": [{"n": "1st"}, {"n": "2nd"}],
        "columns": full.columns,
        "colours": full.colours,
    }


def test_a_long_list_has_a_line_for_each_of_its_texts():
    short, long = sections.array_of(["x"] * 17), sections.array_of(["x"] * 18)
    # five signs a text, and two brackets less a comma with its blank: 85 and 90
    assert (len(short.as_string()), "\n" in short.as_string()) == (85, False)
    assert "\n" in long.as_string()
    assert list(long) == ["x"] * 18


def test_lists_are_added_to_and_words_that_stand_there_stay():
    text = """
[records]
ignore = ["a"]
fold = "no"
[records.same.operator]
Ada = ["ada"]
[words]
yes = ["ja"]
[words.reason]
sold = ["verkauft"]
gone = "missing"
[files."a.csv"]
dates = "mdy"
pass_over = ["x"]
"""
    found = put(
        text,
        Written(
            records={
                "ignore": ["b", "a"],
                "fold": "yes",
                "same": {"operator": {"Ada": ["ada", "A."], "Bo": ["bo"]}},
            },
            words={
                "yes": ["ja", "si"],
                "no": ["nein"],
                "reason": {"sold": ["vendida", "verkauft"], "gone": "dead", "lost": "missing"},
            },
            files={"a.csv": {"dates": "dmy", "pass_over": ["y", "x"]}, "b.csv": {"prefix": "K"}},
        ),
    )  # fmt: skip
    assert found["records"] == {
        "ignore": ["a", "b"],
        "fold": "yes",
        "same": {"operator": {"Ada": ["ada", "A."], "Bo": ["bo"]}},
    }
    assert found["words"] == {
        "yes": ["ja", "si"],
        "no": ["nein"],
        "reason": {"sold": ["verkauft", "vendida"], "gone": "missing", "lost": "missing"},
    }
    assert found["files"] == {
        "a.csv": {"dates": "mdy", "pass_over": ["x", "y"]},
        "b.csv": {"prefix": "K"},
    }


COMMA, DMY = {"decimal": ","}, {"dates": "dmy"}
BOTH = [NewRule(["a.csv", "b.csv"], "checks", {"queen_id": "No."})]


@pytest.mark.parametrize(
    ("files", "station", "left"),
    [
        ({"a.csv": DMY, "b.csv": DMY}, {"dates": {"order": "dmy"}}, {}),
        # one that says nothing of days follows; one without commas keeps its points
        ({"a.csv": DMY}, {"dates": {"order": "dmy"}}, {}),
        ({"a.csv": COMMA}, {}, {"a.csv": COMMA}),
        ({"a.csv": COMMA, "b.csv": COMMA}, {"numbers": {"decimal": ","}}, {}),
        (
            {"a.csv": {**DMY, "prefix": "K"}, "b.csv": {"dates": "mdy"}},
            {},
            {"a.csv": {**DMY, "prefix": "K"}, "b.csv": {"dates": "mdy"}},
        ),
    ],
)
def test_what_all_files_have_alike_is_the_stations_on_the_first_run(files, station, left):
    written = Written(rules=BOTH, files=files)
    found = put('name = "X"\n', written)
    assert found.get("files", {}) == left
    assert {k: v for k, v in found.items() if k in ("dates", "numbers")} == station
    # later runs never speak for the station
    later = put('[[read]]\nfrom = "c.csv"\ntable = "exits"\n', written)
    assert later["files"] == files
    assert "dates" not in later


def test_what_the_station_says_is_not_said_again_of_a_file():
    text = '[dates]\norder = "dmy"\n[numbers]\ndecimal = "."\n'
    found = put(text, Written(rules=BOTH, files={"a.csv": {**DMY, **COMMA}}))
    assert (found["files"], found["dates"]) == ({"a.csv": COMMA}, {"order": "dmy"})


SETTLED = """
[[read]]
from = ["a.csv", "b.csv"]
table = "checks"
[read.columns]
queen_id = "No."
eggs = "Eggs"
note = "Note"

[[read]]
from = "a.csv"
table = "exits"
[read.columns]
queen_id = "No."
eggs = "Eggs"

[[read]]
from = "c.csv"
table = "checks"
[read.columns]
eggs = "Eggs"
"""


def settled(question, **everything):
    return put(
        SETTLED, answered=[Question(question, "?")], everything=Written(**everything)
    )


def test_an_answer_about_a_column_changes_it_in_its_own_place_alone():
    spec = {"from": "Eggs", "blank": "no"}
    rule = NewRule(["a.csv"], "checks", {"queen_id": "Id", "eggs": spec, "more": "M"})
    columns = [r["columns"] for r in settled("blank:a.csv:checks:eggs", rules=[rule])["read"]]
    # of a column that no rule has any more only the one asked about goes
    assert columns == [
        {"queen_id": "No.", "eggs": spec, "note": "Note"},
        {"queen_id": "No.", "eggs": "Eggs"},
        {"eggs": "Eggs"},
    ]
    every = settled("blank:a.csv:checks:*", rules=[rule])["read"][0]["columns"]
    assert every == {"queen_id": "Id", "eggs": spec, "note": "Note"}
    gone = settled("column:a.csv:checks:note", rules=[rule])["read"]
    assert gone[0]["columns"] == {"queen_id": "No.", "eggs": "Eggs"}
    other = settled("column:a.csv:exits:eggs", rules=[rule])["read"]
    assert [r["columns"].get("eggs") for r in other] == ["Eggs", None, "Eggs"]


def test_a_sheet_that_lists_no_such_records_leaves_the_rules_of_that_table():
    left = settled("rows:a.csv:checks:*")
    assert [(r["from"], r["table"]) for r in left["read"]] == [
        (["b.csv"], "checks"),
        ("a.csv", "exits"),
        ("c.csv", "checks"),
    ]
    # the last sheet of a rule takes the rule along; what is left out is said
    alone = settled("rows:c.csv:checks:*", records={"ignore": ["c.csv", "d.csv"]})
    assert len(alone["read"]) == 2
    assert alone["records"]["ignore"] == ["c.csv"]
    kept = settled("rows:a.csv:checks:*", rules=[RULE], records={"ignore": ["a.csv"]})
    assert (len(kept["read"][0]["from"]), "records" in kept) == (2, False)


def test_a_sheet_that_is_none_is_left_out_unless_a_rule_reads_it():
    ignore = {"records": {"ignore": ["a.csv", "b.csv"]}}
    assert settled("ignore:a.csv:*:*", **ignore)["records"] == {"ignore": ["a.csv"]}
    assert "records" not in settled("ignore:a.csv:*:*", rules=[RULE], **ignore)
    assert "records" not in settled("ignore:z.csv:*:*", **ignore)


def test_a_habit_is_put_where_the_question_is_of():
    files = {"a.csv": {"dates": "dmy", "prefix": "K"}, "b.csv": {"dates": "mdy"}}
    assert settled("dates:a.csv:checks:checked_on", files=files)["files"] == {
        "a.csv": {"dates": "dmy"}
    }
    assert settled("lead:a.csv:*:*", files=files)["files"] == {"a.csv": {"prefix": "K"}}
    assert settled("dates:*:checks:*", files=files)["files"] == {
        "a.csv": {"dates": "dmy"},
        "b.csv": {"dates": "mdy"},
    }


def test_colours_are_put_into_the_rules_of_their_sheet_and_table():
    rule = NewRule(["a.csv"], "checks", {}, [], {"#FF0000": {"eggs": "no"}})
    found = settled("colours:a.csv:*:*", rules=[rule, NewRule(["c.csv"], "checks")])
    assert [r.get("colours") for r in found["read"]] == [rule.colours, None, None]


def test_a_rule_without_its_day_is_taken_out():
    # "no, she is not placed that day" left a rule of placements that check refused
    asked = "column:a.csv:checks:checked_on"
    kept = settled(asked, rules=[NewRule(["a.csv"], "checks", {"queen_id": "No."})])["read"]
    assert [rule["from"] for rule in kept] == [["a.csv", "b.csv"], "a.csv", "c.csv"]
    gone = settled(asked, rules=[])["read"]
    assert [rule["from"] for rule in gone] == [["b.csv"], "a.csv", "c.csv"]


def test_of_all_records_only_what_was_asked_is_put():
    records = {"fold": ["queen_id"], "co2": "other"}
    assert settled("fold:*:*:*", records=records)["records"] == {"fold": ["queen_id"]}
    spec = {"from": "Eggs", "words": {"x": "yes"}}
    rule = NewRule(["a.csv"], "checks", {"eggs": spec})
    found = settled("word:eggs:x", rules=[rule], words={"yes": ["x"]})
    assert found["words"] == {"yes": ["x"]}
    assert [r["columns"]["eggs"] for r in found["read"]] == [spec, "Eggs", "Eggs"]


def test_open_and_refused_questions_stand_in_lines_at_the_end():
    text = station_toml.put(
        'name = "X"\n\n\n# OPEN "old": gone\n',
        Written(),
        open_ones=[Question("a:b", "What?")],
        refused_ones=[Question("c:d", "Sure?")],
    )
    assert text == (
        'name = "X"\n\n# NO "c:d": Sure? (without this line it is asked again)\n'
        '# OPEN "a:b": What?\n'
    )
    assert station_toml.put('name = "X"\n', Written()) == 'name = "X"\n'
