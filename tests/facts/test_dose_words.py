"""Arms compared, in words: differences, what successes take, what a margin needs."""

from __future__ import annotations

import pytest
from queen_outcomes.facts.dose_words import (
    counted,
    difference_said,
    exchange_said,
    needed_said,
    points,
)

ROW = {
    "arm": "b",
    "reference": "a",
    "difference": 0.123,
    "low": 0.02,
    "high": 0.2,
    "closed": 40,
    "verdict": "",
    "note": "",
    "said": "",
}
SIZE = "+12.3 points (+2.0 to +20.0); 40 closed courses."


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, f"b makes more success than a: {SIZE}"),
        ({"low": 0.0}, "no clear difference, +12.3 points (+0.0 to +20.0)"),
        ({"difference": -0.1, "low": -0.2, "high": 0.0}, "no clear difference, -10.0"),
        ({"difference": -0.1, "low": -0.2, "high": -0.01}, "b makes less success"),
        ({"said": "of an interim look"}, f"{SIZE} Of an interim look."),
        ({"said": "so", "verdict": "better"}, f"{SIZE} Verdict: so."),
        ({"difference": None, "said": "x"}, "b against a: no difference is given: x."),
        ({"difference": None, "said": "x", "note": "y"}, "no difference is given: y."),
    ],
)
def test_a_difference_is_a_sentence(changed, said):
    assert said in difference_said({**ROW, **changed}, by_lot=True)


def test_numbers_have_their_noun_and_points_their_sign():
    assert [counted(n, "course") for n in (0, 1, 2)] == [
        *("0 courses", "1 course", "2 courses")
    ]
    assert counted(2, "batch", "batches") == "2 batches"
    assert [points(x) for x in (0.5, -0.25, -0.0004)] == ["+50.0", "-25.0", "+0.0"]


def test_what_successes_take_is_told_in_tens_and_whole_hours():
    pair = {"arm": "b", "reference": "a"}
    rows = [
        {**pair, "resource": "minutes", "more": -60.0, "low": -180.0, "high": 30.0},
        {**pair, "resource": "queens", "more": 1234.0, "low": 96.0, "high": 2345.0},
        {**pair, "resource": "semen_ul", "more": -44.0, "low": -61.0, "high": -16.0},
        {
            **pair,
            "arm": "c",
            "resource": "drones",
            "more": 0.0,
            "low": -9.0,
            "high": 8.0,
        },
        {
            **pair,
            "arm": "c",
            "resource": "visits",
            "more": 8.0,
            "low": -12.0,
            "high": 31.0,
        },
    ]
    first, second = exchange_said(rows, "laying")
    assert first == (
        "For 1,000 successes (laying) b takes 1,230 more queens (100 to 2,340 more), "
        "40 uL less semen (60 to 20 less) and 1 hour less at the bench (3 less to 0 more) "
        "than a; in brackets, 95 % limits."
    )
    assert second == (
        "For 1,000 successes (laying) c takes 0 more drones (10 fewer to 10 more) and "
        "10 more visits (10 fewer to 30 more) than a; in brackets, 95 % limits."
    )
    (one,) = exchange_said(rows[1:2], "laying")
    assert "c takes" not in one
    assert "b takes 1,230 more queens (100 to 2,340 more) than a" in one
    (hours,) = exchange_said([{**rows[0], "more": 120.0}], "laying")
    assert "b takes 2 hours more at the bench" in hours


def test_a_margin_is_told_in_points():
    said = needed_said([{"margin": 0.05, "queens": 1539, "queens_alone": 236}])
    assert said.endswith(
        "a chance of 80 % to see that the arm is not worse: 5 points: 236 queens an arm if "
        "they were independent, 1,539 with whole graft batches to an arm."
    )
