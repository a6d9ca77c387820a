"""What is asked about figures: shares or per cent or scores; and which degrees are Fahrenheit."""

import pytest
from queen_outcomes.records.map.asked import figures
from sheets_by_hand import ids, part, station


@pytest.mark.parametrize(
    ("cells", "asked"),
    [
        (["0.8", "1", "x"], True),
        (["0.8", "1.1"], False),
        (["0", "0"], False),
        (["0.01"], True),
        (["0.8", "0.9 %"], False),
        ([("0.8", "percent"), "0.9"], False),
        (["x"], False),
        # a sign at some of them says what those are, and of the others nothing
        (["55 %", "0.85", "0.9"], True),
        (["55 %", "0.85", "90"], False),
    ],
)
def test_shares_up_to_one_may_be_per_cent(cells, asked):
    looks = part(
        "c.csv", "checks", {"pattern_pct": "Fill"}, pattern_pct=cells, eggs=["0.5"]
    )
    found = figures.percentages(station(looks))
    assert ids(found) == ["percent:c.csv:checks:pattern_pct"] * asked
    if asked:
        assert '"Fill"' in found[0].text


@pytest.mark.parametrize(
    ("cells", "asked"),
    [
        (["1", "4", "5", "3", "4"], True),
        (["2", "8", "10", "0", "7"], True),
        (["4", "4", "4", "4", "4"], False),
        (["1", "4", "5", "3"], False),
        (["1", "4", "5", "3", "4.5"], False),
        (["1", "4", "5", "3", "40"], False),
        (["1", "4", "5", "3", "9" * 400], False),  # beyond what a figure can be
        (["1 %", "4", "5", "3", "4", "5"], False),
    ],
)
def test_small_whole_figures_may_be_scores(cells, asked):
    looks = part("c.csv", "checks", {"pattern_pct": "Pattern"}, pattern_pct=cells)
    found = figures.percentages(station(looks))
    assert [list(question.options) for question in found] == [["score", "percent"]] * asked


def test_the_first_five_shares_are_shown():
    looks = part("c.csv", "checks", pattern_pct=[f"0.{n}" for n in range(1, 8)])
    (asked,) = figures.percentages(station(looks))
    assert asked.evidence == ["all 7 figures are at most 1: 0.1, 0.2, 0.3, 0.4, 0.5"]


@pytest.mark.parametrize(
    ("cells", "unit"),
    [
        (["41", "59"], "F"),
        (["40", "59"], ""),
        (["41", "12 °C"], "F"),
        (["41 °C"], ""),
        (["cold"], ""),
    ],
)
def test_degrees_that_can_only_be_fahrenheit(cells, unit):
    loads = part("s.csv", "semen", storage_c=cells)
    figures.fahrenheit(station(loads))
    assert loads.feed.uses["storage_c"].unit == unit


def test_a_unit_that_the_heading_names_is_kept():
    loads = part("s.csv", "semen", storage_c=["59"])
    loads.feed.uses["storage_c"].unit = "C"
    figures.fahrenheit(station(loads))
    assert loads.feed.uses["storage_c"].unit == "C"


@pytest.mark.parametrize(
    ("cells", "shown", "told", "default"),
    [
        (["4:30", "5:00", "2:01"], "4:30", ["3 are written so", "as hours all would be over 120 minutes"], "min:s"),
        # two hours may be what they are
        (["4:30", "2:00"], "4:30", ["2 are written so"], None),
        (["4 min 30", "0:04:30", "x", "4:00"], "4:00", ["1 are written so", "as hours all would be over 120 minutes"], "min:s"),
        (["4 min 30", "4", ""], None, [], None),
    ],
)  # fmt: skip
def test_spans_of_two_units(cells, shown, told, default):
    done = part("b.csv", "inseminations", {"minutes": "CO2"}, minutes=cells)
    asked = figures.spans(station(done))
    assert ids(asked) == ["span:b.csv:inseminations:minutes"] * bool(told)
    if asked:
        (one,) = asked
        assert one.text.startswith(f'In "b.csv", is {shown} in "CO2" minutes and seconds')
        assert (one.evidence, one.default) == (told, default)
        assert list(one.options) == ["min:s", "h:min"]
