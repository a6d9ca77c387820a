"""What the page of doses says, and that every degenerate station can be drawn."""

from __future__ import annotations

import re

import pytest
from armed import AS_OF, asking, compared, queens
from queen_outcomes.dashboard import doses as page
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.site import _common, rendered
from queen_outcomes.facts.dose_words import difference_said, needed_said, points

TWO = {"one": 0.8, "two": 0.8}


def drawn(made, settings=None):
    """Give the page's text, and what it was drawn from."""
    settings = settings or asking()
    shown = page.show(compared(made, settings), settings, AS_OF)
    common = {**_common(settings, AS_OF), "here": "doses.html", "title": "Doses"}
    return rendered("doses", {**common, **shown}), shown


def without_protocol(made):
    return [{**queen, "protocol": None, "doses": (None,)} for queen in made]


def half_named(made):
    return [
        {**q, "protocol": q["protocol"] if k % 5 else None} for k, q in enumerate(made)
    ]


def apart(made):
    return [{**q, "operator": {"one": "A", "two": "B"}[q["protocol"]]} for q in made]


def few(made):
    return made[:100] + [{**queen, "protocol": "three"} for queen in made[100:103]]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda made: made, "two against one: "),
        (
            lambda made: [q for q in made if q["protocol"] == "one"],
            "There is one arm only",
        ),
        (without_protocol, "neither protocols nor doses are recorded"),
        (apart, "hardly share operators"),
        (half_named, "as theirs is not recorded: 24 courses"),
        (few, "fewer than 10 closed courses"),
        (lambda _: [], "neither protocols nor doses are recorded"),
    ],
    ids=["usual", "one arm", "no protocol", "apart", "some", "few", "empty"],
)
def test_every_station_is_drawn_in_words(change, said):
    text, shown = drawn(change(queens(120, TWO)))
    assert said in text
    places = set(re.findall(r'class="chart ?" id="chart-([^"]+)"', text))
    assert places == set(shown["charts"])


@pytest.mark.slow
def test_the_margin_is_drawn_and_only_a_fixed_method_is_a_dot():
    _, shown = drawn(queens(120, TWO))
    values = list(values_of(theme.dressed(shown["charts"]["arms-part-0"])))
    assert [row["at"] for row in values if "at" in row] == [0.0, -0.1]
    fixed = {row["name"] for row in values if row.get("method") == "fixed beforehand"}
    assert fixed == {"two, adjusted"}


def values_of(spec):
    """Give every mapping anywhere in a chart, rows of data among them."""
    if isinstance(spec, dict):
        yield spec
    parts = spec.values() if isinstance(spec, dict) else spec
    for part in parts if isinstance(spec, dict | list | tuple) else ():
        yield from values_of(part)


@pytest.mark.slow
def test_names_from_records_are_escaped():
    made = [
        {**q, "protocol": f"<script>{q['protocol']}</script>"} for q in queens(60, TWO)
    ]
    text, _ = drawn(made)
    assert "<script>one" not in text
    assert "&lt;script&gt;one" in text


def test_a_difference_by_lot_makes_and_another_goes_with():
    row = {
        "arm": "b",
        "reference": "a",
        "difference": -0.02,
        "low": -0.07,
        "high": 0.03,
        "closed": 1,
        "verdict": "not_worse",
        "note": "",
        "said": "not worse by 10 points or more",
    }
    assert difference_said(row, by_lot=False) == (
        "b against a: no clear difference, -2.0 points (-7.0 to +3.0); 1 closed course. "
        "Verdict: not worse by 10 points or more."
    )
    clear = {**row, "high": -0.01}
    assert difference_said(clear, by_lot=False).startswith(
        "b goes with less success than a: -2.0 points (-7.0 to -1.0)"
    )
    assert "b makes less success" in difference_said(clear, by_lot=True)


def test_drones_saved_stand_against_queens_lost_with_limits_turned_round():
    pair = {"arm": "b", "reference": "a"}
    rows = [
        {**pair, "resource": "drones", "more": -600.0, "low": -700.0, "high": -450.0},
        {**pair, "resource": "queens", "more": 28.0, "low": -35.0, "high": 96.0},
        {**pair, "resource": "visits", "more": 1.0, "low": 0.0, "high": 2.0},
        {
            **pair,
            "arm": "c",
            "resource": "queens",
            "more": 1.0,
            "low": 0.0,
            "high": 2.0,
        },
    ]
    (row,) = page.traded_rows(rows)
    assert (row["saved_low"], row["saved"], row["saved_high"]) == (450.0, 600.0, 700.0)
    assert (row["lost_low"], row["lost"], row["lost_high"]) == (-35.0, 28.0, 96.0)


def test_points_have_a_sign_and_no_negative_nought():
    assert [points(x) for x in (-0.0001, 0.0, 0.0123)] == ["+0.0", "+0.0", "+1.2"]


def test_what_a_margin_needs_is_told_or_that_nothing_would_do():
    rows = [
        {"margin": 0.1, "queens_alone": 236, "queens": 1539},
        {"margin": 0.05, "queens_alone": None, "queens": None},
    ]
    assert "10 points: 236 queens an arm" in needed_said(rows)
    assert "1,539 with whole graft batches" in needed_said(rows)
    assert "5 points: no number would do" in needed_said(rows)
    assert needed_said([]) == ""


def test_trend_and_dose_are_told_with_what_limits_there_are():
    trend = {"slope": -0.004, "p": 0.47, "lack_p": 0.01, "message": ""}
    trend["scored_by"] = "doses in whole uL"
    assert "falls by 0.40 points a uL" in page.trend_said(trend)
    assert "does not fit" in page.trend_said(trend)
    nothing = {**trend, "p": None, "message": "fewer than two doses have courses"}
    assert page.trend_said(nothing).startswith("No trend can be tested")
    dose = {"success": 0.8, "asked": "80 %", "dose_ul": 9.2, "low": None, "high": 11.0}
    assert page.dose_said(dose).endswith(
        "9.2 uL, 95 % limits from below the doses given to 11.0."
    )
    unread = {**dose, "dose_ul": None, "said": "80 %: is not reached by any dose given"}
    assert page.dose_said(unread) == "80 % success is not reached by any dose given."


def test_what_all_costs_stand_on_is_said_once():
    costs = [
        {"arm": arm, "assumptions": f"0.65 uL a drone handled; over {n} batches; plain"}
        for arm, n in (("a", 9), ("b", 12), ("c", 12))
    ]
    assert page.assumptions(costs) == [
        "0.65 uL a drone handled; plain",
        "a: over 9 batches",
        "b, c: over 12 batches",
    ]
    assert page.assumptions(costs[1:]) == [
        "0.65 uL a drone handled; over 12 batches; plain"
    ]
    assert page.assumptions([]) == []
