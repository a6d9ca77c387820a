"""Words of a look that are made of parts in any order: what each sets, and what none says."""

from __future__ import annotations

import pytest
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.settings import parse
from reading import stage

RULES = [
    {
        "from": "looks.csv",
        "table": "checks",
        "columns": {"queen_id": "Queen", "checked_on": "Day", "findings": "Seen"},
    },
    {
        "from": "bench.csv",
        "table": "inseminations",
        "columns": {"queen_id": "Queen", "inseminated_at": "Day"},
    },
]
PARTS = {
    "E": {"eggs": "yes"},
    "L": {"larvae": "yes"},
    "S": {"sealed": "yes"},
    "-": {"eggs": "no", "larvae": "no", "sealed": "no"},
    "Q": {"queen_seen": "yes"},
    "dr": {"drone_in_worker": "few"},
    "4": {"pattern_pct": 80},
    "5": {"pattern_pct": 95},
}
ABSENT = {"eggs": "no", "larvae": "no", "sealed": "no"}
SETS = ("eggs", "larvae", "sealed", "queen_seen", "drone_in_worker", "pattern_pct")


def looked(tmp_path, texts, words):
    """Give what each text sets, and the texts that are not read."""
    rows = "".join(f'{n},2025-06-20,"{text}"\n' for n, text in enumerate(texts))
    bench = "".join(f"{n},2025-06-01\n" for n in range(len(texts)))
    files = {"looks__csv": "Queen,Day,Seen\n" + rows, "bench__csv": "Queen,Day\n" + bench}
    alone = {"inseminations__csv": None, "checks__csv": None}
    store, _ = stage(tmp_path, {"read": RULES, "words": words}, **files, **alone)
    found = store.records("SELECT * FROM staged_checks ORDER BY queen_id::INT")
    sets = [{name: row[name] for name in SETS if row[name] is not None} for row in found]
    return sets, {row["findings__unread"] for row in found} - {None}


def refused(parts):
    """Give how the settings refuse them."""
    with pytest.raises(UsageError) as problem:
        parse({"words": {"parts": parts}})
    return problem.value.text()


def test_each_part_sets_what_it_means_and_an_absent_one_what_is_said(tmp_path):
    sets, unread = looked(
        tmp_path,
        ["ELS 4, Q", "EL", "LS5 dr", "- Q", "Q", "els", "S/L/E"],
        {"parts": PARTS, "absent": ABSENT},
    )
    all_stages = {"eggs": True, "larvae": True, "sealed": True}
    assert sets == [
        {**all_stages, "queen_seen": True, "pattern_pct": 80.0},
        {"eggs": True, "larvae": True, "sealed": False},
        {"eggs": False, "larvae": True, "sealed": True} | {"drone_in_worker": "few", "pattern_pct": 95.0},
        {"eggs": False, "larvae": False, "sealed": False, "queen_seen": True},
        {"queen_seen": True},  # nothing is said of brood
        all_stages,
        all_stages,
    ]
    assert not unread


def test_without_a_word_on_what_is_absent_nothing_is_said_of_it(tmp_path):
    sets, _ = looked(tmp_path, ["EL"], {"parts": PARTS})
    assert sets == [{"eggs": True, "larvae": True}]


@pytest.mark.parametrize(
    "text", ["ELX", "E 45", "E 3", "gone", "E -", "E 4 5", "EL?", "lesson", "4,5"]
)
def test_what_is_not_made_of_parts_alone_or_contradicts_itself_is_not_read(tmp_path, text):
    sets, unread = looked(tmp_path, [text, "E"], {"parts": PARTS, "absent": ABSENT})
    assert sets[0] == {}
    assert sets[1]["eggs"]
    assert unread == {text}


def test_a_text_that_is_explained_whole_is_not_taken_apart(tmp_path):
    words = {"parts": PARTS, "absent": ABSENT, "findings": {"LE": {"queen_seen": "no"}, "E {pattern_pct}": {}}}
    sets, unread = looked(tmp_path, ["LE", "EL", "E 4"], words)
    assert sets[0] == {"queen_seen": False}
    assert sets[1]["eggs"]
    assert sets[2] == {"pattern_pct": 4.0}
    assert not unread


def test_a_number_is_a_part_of_its_own(tmp_path):
    parts = {"E": {"eggs": "yes"}, "2nd": {"queen_seen": "yes"}, "{pattern_pct}": {}}
    assert "no part with a figure" in refused(parts)
    del parts["2nd"]
    sets, unread = looked(tmp_path, ["E 85 %", "70", "E", "E 7 8"], {"parts": parts})
    assert sets == [{"eggs": True, "pattern_pct": 85.0}, {"pattern_pct": 70.0}, {"eggs": True}, {}]
    assert unread == {"E 7 8"}


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ({"E {pattern_pct}": {}}, "braces alone"),
        ({"{pattern_pct}": {}, "{queen_cells_n}": {}}, "queen_cells_n"),
        ({"{pattern_pct}": {}, "{dose_ul}": {}}, "one part for any number"),
        ({" ": {"eggs": "yes"}}, "a text"),
        ({"E": {"eggs": "perhaps"}}, '"yes" or "no"'),
    ],
)
def test_parts_that_say_nothing_sound_are_refused(parts, said):
    assert said in refused(parts)


def test_a_sheet_may_have_parts_of_its_own(tmp_path):
    own = {"from": "Seen", "parts": {"X": {"eggs": "no"}}, "absent": {"queen_seen": "no"}}
    rules = [{**RULES[0], "columns": {**RULES[0]["columns"], "findings": own}}, RULES[1]]
    settings = parse({"read": rules, "words": {"parts": {"E": {"eggs": "yes"}}}})
    rule = settings.reading.cell_rule("checks", "findings", "looks.csv", settings.reading.rules[0].columns["findings"])
    assert set(rule.parts) == {"e", "x"}
    assert rule.absent == {"queen_seen": "no"}


def test_a_sign_that_says_something_alone_stands_between_no_parts(tmp_path):
    """"+ Q" is more than "Q" where "+" means eggs: it is not read rather than half."""
    words = {"findings": {"+": {"eggs": "yes"}}, "parts": {"Q": {"queen_seen": "yes"}}}
    sets, unread = looked(tmp_path, ["+", "Q", "+ Q", "Q, Q"], words)
    assert sets == [{"eggs": True}, {"queen_seen": True}, {}, {"queen_seen": True}]
    assert unread == {"+ Q"}
    both = {"parts": {"+": {"eggs": "yes"}, "Q": {"queen_seen": "yes"}}}
    sets, unread = looked(tmp_path / "more", ["+ Q", "+Q"], both)
    assert sets == [{"eggs": True, "queen_seen": True}] * 2
