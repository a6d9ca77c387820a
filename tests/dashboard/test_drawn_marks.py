"""What small charts draw: where a point stands, what comes first, and which mark it gets."""

from types import SimpleNamespace

import pytest
from queen_outcomes.dashboard import against_expected
from queen_outcomes.dashboard.charts import matrix
from queen_outcomes.dashboard.charts.trend_line import trend_line
from queen_outcomes.facts.settings import Settings


@pytest.mark.parametrize(
    ("values", "line"),
    [
        # 3 off each edge of 96 by 24: nought at 21, the largest at 3
        ([0, 5, 10], "3.0,21.0 48.0,12.0 93.0,3.0"),
        ([0, 0], "3.0,21.0 93.0,21.0"),
        # under one a week the line does not fill the height
        ([0.5, 0], "3.0,12.0 93.0,21.0"),
    ],
)
def test_a_trend_stands_on_nought_and_ends_in_a_point(values, line):
    drawn = str(trend_line(values))
    x, y = line.split()[-1].split(",")
    assert f'points="{line}"' in drawn
    assert f'<circle cx="{x}" cy="{y}"' in drawn


@pytest.mark.parametrize(
    ("low", "high", "p_holm", "said"),
    [
        (0.1, 0.3, 0.049, matrix.CLEAR),
        (-0.3, -0.1, 0.05, matrix.PERHAPS),
        (0.1, 0.3, None, matrix.PERHAPS),
        (0.0, 0.3, 0.01, matrix.OPEN),
        (-0.3, 0.0, 0.01, matrix.OPEN),
    ],
)
def test_a_difference_is_as_sure_as_its_limits_and_all_tests_make_it(
    low, high, p_holm, said
):
    assert matrix.certainty({"low": low, "high": high, "p_holm": p_holm}) == said


def cell(factor, points, certainty, outcome="laying by day 21"):
    row = {"factor": factor, "outcome": outcome, "points": points, "pair": "8 to 10"}
    return {**row, "low": points - 1, "high": points + 1, "certainty": certainty}


def test_the_surest_and_largest_factor_stands_first():
    cells = [
        cell("dose", 9.0, matrix.OPEN),
        cell("age", -2.0, matrix.CLEAR),
        cell("line", 5.0, matrix.PERHAPS),
        cell("tip", -4.0, matrix.CLEAR),
        cell("line", 1.0, matrix.OPEN, "lost by day 21"),
    ]
    spec = matrix.matrix_chart(cells).to_dict()
    rows = [row for data in spec["datasets"].values() for row in data]
    assert len(spec["layer"]) == 6  # a mark and a number for each of three
    assert {layer["encoding"]["y"]["field"] for layer in spec["layer"]} == {"factor"}
    for layer in spec["layer"]:
        assert layer["encoding"]["y"]["sort"] == ["tip", "age", "line", "dose"]
        assert layer["encoding"]["x"]["sort"] == ["laying by day 21", "lost by day 21"]
    told = {(row["factor"], row["outcome"][:4]): row for row in rows}
    assert len(told) == len(rows) == 5
    tip, line = told["tip", "layi"], told["line", "lost"]
    assert (tip["way"], tip["size"], tip["written"]) == ("less success", 4.0, "-4.0")
    assert tip["limits"] == "-5.0 to -3.0"
    assert (line["way"], line["written"]) == ("more success", "+1.0")


def against(grafts=(), operators=()):
    """Give the figures of a season whose statements answer these rows."""
    found = iter([list(grafts), list(operators)])
    charts = {}
    store = SimpleNamespace(records=lambda sql, asked: next(found))
    figures = against_expected.show(store, Settings(), "2026", charts)
    return figures, charts


def graft(name, mid_p, flag="", failures=5):
    row = {"name": name, "courses": 20, "failures": failures, "expected": 3.04}
    return {**row, "flag": flag, "mid_p": mid_p}


def hand(number, courses, signals=0):
    row = {"name": f"op {number:02}", "courses": courses, "failures": 2}
    return {**row, "expected": 3.26, "signals": signals}


def test_graft_batches_are_told_by_how_far_they_lie_outside():
    (figure,), charts = against(
        [graft("G1", 0.05), graft("G2", 0.049), graft("G3", 0.0001, "more", 9)]
    )
    assert list(charts) == ["grafts"]
    assert figure.title == "Graft batches of 2026: G3 flagged"
    degrees = [row["degree"] for row in figure.table.rows]
    assert len(set(degrees)) == 3
    assert [row["over"] for row in figure.table.rows] == ["+2.0", "+2.0", "+6.0"]
    assert figure.table.rows[0]["expected"] == 3.0


def test_the_operators_with_most_courses_are_drawn_in_the_order_of_their_names():
    hands = [hand(n, 30 - n, signals=n % 2) for n in range(1, 10)]
    hands += [hand(n, 50) for n in range(10, 22)]
    (figure,), charts = against(operators=hands)
    names = [row["name"] for row in figure.table.rows]
    # 21 are too many by one: the one with fewest courses is left to the operators' page
    assert names == [f"op {n:02}" for n in range(1, 22) if n != 9]
    assert figure.title == "Operators in 2026: op 01, op 03, op 05 and 1 more signalled"
    assert list(charts) == ["hands"]
    (quiet,), _ = against(operators=hands[-3:])
    assert quiet.title == "Operators in 2026: none signalled"
    assert against() == ([], {})


def test_three_names_stand_in_a_title_and_more_are_counted():
    def titled(*flagged):
        rows = [graft(name, 0.0001, "more", 9) for name in flagged]
        return against([*rows, graft("Z", 0.5)])[0][0].title

    assert titled() == "Graft batches of 2026: none flagged"
    assert titled("A", "B", "C") == "Graft batches of 2026: A, B, C flagged"
    assert titled("A", "B", "C", "D") == "Graft batches of 2026: A, B, C and 1 more flagged"


def test_points_stand_on_stems_from_what_was_expected():
    """What is over nought has failed more often than expected."""
    (figure,), charts = against(operators=[hand(1, 30), hand(2, 20, signals=1)])
    assert figure.title == "Operators in 2026: op 02 signalled"
    drawn = charts["hands"].to_dict()
    stems = [layer["encoding"] for layer in drawn["layer"] if "x2" in layer["encoding"]]
    assert [stem["x2"] for stem in stems] == [{"datum": 0}]
    rows = [row for data in drawn["datasets"].values() for row in data]
    assert {"nought": 0} in rows
    assert drawn["height"] == 2 * against_expected.ROW_HEIGHT
