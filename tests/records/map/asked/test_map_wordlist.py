"""The distinct words of the columns: what is listed, what is guessed, what is asked."""

import pytest
from queen_outcomes.base.errors import UsageError
from queen_outcomes.records.map.asked import wordlist
from queen_outcomes.records.map.asked.wordlist import Word
from sheets_by_hand import part, station


def listed(*parts):
    return {
        (w.column, w.text, w.limited): (w.count, w.means)
        for w in wordlist.gather(station(*parts))
    }


def test_words_are_counted_once_for_all_columns_that_ask_alike():
    seen = station(
        part(
            "c.csv",
            "checks",
            {"eggs": "Egg"},
            eggs=["Yes", "no", "zork", "?"],
            larvae=["yes", "no"],
        ),
        part("d.csv", "checks", eggs=["no", "x", "✓"], note=["zork"]),
    )
    words = wordlist.gather(seen)
    found = [(w.column, w.text, w.count, w.means, w.limited) for w in words]
    assert found == [
        ("yes_no", "no", 3, "no", ()),
        ("yes_no", "Yes", 2, "yes", ()),
        ("yes_no", "?", 1, "", ()),
        ("yes_no", "x", 1, None, ("d.csv", "eggs")),
        ("yes_no", "zork", 1, None, ()),
    ]
    assert words[0].headings == {"Egg", "larvae", "eggs"}
    assert words[0].sources == {"c.csv", "d.csv"}


def test_a_word_column_keeps_its_own_words_and_guesses_them():
    gone = part("g.csv", "exits", reason=["sold", "Sold", "died", "zork", "n/a", "-"])
    assert listed(gone) == {
        ("reason", "sold", ()): (2, "sold"),
        ("reason", "died", ()): (1, "dead"),
        ("reason", "zork", ()): (1, None),
        ("reason", "n/a", ()): (1, ""),
        ("reason", "-", ()): (1, None),
    }


@pytest.mark.parametrize(
    ("name", "cells", "means"),
    [
        ("eggs", ["+", "-"], "no"),
        ("eggs", ["yes", "-"], None),
        ("drone_in_worker", ["+", "-"], None),
        ("findings", ["+", "-"], None),
    ],
)
def test_a_dash_says_no_beside_a_plus_alone(name, cells, means):
    found = listed(part("c.csv", "checks", **{name: cells}))
    assert {v[1] for (_, text, _), v in found.items() if text == "-"} == {means}


def test_a_cross_that_says_no_whatever_stands_beside_it():
    found = listed(part("c.csv", "checks", eggs=["✗", "x"]))
    assert found == {("yes_no", "✗", ("c.csv", "eggs")): (1, "no")}


@pytest.mark.parametrize(
    ("heading", "more", "limited", "means"),
    [
        ("Brood", {"eggs": ["yes"]}, ("larvae", "sealed"), {"larvae": "yes"}),
        ("Brood", {}, (), {"queen_seen": "yes", "larvae": "yes"}),
        ("Seen", {"eggs": ["yes"]}, (), {"queen_seen": "yes", "larvae": "yes"}),
    ],
)
def test_a_heading_such_as_brood_confines_its_words(heading, more, limited, means):
    looks = part(
        "c.csv", "checks", {"findings": heading}, findings=["Q larvae", "?"], **more
    )
    found = listed(looks)
    assert found["findings", "Q larvae", limited] == (1, means)
    assert found["findings", "?", limited] == (1, {})


def test_told_words_are_confirmed_together_and_the_others_asked_singly():
    words = [
        Word("yes_no", "Y", 3, "yes", {"a.csv"}),
        Word("yes_no", "ja", 2, "yes", {"b.csv"}, {"Eier"}),
        Word("yes_no", "no", 2, "yes", {"c.csv"}),
        Word("reason", "Sold", 1, "sold", {"d.csv"}),
        Word("reason", "nil", 1, "", {"d.csv"}),
        Word("findings", "E", 4, {"eggs": "yes", "larvae": "no"}, {"e.csv"}),
        Word("findings", "fed", 4, {}, {"e.csv"}),
        Word("reason", "zork", 1, None, {"h.csv"}, {"Why"}),
        Word("reason", "zork", 2, None, {"g.csv"}, set("abcfgi")),
    ]
    every, single = wordlist.question(words)
    assert every.evidence == [
        'yes_no: "ja" (2) -> yes',
        'yes_no: "no" (2) -> yes',
        'reason: "nil" (1) -> not recorded',
        'findings: "E" (4) -> eggs = yes, larvae = no',
        'findings: "fed" (4) -> sets nothing',
    ]
    assert every.sources == ("b.csv", "c.csv", "d.csv", "e.csv")
    assert (every.id, every.default) == ("words:*:*:*", "yes")
    assert single.id == "word:reason:zork"
    first, choices, meaning = single.evidence
    assert first == "it stands there 3 times"
    assert choices.startswith("one of dead, missing, superseded, ")
    assert meaning.startswith("culled_fault: removed for how she performed")
    assert single.text == 'What does "zork" mean under "Why", "a", "b", "c", "f"?'
    assert single.sources == ("g.csv", "h.csv")
    assert [q.id for q in wordlist.question(words[:1])] == []
    assert [q.id for q in wordlist.question(words[-1:])] == ["word:reason:zork"]
    assert words[-1].told == "?"


@pytest.mark.parametrize(
    ("column", "says"),
    [
        ("yes_no", ["one of yes, no"]),
        (
            "findings",
            [
                "what it sets, such as eggs = yes; larvae = no; exit = missing, where it says how she went",
                'or "not looked", where it means that nobody looked: under a day it is then no check',
            ],
        ),
    ],
)
def test_what_a_word_may_mean_is_said(column, says):
    (asked,) = wordlist.question([Word(column, "zork", 1, None, {"c.csv"}, {"X"})])
    assert asked.evidence[1:] == says


def test_a_corrected_word_changes_in_every_column_that_has_it():
    words = [Word("reason", "zork", limited=(n,)) for n in ("a", "b")]
    wordlist.correct(words, {"word:reason:zork": " sold ", "word:reason:other": "dead"})
    assert [word.means for word in words] == ["sold", "sold"]


@pytest.mark.parametrize(
    ("column", "answer", "means"),
    [
        ("reason", "", ""),
        ("reason", "sold", "sold"),
        ("yes_no", "no", "no"),
        ("findings", "eggs = yes; larvae=no,", {"eggs": "yes", "larvae": "no"}),
        ("findings", {"queen_cells": "swarm"}, {"queen_cells": "swarm"}),
        ("findings", "", {}),
        ("reason", "yes", None),
        ("yes_no", "sold", None),
        ("findings", "eggs = few", None),
        ("findings", "honey = yes", None),
    ],
)
def test_a_meaning_that_a_person_gives(column, answer, means):
    if means is None:
        with pytest.raises(UsageError) as refused:
            wordlist.meaning_of(column, answer, "here")
        assert refused.value.where == "here"
    else:
        assert wordlist.meaning_of(column, answer, "here") == means


def test_all_refused_meanings_are_told_at_once_with_what_there_is():
    words = [Word("findings", text) for text in ("cells", "patchy", "fine", "gone")]
    answers = {
        "word:findings:cells": "queen_seen = no; queen_cells = yes",
        "word:findings:patchy": "pattern = poor",
        "word:findings:fine": "pattern_pct = good",
        "word:findings:gone": "exit = missing",
    }
    with pytest.raises(UsageError) as refused:
        wordlist.correct(words, answers)
    told = refused.value.text()
    assert "queen_cells = yes" in told
    assert "queen_cells = none or supersedure or swarm or emergency" in told
    assert "what a word may set is exit, queen_seen, " in told
    assert "pattern_pct = a number" in told
    assert "gone" not in told


def test_a_doubt_under_a_day_is_no_look():
    looks = part("c.csv", "checks", findings=["eggs", "?", "zork"])
    assert listed(looks)["findings", "?", ()] == (1, {})
    looks.feed.days = {"seen": "20.6.2025"}
    assert listed(looks)["findings", "?", ()] == (1, "")


def test_what_may_be_seen_at_a_look_is_no_fate():
    assert wordlist.fate("superseded")["exit"] == "superseded"
    assert wordlist.fate("killed, poor brood")["exit"] == "culled_fault"
    assert wordlist.fate("all stages, drone brood in worker cells, 45%") is None
    assert wordlist.fate("gone west") is None
