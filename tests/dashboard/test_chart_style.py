"""The charts' common style and responses, and the words and axes around them."""

from __future__ import annotations

import datetime as dt
import json

import altair as alt
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from queen_outcomes.dashboard import figures, seasons, this_week
from queen_outcomes.dashboard.charts import adjusted, funnel, theme
from queen_outcomes.dashboard.onset import onset_chart
from queen_outcomes.facts.settings import Settings

MONDAY = dt.date(2026, 5, 4)
WEEK = dt.timedelta(days=7)


def row(week, *, closed=True, share=0.5, n=20):
    year, number, _ = week.isocalendar()
    return {
        "iso_week": f"{year}-W{number:02d}",
        "week_of": week,
        "courses": n,
        "yes": 8,
        "no": 8,
        "undecided": 3,
        "left": 1,
        "closed": closed,
        "share": share,
        "low": share - 0.2 if closed else None,
        "high": share + 0.2 if closed else None,
        "week": f"W{number:02d}",
        "place": number - 1,
        "season": str(year),
        "batch": None,
    }


def curve(level):
    return [
        {
            "level": level,
            "day": day,
            "laying": day / 30,
            "low": day / 40,
            "high": day / 25,
            "at_risk": 30 - day,
        }
        for day in range(25)
    ]


def units(spec):
    if "layer" in spec:
        return [unit for part in spec["layer"] for unit in units(part)]
    return [spec]


def test_weeks_of_a_season_follow_each_other_and_a_long_gap_is_cut():
    assert seasons.on_axis([18, 20, 8, 40]) == [8, *range(9, 18), 18, 19, 20, None, 40]
    assert seasons.on_axis([2, 0, 12, 0]) == [0, 1, 2, None, 12]


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sets(st.integers(min_value=0, max_value=52), max_size=30))
def test_every_week_is_on_the_axis_once_and_in_order(places):
    drawn = seasons.on_axis(places)
    weeks = [week for week in drawn if week is not None]
    assert weeks == sorted(set(weeks))
    assert places <= set(weeks)
    assert drawn.count(None) <= 1


@pytest.mark.parametrize("first_month", [1, 7, 10])
def test_a_season_s_weeks_have_their_iso_numbers_wherever_it_begins(first_month):
    first = seasons.first_week(first_month)
    for number in range(1, 53):
        place = (number - first) % seasons.WEEKS
        assert seasons.name_of(place, first_month) == f"W{number:02}"


def test_a_week_is_named_when_its_limits_leave_its_season_or_a_graft_spoilt_it():
    rows = [
        {**row(MONDAY, share=0.4), "batch": "G1"},
        {**row(MONDAY + WEEK, share=0.95), "batch": None},
        {**row(MONDAY + 2 * WEEK, share=0.55), "batch": None},
    ]
    said = [one["said"] for one in seasons.remarkable(rows, {"2026": 0.6})]
    assert said == ["W20: high", "W19: graft G1"]
    assert seasons.remarkable(rows, {}) == []


def test_weeks_can_be_drawn_across_and_a_kind_shown_alone():
    rows = [row(MONDAY), row(MONDAY + WEEK, closed=False)]
    spec = theme.dressed(
        seasons.cohort_chart(rows, question="x", season_shares={"2026": 0.9})
    )
    assert {param["name"] for param in spec["params"]} == {"weeks", "series"}
    assert spec["usermeta"]["series"] == {
        "field": "kind",
        "levels": list(seasons.COHORT_KINDS),
    }
    names = {unit.get("name") for unit in units(spec)}
    assert all(set(param["views"]) <= names for param in spec["params"])


def test_a_series_that_was_not_chosen_stands_back_as_it_stood():
    spec = theme.dressed(onset_chart([*curve("a"), *curve("b")], window=21, by="x"))
    own = [unit for unit in units(spec) if "color" in unit["encoding"]]
    assert len(own) == 2  # band and line
    for unit in own:
        opacity = unit["encoding"]["opacity"]
        assert opacity["condition"]["param"] == "series"
        assert opacity["condition"]["value"] == unit["mark"].get("opacity", 1)
        assert opacity["value"] < opacity["condition"]["value"] / 5


def test_a_line_can_be_pointed_at_on_every_step_and_looks_the_same():
    spec = theme.dressed(onset_chart(curve("a"), window=21))
    (line,) = [unit for unit in units(spec) if unit["mark"]["type"] == "line"]
    (points,) = [unit for unit in units(spec) if unit["mark"]["type"] == "point"]
    assert points["mark"]["opacity"] == 0
    assert points["data"] == line["data"]
    assert points["encoding"]["tooltip"] == line["encoding"]["tooltip"]


def test_one_series_has_no_legend_to_filter_by():
    spec = theme.dressed(onset_chart(curve("a"), window=21))
    assert "usermeta" not in spec
    assert "params" not in spec


def test_unchecked_charts_are_the_same_charts():
    rows = [row(MONDAY), row(MONDAY + WEEK, closed=False)]
    made = []
    for _ in range(2):
        chart = seasons.cohort_chart(rows, question="x", season_shares={"2026": 0.9})
        made.append(json.dumps(theme.dressed(chart), sort_keys=True))
    with theme.unchecked():
        chart = seasons.cohort_chart(rows, question="x", season_shares={"2026": 0.9})
        made.append(json.dumps(theme.dressed(chart), sort_keys=True))
    assert len(set(made)) == 1


def test_a_chart_keeps_the_grammars_schema():
    rows = [row(MONDAY), row(MONDAY + 30 * WEEK, closed=False)]
    for chart in (
        seasons.cohort_chart(rows, question="x"),
        onset_chart([*curve("a"), *curve("b")], window=21, by="x"),
    ):
        alt.LayerChart.from_dict(json.loads(json.dumps(theme.dressed(chart))))


@pytest.mark.parametrize("is_shared", [True, False])
@pytest.mark.parametrize("usermeta", [{}, {"link": {"kind": "week"}}])
def test_layers_are_laid_as_the_library_lays_them(is_shared, usermeta):
    base = theme.chart([{"at": 1, "of": "a"}, {"at": 2, "of": "b"}])
    other = base if is_shared else theme.chart([{"at": 0}])
    layers = [
        other.mark_rule(color=theme.QUIET).encode(x="at:Q"),
        base.mark_point().encode(x="at:Q", y=alt.Y("of:N", title=None)),
        base.mark_text().encode(x="at:Q", text="of:N"),
    ]
    drawn = theme.layered(layers, height=70)
    known = alt.layer(*layers).properties(width="container", height=70)
    if usermeta:
        drawn.usermeta = usermeta
        known.usermeta = usermeta
    expected = known.to_dict()
    del expected["config"]  # the pages have their own
    assert drawn.to_dict() == expected
    assert list(drawn.to_dict()["datasets"]) == list(expected["datasets"])


def test_what_is_chosen_in_a_layer_is_the_whole_charts():
    chosen = alt.selection_interval(name="weeks", encodings=["x"])
    base = theme.chart([{"at": 1}]).mark_point().encode(x="at:Q")
    layers = [base.add_params(chosen).properties(name="marks"), base]
    assert theme.layered(layers, height=70).to_dict()["params"][0]["views"] == ["marks"]


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (None, ""),
        (0.0, "< 0.001"),
        (0.0009, "< 0.001"),
        (0.001, "0.001"),
        (0.0142, "0.014"),
        (0.132, "0.13"),
        (1.0, "1.00"),
    ],
)
def test_a_p_has_the_places_it_carries(p, said):
    assert figures.p_value(p) == said


def test_a_name_stands_behind_an_address_whatever_it_holds():
    assert figures.fragment("Q1/2 #&é") == "Q1%2F2%20%23%26%C3%A9"


@pytest.mark.parametrize(
    ("row", "key", "written"),
    [
        ({"queen_id": "Q 1&2"}, "queen_id", '<a href="queens.html#Q%201%262">Q 1&amp;2</a>'),
        (
            {"example": "Q1", "course_id": "Q1/2"},
            "example",
            '<a href="queens.html#Q1%2F2">Q1</a>',
        ),
        ({"queen_id": None}, "queen_id", ""),
        ({"share": 0.25}, "share", "25 %"),
        ({"p_holm": 0.0004}, "p_holm", "&lt; 0.001"),
        ({"outcome": "laying"}, "outcome", "laying"),
        ({"said": " <b>7 "}, "said", "&lt;b&gt;7"),
        ({"said": 3.14159}, "said", "3.14"),
        ({"said": None}, "said", ""),
    ],
)
def test_a_cell_is_written_by_what_its_column_holds(row, key, written):
    kept = ' class="kept"' if key == "queen_id" else ""
    assert figures.cells(row, [(key, "Heading")], ()) == f"<td{kept}>{written}</td>"
    numbers = figures.cells(row, [(key, "Heading")], (key,))
    assert numbers == f'<td class="number">{written}</td>'


def points(*shares):
    return [
        {"label": f"{at} uL", "probability": share} for at, share in enumerate(shares)
    ]


@pytest.mark.parametrize(
    ("shares", "said"),
    [
        ((0.7, 0.8, 0.9), "Dose: 70 % at 0 uL; 90 % at 2 uL"),
        ((0.7, 0.9, 0.8), "Dose: 70 % at 0 uL; most at 1 uL, 90 %; 80 % at 2 uL"),
        ((0.7, 0.5, 0.8), "Dose: 70 % at 0 uL; least at 1 uL, 50 %; 80 % at 2 uL"),
        ((0.7, 0.71, 0.7), "Dose: 70 % at 0 uL; 70 % at 2 uL"),
    ],
)
def test_a_curve_is_told_by_its_ends_and_its_turn(shares, said):
    assert adjusted.curve_said("dose", points(*shares)) == said


def difference(name, low, high):
    return {"name": name, "low": low, "high": high}


def test_differences_are_told_by_how_many_are_clear():
    unclear = difference("a", -1, 1), difference("b", None, None)
    assert adjusted.differences_said([*unclear]) == (
        "The limits of all 2 differences include zero"
    )
    assert adjusted.differences_said([*unclear, difference("c", 0.1, 0.2)]) == (
        "1 of 3 differences has limits on one side of zero: c"
    )
    clear = [difference(name, -2, -1) for name in "cdef"]
    assert adjusted.differences_said([*unclear, *clear]) == (
        "4 of 6 differences have limits on one side of zero"
    )


def test_the_first_close_is_told_while_there_is_none(full_store):
    made = [
        {"course_id": "Q1/1", "queen_id": "Q1", "d0": dt.date(2026, 6, 1)},
        {"course_id": "Q2/1", "queen_id": "Q2", "d0": dt.date(2026, 6, 3)},
    ]
    asked = [
        {"course_id": course["course_id"], "outcome": outcome, "window_days": days}
        for course in made
        for outcome, days in (("laying", 21), ("established", 60))
    ]
    store = full_store(courses=made, outcomes=asked)
    settings = Settings(name="S")
    close = dt.date(2026, 6, 1) + dt.timedelta(21 + settings.outcomes.grace_days)
    before = this_week.first_close(store, settings, close - dt.timedelta(1))
    assert (before["outcome"], before["window_days"]) == ("laying", 21)
    assert before["on"] == close
    assert this_week.first_close(store, settings, close) is None


def named(name, courses, ratio=0.9):
    return {"label": name, "courses": courses, "ratio": ratio}


def sides(*points):
    drawn = funnel._labels(list(points), alt.X("courses:Q"), alt.Y("ratio:Q"))
    return {
        row["label"]: chart.mark.align for chart in drawn for row in chart.data.values
    }


def test_a_name_stands_where_the_plot_has_room_for_it():
    # alone at the right edge: inside of it; pressed from the left: past its point
    assert sides(named("a", 10), named("b", 20), named("c", 100))["c"] == "right"
    assert sides(named("a", 10), named("b", 98), named("c", 100))["c"] == "left"
