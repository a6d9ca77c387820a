"""How well a column fits one of ours: what its cells allow, times what its heading names.

The weights are our own; what is held here is which case earns which of them.
"""

import pytest
from queen_outcomes.records.map.seen.contents import Contents
from queen_outcomes.records.map.seen.fits import (
    can_hold,
    fit,
    is_generic_date,
    is_time,
    names_column,
    names_of,
)
from queen_outcomes.records.map.seen.headings import Heading
from queen_outcomes.records.map.seen.opened import Cell
from queen_outcomes.records.map.seen.sheet import SheetColumn

DAYS = ("2025-05-14", "2025-05-16", "2025-05-18")
CLOCKS = ("8:15", "9:45", "10:30")
NUMBERS = ("8.5", "7.5", "9.5")
WORDS = ("zork", "plonk", "fleem")
TICKS = ("yes", "no", "yes")


def of(*texts):
    return Contents([Cell(text) for text in texts])


def said(*phrases, **more):
    """A heading of these phrases, each the labels that it carries."""
    cut = tuple(frozenset(phrase.split()) for phrase in phrases)
    return Heading(more.pop("name", "x"), cut, **more)


def column(heading, *texts):
    return SheetColumn(0, heading, of(*texts))


def mixed(first, second, *, of_five):
    """Five cells, so many of them of the first kind."""
    return [first] * of_five + [second] * (5 - of_five)


@pytest.mark.parametrize(
    ("kind", "name", "texts", "gate"),
    [
        ("date", "checked_on", mixed(DAYS[0], "zork", of_five=4), 1.0),
        ("datetime", "left_on", mixed(DAYS[0], "zork", of_five=3), 0.8),
        ("date", "checked_on", mixed(DAYS[0], "zork", of_five=2), 0.0),
        ("number", "dose_ul", mixed("8", "zork", of_five=4), 1.0),
        ("integer", "attempts", mixed("8", "zork", of_five=3), 0.8),
        ("number", "dose_ul", mixed("8", "zork", of_five=2), 0.0),
        ("number", "dose_ul", DAYS, 0.0),
        ("number", "dose_ul", mixed("8:15", "8", of_five=3), 0.0),
        ("yes_no", "eggs", mixed("yes", "zork", of_five=4), 1.0),
        ("yes_no", "eggs", mixed("yes", "zork", of_five=3), 0.8),
        ("yes_no", "eggs", WORDS, 0.5),
        ("yes_no", "eggs", [*WORDS, "a", "b", "f", "g", "h"], 0.0),
        ("yes_no", "eggs", DAYS, 0.0),
        ("yes_no", "eggs", NUMBERS, 0.0),
        ("word", "reason", ("sold", "zork"), 1.0),
        ("word", "reason", WORDS, 0.9),
        ("word", "reason", NUMBERS, 0.4),
        ("word", "reason", DAYS, 0.0),
        ("id", "queen_id", NUMBERS, 1.0),
        ("id", "queen_id", TICKS, 0.0),
        ("id", "queen_id", CLOCKS, 0.0),
        ("id", "queen_id", DAYS, 0.0),
        ("label", "checker", ("Ada Brun", "K-1"), 1.0),
        ("label", "operator", ("Ada Brun", "K-1", "K-2"), 0.3),
        ("label", "line", ("K-1",), 1.0),
        ("label", "line", CLOCKS, 0.5),
        ("label", "line", DAYS, 0.0),
        ("text", "findings", WORDS, 1.0),
        ("text", "findings", NUMBERS, 0.0),
        ("text", "findings", TICKS, 0.0),
        ("text", "findings", DAYS, 0.0),
        ("text", "note", DAYS, 0.3),
        ("text", "note", NUMBERS, 1.0),
        # nothing to judge by: marks of "as above" say that there is something
        ("date", "checked_on", ("", '"'), 1.0),
        ("date", "checked_on", ("", "?"), 1.0),
        ("date", "checked_on", ("",), 0.7),
    ],
)
def test_what_cells_allow(kind, name, texts, gate):
    assert can_hold(kind, name, of(*texts)) == gate


@pytest.mark.parametrize(
    ("heading", "texts", "table", "name", "worth"),
    [
        (said("column:eggs"), TICKS, "checks", "eggs", 1),
        (said("column:eggs"), TICKS, "checks", "larvae", 0),
        (said("column:operator"), WORDS, "checks", "checker", 0.85),
        (said("column:eggs", unknown=("zork",)), TICKS, "checks", "eggs", 0.85),
        (
            said("column:eggs", unknown=("zork", "plonk")),
            TICKS,
            "checks",
            "eggs",
            0.85**2,
        ),
        # another column that the cells could be, and one that they could not
        (said("column:eggs", "column:larvae"), TICKS, "checks", "eggs", 0.5),
        (said("column:eggs", "column:temperament"), TICKS, "checks", "eggs", 0.5),
        (
            said("column:eggs", "column:larvae topic:checks"),
            TICKS,
            "checks",
            "eggs",
            0.9,
        ),
        (said("column:left_on", "column:reason"), DAYS, "exits", "left_on", 0.9),
        # another table's topic weighs less on the facts of queens and semen
        (said("column:eggs", "topic:exits"), TICKS, "checks", "eggs", 0.3),
        (said("column:line", "topic:exits"), WORDS, "queens", "line", 0.9),
        (said("column:eggs", "topic:checks"), TICKS, "checks", "eggs", 1),
        (said("column:eggs", "part:date"), TICKS, "checks", "eggs", 0.95),
        (said("column:eggs", "part:filler"), TICKS, "checks", "eggs", 1),
        (said("column:eggs", "part:number"), TICKS, "checks", "eggs", 1),
    ],
)
def test_what_a_heading_names(heading, texts, table, name, worth):
    found = names_column(heading, of(*texts), table, name)
    assert found == pytest.approx(worth)


@pytest.mark.parametrize(
    ("heading", "texts", "table", "name", "worth"),
    [
        (said("column:eggs"), TICKS, "checks", "eggs", 1),
        (said("column:eggs"), DAYS, "checks", "eggs", 0),
        (said("zork:x"), TICKS, "checks", "eggs", 0),
        # a volume, though a hive is "ul" in one language
        (
            said("column:colony_id", name="µl", unit="uL"),
            NUMBERS,
            "placements",
            "colony_id",
            0,
        ),
        (
            said("column:colony_id", name="ul", unit="uL"),
            NUMBERS,
            "placements",
            "colony_id",
            1,
        ),
        (said("column:colony_id", name="µ"), NUMBERS, "placements", "colony_id", 1),
        # per cent of brood is the pattern
        (said("column:sealed", unit="%"), NUMBERS, "checks", "pattern_pct", 0.8),
        (said("column:sealed"), ("80 %",), "checks", "pattern_pct", 0.8),
        (said("column:sealed"), ("80 %", "75"), "checks", "pattern_pct", 0),
        (
            said("column:sealed", "column:eggs", unit="%"),
            NUMBERS,
            "checks",
            "pattern_pct",
            0,
        ),
        (said("topic:exits", unit="%"), NUMBERS, "checks", "pattern_pct", 0),
        (said("column:eggs"), ("8", "9"), "checks", "pattern_pct", 0),
        # "red" under "marked" says how
        (said("column:marked"), ("red", "blue"), "queens", "mark", 0.9),
        (said("column:marked"), TICKS, "queens", "mark", 0),
        (said("column:eggs"), ("red", "blue"), "queens", "mark", 0),
        # a unit alone, and one that cannot be
        (said(unit="s"), NUMBERS, "co2", "minutes", 0.7),
        (said("column:given_at", unit="s"), NUMBERS, "co2", "minutes", 0),
        (said("zork:x"), NUMBERS, "co2", "minutes", 0),
        (said("column:dose_ul"), NUMBERS, "inseminations", "dose_ul", 1),
        (said("column:dose_ul", unit="mL"), NUMBERS, "inseminations", "dose_ul", 1),
        (said("column:dose_ul", unit="C"), NUMBERS, "inseminations", "dose_ul", 0),
        (said("column:dose_ul", unit="C"), (), "inseminations", "dose_ul", 0.7),
        # a topic, by what stands below it
        (said("topic:checks"), DAYS, "checks", "checked_on", 0.9),
        (said("topic:checks", unknown=("zork",)), DAYS, "checks", "checked_on", 0.765),
        (said("topic:exits"), DAYS, "checks", "checked_on", 0),
        (said("topic:inseminations"), DAYS, "inseminations", "collected_at", 0),
        (said("topic:checks"), WORDS, "checks", "findings", 0.8),
        (said("topic:checks", "part:filler"), WORDS, "checks", "findings", 0.8),
        (said("topic:checks", "part:number"), WORDS, "checks", "findings", 0),
        (said("topic:checks", "column:larvae"), WORDS, "checks", "findings", 0),
        (said("topic:co2", unit="min"), NUMBERS, "co2", "minutes", 0.9),
        (said("topic:co2"), NUMBERS, "co2", "minutes", 0),
        (said("topic:exits"), WORDS, "exits", "reason", 0.72),
        (said("topic:checks"), WORDS, "checks", "drone_in_worker", 0),
        (
            said("topic:inseminations", unit="uL"),
            NUMBERS,
            "inseminations",
            "dose_ul",
            0.9,
        ),
        (said("topic:inseminations"), NUMBERS, "inseminations", "dose_ul", 0),
        (
            said("topic:inseminations", unit="uL"),
            NUMBERS,
            "inseminations",
            "attempts",
            0,
        ),
        # a part that leaves open of what
        (said("part:person"), WORDS, "checks", "checker", 0.8),
        (said("part:person", "topic:checks"), WORDS, "checks", "checker", 0.9),
        (said("part:person", "part:filler"), WORDS, "checks", "checker", 0.8),
        (said("part:person", "part:date"), WORDS, "checks", "checker", 0),
        (said("part:person"), WORDS, "checks", "note", 0),
        (said("part:queen part:number"), WORDS, "checks", "queen_id", 0.8),
        (said("part:number"), WORDS, "checks", "colony_id", 0.46),
        (said("part:queen part:number"), WORDS, "checks", "colony_id", 0),
        (said("part:number"), WORDS, "inseminations", "semen_batch", 0.46),
        (said("part:number"), WORDS, "semen", "semen_batch", 0.8),
        (said("part:queen"), TICKS, "checks", "queen_seen", 0.85),
        (
            said("part:queen"),
            ("yes", "yes", "zork", "zork"),
            "checks",
            "queen_seen",
            0.68,
        ),
        (said("part:queen"), WORDS, "checks", "queen_seen", 0),
    ],
)
def test_how_well_a_column_fits(heading, texts, table, name, worth):
    assert fit(column(heading, *texts), table, name) == pytest.approx(worth)


@pytest.mark.parametrize(
    ("heading", "texts", "generic"),
    [
        (said("part:date"), DAYS, True),
        (said("part:date"), WORDS, False),
        (said("column:left_on"), DAYS, False),
        (said("topic:exits"), DAYS, False),
    ],
)
def test_a_day_of_no_table_in_particular(heading, texts, generic):
    assert is_generic_date(column(heading, *texts)) is generic


@pytest.mark.parametrize(
    ("heading", "texts", "clocks"),
    [
        (said("part:time"), (), True),
        (said("zork:x"), (), False),
        (said("part:time"), ("8", "9"), True),
        (said("zork:x"), ("8", "9"), False),
        (said("zork:x"), CLOCKS[:1], True),
        (said("part:time"), WORDS, False),
    ],
)
def test_a_column_of_clocks(heading, texts, clocks):
    assert is_time(column(heading, *texts)) is clocks


def test_only_a_look_has_free_words_that_set_columns():
    assert "findings" in names_of("checks")
    assert "findings" not in names_of("exits")
