"""Where the words of a running series stand: beside its limits, its signals and its foot."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.dashboard.operators import learning, series


def point(case, *, worse=1.0, limit=2.0, signal="", answer="not"):
    return {
        "case": case, "done": dt.date(2026, 5, 1), "known": dt.date(2026, 6, 1), "answer": answer,
        "worse": worse, "better": -worse, "signal": signal, "said": f"case {case}" if signal else "",
        "limit_worse": limit, "limit_better": None if limit is None else -limit,
    }  # fmt: skip


def spec(chart):
    return chart.to_dict(validate=False)


def layers(rows):
    """Give the layers of a chart, each with its mark and its own rows."""
    made = spec(series.cusum_chart(rows, span=(-3.0, 3.0)))
    return [
        (part["mark"], made["datasets"][part["data"]["name"]], part["encoding"])
        for part in made["layer"]
    ]


def names(rows):
    """Give the names at the limits: words, case, height, side."""
    return [
        (own[0]["said"], own[0]["case"], own[0]["limit_worse" if "worse" in str(place["y"]) else "limit_better"], mark["align"])
        for mark, own, place in layers(rows)
        if mark["type"] == "text" and own[0]["said"].startswith("limit")
    ]  # fmt: skip


def test_a_limit_is_named_where_it_begins_and_where_it_ends():
    rows = [point(n, limit=3 - n / 10) for n in range(1, 11)]
    assert names(rows) == [
        ("limit: more", 1, 2.9, "left"),
        ("limit: fewer", 10, -2.0, "right"),
    ]


@pytest.mark.parametrize(
    ("number", "highest_at", "height"),
    # a limit that rises under its name lifts it: within two fifths of its cases, and one more
    [(10, 5, 9.0), (10, 6, 2.0), (5, 3, 9.0), (5, 4, 2.0), (1, 1, 9.0)],
)
def test_a_name_stands_clear_of_what_its_limit_does_beneath_it(number, highest_at, height):
    rows = [point(n, limit=9.0 if n == highest_at else 2.0) for n in range(1, number + 1)]
    assert names(rows)[0][2] == height


@pytest.mark.parametrize(("first", "side"), [(5, "left"), (6, "right")])
def test_a_limit_that_begins_late_is_named_to_its_left(first, side):
    rows = [point(n, limit=None if n < first else 2.0) for n in range(1, 11)]
    assert names(rows)[0][1] == first
    assert names(rows)[0][3] == side
    assert names([point(n, limit=None) for n in range(1, 4)]) == []


@pytest.mark.parametrize(
    ("case", "kind", "height", "side"),
    [(5, "more", 1.5, "left"), (6, "more", 1.5, "right"), (2, "fewer", -1.5, "left")],
)
def test_a_signal_is_marked_on_its_own_line_with_its_words_beside_it(case, kind, height, side):
    rows = [point(n, worse=1.5, signal=kind if n == case else "") for n in range(1, 11)]
    triangle, words = [
        (mark, own) for mark, own, _ in layers(rows) if len(own) == 1 and own[0].get("signal")
    ]
    assert (triangle[0]["shape"], triangle[1][0]["at"], triangle[1][0]["case"]) == ("triangle-up", height, case)
    assert (words[0]["align"], words[0]["dx"]) == (side, -9 if side == "right" else 9)


def test_undecided_courses_have_a_cross_at_the_foot():
    rows = [point(n, answer="undecided" if n in (2, 4) else "not") for n in range(1, 6)]
    (crosses,) = [own for mark, own, _ in layers(rows) if mark.get("shape") == series.CROSS]
    assert [(row["case"], row["at"]) for row in crosses] == [(2, -3.0), (4, -3.0)]
    assert not [own for mark, own, _ in layers(rows[:1]) if mark.get("shape") == series.CROSS]


def stretch(operator, middle, *, shown=True, low=0.5, **more):
    return {
        "operator": operator, "shown": shown, "middle": middle, "stretch": f"to {middle}",
        "courses": 20, "share": 0.8, "low": low, "high": 0.9, "expected": None, "failures": 4,
        "share_said": "80 %", "limits_said": "", "expected_said": "", **more,
    }  # fmt: skip


def scales(rows, names_of=("A", "B")):
    charts = {}
    made = learning._experience(list(names_of), rows, charts)
    one = next(iter(charts.values()))
    found = [part["encoding"] for part in spec(one)["layer"] if "x" in part["encoding"]]
    return made, charts, found[0]["x"], found[1]["y"]


@pytest.mark.parametrize(
    ("middles", "lows", "cases", "floor"),
    [
        ((13, 130), (0.5, 0.72), [10.0, 169], 0.5),
        ((1, 26), (0.05, 0.9), [1.0, 34], 0.0),  # no case is before the first
        ((13, 26), (0.39, 0.9), [10.0, 34], 0.3),
    ],
)
def test_panels_of_all_operators_have_one_scale(middles, lows, cases, floor):
    rows = [stretch(name, middle, low=low) for name, middle, low in zip("AB", middles, lows, strict=True)]
    made, charts, x, y = scales(rows)
    assert list(made) == ["A", "B"]
    assert list(charts) == ["experience-1", "experience-2"]
    assert x["scale"]["domain"] == cases
    assert y["scale"]["domain"] == [min(floor, int(10 * learning.LEAST_FLOOR) / 10), 1.0]
    assert x["axis"]["values"] == [end for end in (1, 25, 50, 100, 200) if cases[0] <= end <= cases[1]]


def test_an_operator_without_a_stretch_that_is_shown_has_no_panel():
    rows = [stretch("A", 13), stretch("A", 30, shown=False), stretch("B", 13, shown=False), stretch("C", 400)]
    made, _, x, _ = scales(rows)
    assert list(made) == ["A"]
    assert x["scale"]["domain"] == [10.0, 17]
    assert made["A"].alt == "A, share of success: cases to 13 80 %."
    assert [row["middle"] for row in made["A"].table.rows] == [13, 30]
    assert learning._experience(["B"], rows, {}) == {}
