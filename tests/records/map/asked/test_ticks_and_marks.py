"""What is asked about signs: blanks among ticks, words for a mark, fill colours."""

from queen_outcomes.records.map.asked import ticks_and_marks
from queen_outcomes.records.map.seen.opened import Cell, Row
from queen_outcomes.records.map.seen.station import Part, Station
from sheets_by_hand import ids, part, station


def test_blanks_among_ticks_are_asked_about_once_a_rule():
    looks = part(
        "c.csv",
        "checks",
        eggs=["x", "", "✓", "x", ""],
        larvae=["yes", "yes", "", "y", "ok", "ja"],
        sealed=["x", "no", "", "", ""],
        queen_seen=["x"] * 5,
        multiple_eggs=[""] * 5,
        note=["yes", "", "", "", ""],
    )
    again = Part(looks.sheet, looks.feed)
    crossed = ["✗", "", "✓", "", ""]
    other = part("d.csv", "checks", larvae=crossed)
    assert ticks_and_marks.tick_columns(looks) == ["larvae"]
    assert ticks_and_marks.tick_columns(other) == []
    (asked,) = ticks_and_marks.blanks(station(looks, again))
    assert asked.id == "blank:c.csv:checks:*"
    assert asked.evidence == ['"larvae": "yes" 2, "y" 1, "ok" 1; blank 1']


def test_a_heading_that_says_no_elsewhere_needs_no_question():
    ticks = part("c.csv", "checks", {"eggs": "Eggs"}, eggs=["x", ""])
    for heads, cells, asked in (
        ({"eggs": "Eggs"}, ["no"], False),
        ({"eggs": "Eggs seen"}, ["no"], True),
        ({"eggs": "Eggs"}, ["yes"], True),
    ):
        others = part("d.csv", "checks", heads, eggs=cells)
        larvae = part("e.csv", "checks", larvae=["no"])
        assert bool(ticks_and_marks.blanks(station(ticks, others, larvae))) == asked


def painted(source, fills, legend=()):
    """A sheet of so many rows, each of a fill, with lines beside it."""
    looks = part(source, "checks", eggs=[Cell("yes", fill=fill) for fill in fills])
    looks.sheet.passed = [
        Row(90 + n, tuple(Cell(word) for word in line)) for n, line in enumerate(legend)
    ]
    return looks


def test_fills_are_asked_about_unless_nearly_every_row_has_them():
    legend = [("yellow", "= sold"), ("Total", "= 9"), ("seen",)]
    (asked,) = ticks_and_marks.colours(
        station(painted("c.csv", ["#00FF00"] * 8 + [""] * 2, legend))
    )
    assert asked.id == "colours:c.csv:*:*"
    assert asked.evidence == ["#00FF00: 8 rows", "beside the list: yellow = sold"]
    assert ticks_and_marks.colours(station(painted("c.csv", ["#00FF00"] * 9 + [""]))) == []
    assert ticks_and_marks.colours(station(painted("c.csv", [""] * 5))) == []
    assert ids(ticks_and_marks.colours(station(painted("c.csv", ["#00FF00", "", ""])))) == [
        "colours:c.csv:*:*"
    ]
    alone = painted("c.csv", ["#00FF00", ""]).sheet
    assert ticks_and_marks.colours(Station([alone], [])) == []


def test_a_word_under_mark_may_say_that_she_is_marked():
    seen = part("q.csv", "queens", mark=["red", "red", "no", "unmarked", "blue", ""])
    (asked,) = ticks_and_marks.marks(station(seen))
    assert (asked.id, asked.default) == ("filled:q.csv:queens:marked", "yes")
    assert asked.evidence == ["5 have one: red, blue", "not marked: no, unmarked"]
    (asked,) = ticks_and_marks.marks(station(part("q.csv", "queens", mark=list("abcghi"))))
    assert asked.evidence == ["6 have one: a, b, c, g, h"]
    assert ticks_and_marks.marks(station(part("q.csv", "queens", mark=["no"]))) == []
    without = part("q.csv", "queens", mark=["rot", "ohne", "sans", "bez", "zonder"])
    (asked,) = ticks_and_marks.marks(station(without))
    assert asked.evidence == ["5 have one: rot", "not marked: ohne, sans, bez, zonder"]
    both = part("q.csv", "queens", mark=["red"], marked=["yes"])
    assert ticks_and_marks.marks(station(both)) == []
    assert ticks_and_marks.marks(station(part("q.csv", "queens", line=["Birch"]))) == []
