"""Cells in words, columns' own columns, and a person's cells in codes."""

from __future__ import annotations

import pytest
from queen_outcomes.facts import languages, words
from queen_outcomes.facts.column import Column, Limits, Table
from queen_outcomes.facts.pseudonyms import Mask


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (None, ""),
        (True, "yes"),
        (False, "no"),
        (0.12345, "0.123"),
        (-999.4, "-999"),
        (1000.4, "1000"),
        (-12345.6, "-12346"),
        (7, "7"),
    ],
)
def test_any_cell_is_told(value, told):
    assert words.plain(value) == told


def test_shares_and_their_limits_are_told_or_left_out():
    assert (words.percent(None), words.percent(0.256)) == ("–", "26 %")
    assert (words.fixed(None, 1), words.fixed(2.26, 1)) == (None, "2.3")
    assert words.limits(0.1, 0.256) == "10–26"
    assert words.limits(None, 0.2) == words.limits(0.2, None) == ""
    assert words.bounds({"rate_if_no": None}) == ""
    assert words.bounds({"rate_if_no": 0.2, "rate_if_yes": 0.9}) == "20 % to 90 %"


def test_an_interval_names_the_sides_it_has():
    assert Limits(0, 40, low_open=True).words("uL") == "above 0 and at most 40 uL"
    assert Limits(low=2.5).words() == "at least 2.5"
    assert Limits(high=3).words("h") == "at most 3 h"


@pytest.mark.parametrize(
    ("kind", "unread", "why"),
    [
        *((kind, False, False) for kind in ("id", "label", "text")),
        *((kind, True, False) for kind in ("yes_no", "word")),
        *((kind, True, True) for kind in ("date", "datetime", "number", "integer")),
    ],
)
def test_what_could_not_be_read_has_a_column_where_that_can_be(kind, unread, why):
    column = Column("x", kind, "")
    assert column.unread == ("x__unread" if unread else None)
    assert column.why == ("x__why" if why else None)
    assert column.parts is None


def test_a_row_is_placed_by_its_required_day_or_by_its_key():
    key = Column("id", "id", "", required=True)
    loose = Column("seen_on", "date", "")
    day = Column("on", "date", "", required=True)
    time = Column("at", "datetime", "", required=True)
    assert Table("t", "", (key, loose, time, day)).dated is time
    assert Table("t", "", (key, loose)).dated is key
    table = Table("t", "", (key, Column("dose", "number", "", summed=True)))
    assert table.kept == ("id", "dose", "dose__parts")
    assert table.column("dose").parts == "dose__parts"


def test_a_person_s_cells_are_codes_and_nobody_s_stay_empty():
    mask = Mask(bytes(32), ["Ada", "Brun"])
    ada, brun = mask.code("Ada"), mask.code("Brun")
    row = mask.row(
        {
            "operator": "Ada", "operators": ["Ada", "Brun"], "grouping": "operator",
            "level": "Brun", "graft_batch": None, "checker": None,
        }
    )
    assert row["operator"] == ada
    assert row["operators"] == sorted([ada, brun])
    assert row["level"] == brun
    assert (row["graft_batch"], row["checker"]) == (None, None)
    whole = mask.row({"grouping": "operator", "level": None})
    assert whole == {"grouping": "operator", "level": None}
    # a sentence hides a name as it is written, any other text however it is written
    said = mask.row({"why": "ada said so, Ada too", "line": "ADA's", "note": "", "courses": 3})
    assert said == {"why": f"ada said so, {ada} too", "line": mask.label("ADA's"), "note": "", "courses": 3}
    # a level of another grouping is a label, in which parts of names are hidden
    other = mask.row({"grouping": "line", "level": "Amber"})
    assert other["level"] == "Amber"


def test_a_caption_is_the_language_s_own_or_english_or_the_name(monkeypatch):
    named = {
        "en": {"columns": {"d0": ["day zero"], "dose": ["dose"]}, "paper": {"a": 1, "b": 2}},
        "xx": {"columns": {"d0": ["tag null"], "dose": []}, "paper": {"b": 3}},
        "yy": {},
    }
    monkeypatch.setattr(languages, "by_name", lambda: named)
    told = [languages.caption("xx", name) for name in ("d0", "dose", "tip")]
    assert told == ["Tag null", "Dose", "Tip"]
    assert languages.caption("yy", "d0") == "Day zero"
    assert languages.paper("xx") == {"a": 1, "b": 3}
    assert languages.paper("yy") == {"a": 1, "b": 2}
    assert languages.word("yy", "c", "yes") == "yes"


def test_names_of_one_meaning_are_kept_and_of_two_are_not():
    pairs = [("Mär", 3), ("mar", 3), ("MAI", 5), ("ju", 6), ("ju", 7)]
    assert languages._of_one_meaning(pairs) == {"mar": 3, "mai": 5}
    months = languages.months()
    assert (months["january"], months["marz"], months["december"]) == (1, 3, 12)
    assert languages.units("uL")["ml"] == "mL"
    assert not any(name[0].isdigit() for name in languages.units("%"))
    assert languages.units("nothing of ours") == {}
