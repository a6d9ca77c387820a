"""Figures of the operators' page: rates, funnels, batches, days and case numbers."""

from __future__ import annotations

import datetime as dt

import pytest
from chart_rows import data_of
from modelled import LAYING
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import funnel
from queen_outcomes.dashboard.operators import batches, learning, rates
from queen_outcomes.facts.exports.audit import (
    AUDIT_DAYS,
    EXPERIENCE,
    LEARNING,
    LEARNING_LIMITS,
    OPERATOR_BATCHES,
    OPERATOR_SPREAD,
)
from queen_outcomes.facts.exports.writing import write_rows

ROW = {
    "operator": "A",
    "outcome": "laying",
    "window_days": 21,
    "shown": True,
    "flag": "",
    "apart_from": "",
    "separable": True,
    "shared_pct": 99.5,
    "courses": 40,
    "failures": 9,
    "undecided": 1,
    "unknown_risk": 0,
    "at_risk": 40.6,
    "filled": 8.24,
    "expected": 8.0,
    "ratio": 1.03,
    "adjusted": 0.2,
    "low": 0.1,
    "high": 0.35,
    "mid_p": 0.01,
    "rank_low": 1,
    "rank_high": 2,
}


def test_an_operator_s_figures_are_told_or_held_back():
    told = rates.said(ROW)
    assert told["filled_said"] == "8.2 of 41"
    assert (told["expected_said"], told["ratio_said"]) == ("8.0", "1.03")
    assert (told["adjusted_said"], told["flag_said"]) == (
        "20 % (10–35)",
        "within chance",
    )
    assert told["p_said"] == "0.01"
    assert rates.said({**ROW, "mid_p": 0.0099})["p_said"] == "< 0.01"
    held = rates.said({**ROW, "shown": False})
    assert held["flag_said"] == "too few courses to compare"
    assert held["courses"] == 40
    assert [held[key] for key in ("filled_said", "p_said", "adjusted_said")] == [""] * 3


def test_the_station_s_rate_lies_in_limits_up_to_their_ends():
    rows = [ROW, {**ROW, "low": 0.2}, {**ROW, "high": 0.2}]
    assert rates._around(rows, 0.2) == "Everybody's limits hold the station's 20 %"
    assert rates._around([*rows, {**ROW, "low": 0.21}], 0.2) == (
        "The limits of 3 of 4 operators hold the station's 20 %"
    )


def test_flags_are_told_by_how_many_there_are():
    more, fewer = {**ROW, "flag": "more"}, {**ROW, "operator": "B", "flag": "fewer"}
    assert rates.finding([ROW]) == "A: failures lie within what chance gives"
    assert rates.finding([more, fewer]) == "A fails more often than B"
    assert rates.finding([more, fewer, ROW]).startswith("2 of 3 operators are flagged")
    assert rates.finding([more]).startswith("1 of 1 operators is flagged")


def test_figures_of_rates_stand_on_all_shown():
    other = {**ROW, "operator": "B", "at_risk": 19.4, "filled": 3.76, "courses": 20}
    charts: dict = {}
    store = Store()
    write_rows(store, OPERATOR_SPREAD, [])
    elsewhere = {**ROW, "outcome": "lost", "window_days": 60}
    told = rates.show(store, LAYING, [ROW, other, elsewhere], charts)
    assert [figure.chart for figure in told["figures"]] == [
        *("operators-expected", "operators-adjusted", "operators-funnel")
    ]
    # 12 failures of 60 courses
    assert told["figures"][1].title == "Everybody's limits hold the station's 20 %"
    assert [row["what"] for row in told["others"]] == ["lost by day 60"]
    assert (len(told["rows"]), told["spread"], told["rank_figure"]) == (2, "", None)
    assert told["figures"][2].alt.endswith("with limits. 0 flagged.")
    assert rates.show(store, LAYING, [], {})["figures"] == []
    ranks = {**other, "rank_low": 2}
    assert rates.show(store, LAYING, [ROW, ranks], {})["rank_figure"] is not None
    bare = {**other, "rank_low": None}
    assert rates.show(store, LAYING, [ROW, bare], {})["rank_figure"] is None


def test_funnels_need_a_verdict_and_a_share_between_none_and_all():
    def drawn(rows, share, spread=()):
        charts: dict = {}
        rates._funnels(rows, share, list(spread), charts)
        return list(charts)

    assert drawn([ROW], 0.2) == ["operators-funnel"]
    wide = {"tau2": 0.1, "phi": 2.0, "operators": 20}
    assert drawn([ROW], 0.2, [wide]) == ["operators-funnel", "operators-funnel-spread"]
    assert drawn([{**ROW, "flag": None}], 0.2) == drawn([ROW], 0.0) == []
    assert drawn([ROW], 1.0) == []
    assert rates._spread_said([wide]).startswith(
        "Over 20 operators the squared, trimmed"
    )


def test_a_flag_is_drawn_where_the_line_does_not_allow_for_it():
    lines = [{"size": 40, "low_998": 0.3, "high_998": 1.8}]
    high = {**ROW, "flag": "more", "ratio": 2.5, "failures": 20, "mid_p": 1e-4}
    assert rates._funnel_points([high], 0.2, lines)[0]["degree"] == funnel.FLAGGED
    wide = [{"size": 40, "low_998": 0.1, "high_998": 9.0}]
    assert rates._funnel_points([high], 0.2, wide)[0]["degree"] == funnel.WITHIN
    unflagged = rates._funnel_points([{**high, "flag": ""}], 0.2, lines)
    assert unflagged[0]["degree"] == funnel.WITHIN


def test_a_point_stands_at_its_ratio_where_there_are_no_lines():
    row = {
        "failures": 5,
        "expected": 4.004,
        "ratio": 1.24877,
        "courses": 9,
        "mid_p": 0.5,
    }
    (drawn,) = funnel.figures([row], 0.0)
    assert drawn == {"courses": 9, "failures": 5, "expected": 4.0, "ratio": 1.2488}
    assert funnel.figures([row], 1.0) == [drawn]
    # more than expected stands over one, fewer under it; each as if it stood alone
    more, fewer = funnel.figures([row, {**row, "failures": 3}], 0.4)
    assert more["ratio"] != 1.2488
    assert more["ratio"] > 1 > fewer["ratio"]
    assert funnel.figures([row], 0.4) == [more]
    degrees = [
        funnel.degree(flagged=flagged, outside=outside)
        for flagged, outside in ((True, False), (False, True), (False, False))
    ]
    assert degrees == [funnel.FLAGGED, funnel.OUTSIDE, funnel.WITHIN]


def test_a_funnel_reaches_up_to_its_points_and_no_further_than_it_may():
    def top(ratio):
        point = {"name": "a", "courses": 9, "ratio": ratio, "degree": funnel.WITHIN}
        point |= {"failures": 1, "expected": 1.0, "label": "", "who": ""}
        chart = funnel.funnel_chart([point], [], size="s").to_dict()
        scales = [layer["encoding"]["y"]["scale"]["domain"] for layer in chart["layer"]]
        return scales[-1], [row["ratio"] for row in data_of_points(chart)]

    def data_of_points(chart):
        name = chart["layer"][-1]["data"]["name"]
        return chart["datasets"][name]

    assert top(1.0) == ([0, 3.0], [1.0])
    assert top(4.0) == ([0, pytest.approx(4.4)], [4.0])
    assert top(99.0) == ([0, funnel.MOST_TOP], [funnel.MOST_TOP])
    assert funnel._ticks(2.0) == [0, 0.25, 0.5, 1, 1.5, 2]
    assert funnel._ticks(4.0) == [0, 0.25, 0.5, 1, 1.5, 2, 3]
    assert funnel._ticks(5.0) == [0, 0.5, 1, 2, 3, 5]


def test_a_name_stands_away_from_its_nearest_neighbour():
    def sides(*places):
        points = [
            {"courses": n, "ratio": r, "label": f"{n}", "name": "", "who": ""}
            for n, r in places
        ]
        found = {}
        for chart in funnel._labels(points, "courses:Q", "ratio:Q"):
            mark = chart.to_dict()["mark"]
            for row in data_of(chart)[0]:
                found[row["label"]] = (mark["align"], mark["dx"], mark["dy"])
        return found

    left, right = ("left", 8, -8), ("right", -8, -8)
    assert sides((10, 2.0)) == {"10": right}
    found = sides((10, 2.0), (11, 2.0), (15, 2.0))
    assert (found["10"], found["11"]) == (right, left)
    # 14 lies nearer to 15 than to 10: its name goes left of it, as does the last's
    found = sides((10, 2.0), (14, 2.0), (15, 0.5))
    assert found["10"] == found["14"] == right
    assert found["15"] == ("left", 8, 9)
    assert sides((10, 1.0))["10"][2] == -8
    assert sides((10, 0.99))["10"][2] == 9


def test_ranks_are_drawn_from_half_a_rank_before_the_first_to_half_behind_the_last():
    rows = [{"operator": name, "rank_low": 1, "rank_high": 3} for name in "ABC"]
    drawn = rates.rank_chart(rows).to_dict()
    x = next(layer["encoding"]["x"] for layer in drawn["layer"] if "scale" in layer["encoding"]["x"])
    assert (x["scale"]["domain"], x["axis"]["values"]) == ([0.5, 3.5], [1, 2, 3])


BATCH = {
    "kind": "graft_batch",
    "batch": "g1",
    "courses": 20,
    "failures": 10,
    "expected": 3.04,
    "ratio": 3.29,
    "mid_p": 0.04,
    "flag": "",
    "first_on": dt.date(2026, 6, 1),
    "operators": ["A", "B"],
}
SHARES = {"graft_batch": 0.2, "semen_batch": 0.4}


def test_a_batch_is_a_point_by_what_chance_gives():
    point = batches._points([BATCH], SHARES)[0]
    assert (point["degree"], point["label"], point["who"]) == (
        *(funnel.OUTSIDE, "", "A, B"),
    )
    assert (point["expected_said"], point["ratio_said"]) == ("3.0", "3.3")
    flagged = batches._points([{**BATCH, "flag": "more", "operators": []}], SHARES)[0]
    assert (flagged["degree"], flagged["label"], flagged["who"]) == (
        *(funnel.FLAGGED, "g1", "not recorded"),
    )
    (within,) = batches._points([{**BATCH, "mid_p": 0.05}], SHARES)
    assert within["degree"] == funnel.WITHIN
    rows = [BATCH, {**BATCH, "courses": 5, "expected": 1.0}]
    assert batches._share(rows, "graft_batch") == pytest.approx(4.04 / 25)
    assert batches._share(rows, "semen_batch") == 0.0


def test_batches_are_counted_in_titles(full_store):
    rows = [
        {
            **BATCH,
            "outcome": "laying",
            "window_days": 21,
            "batch": f"g{k}",
            "flag": flag,
        }
        for k, flag in enumerate(("more", "", "more", "more", "more"))
    ]
    rows[1]["mid_p"], rows[1]["ratio"] = 0.5, 99.0
    store = full_store(batches=rows)
    write_rows(store, AUDIT_DAYS, [])
    write_rows(store, OPERATOR_BATCHES, [])
    charts: dict = {}
    told = batches.show(store, LAYING, [], charts)
    (figure,) = told["funnels"]
    assert (told["total"], len(told["flagged"]), len(told["outside"])) == (5, 4, 4)
    assert figure.title == "Graft batches: 4 of 5 flagged, g0, g2, g3 and 1 more"
    assert "4 lie outside the 95 % limits, 4 outside the 99.8 % limits" in figure.alt
    assert told["days"] is None
    points = [{"name": "a"}, {"name": "b"}]
    assert batches._finding("graft batch", points, []) == (
        "Graft batches: none of 2 flagged"
    )
    assert batches._finding("graft batch", points, points[:1]).endswith(
        "1 of 2 flagged, a"
    )


def day_row(number, failures, flag="", season="2026"):
    return {
        "d0": dt.date(2026, 6, number),
        "season": season,
        "courses": 9,
        "failures": failures,
        "expected": 2.26,
        "low": 1,
        "high": 4,
        "mid_p": 0.5,
        "flag": flag,
        "operators": ["A"],
        "graft_batches": ["g1", "g2"],
        "semen_batches": [],
    }


def test_days_are_told_of_the_last_season():
    def told(*rows):
        store, charts = Store(), {}
        write_rows(store, AUDIT_DAYS, list(rows))
        return batches._days(store, charts)

    figure = told(
        day_row(1, 9, season="2025"), day_row(2, 1), day_row(3, 0), day_row(4, 5)
    )
    assert figure.title == (
        "Season 2026: failures lie outside the 95 % limits on 2 of 3 days: 2026-06-03, "
        "2026-06-04"
    )
    row = figure.table.rows[0]
    assert (row["span"], row["expected_said"], row["batches"]) == (
        "1 to 4",
        "2.3",
        "g1, g2",
    )
    assert told(day_row(2, 4)).title.endswith("on 0 of 1 days")
    many = told(*(day_row(k, 5) for k in range(1, 5)))
    assert many.title.endswith("on 4 of 4 days")
    three = told(*(day_row(k, 5) for k in range(1, 4)))
    assert three.title.endswith("2026-06-03")
    assert told(day_row(2, 9, "more")).table.rows[0]["degree"] == funnel.FLAGGED


def part(batch, failures, expected, *, alone=False, kind="graft_batch"):
    return {
        "operator": "A",
        "kind": kind,
        "batch": batch,
        "courses": 9,
        "failures": failures,
        "expected": expected,
        "alone": alone,
    }


def test_the_share_below_which_hand_and_batch_are_one_is_said_in_per_cent():
    class Nothing:
        def records(self, _):
            return []

    said = batches.apart(Nothing(), [{**ROW, "separable": False}])
    assert said["least"] == "30 %"  # the judgement of the audit, as a share of courses
    assert said["inseparable"] == [ROW["operator"]]


def test_the_batch_that_adds_most_is_named():
    parts = [
        part("g1", 3, 1.0),
        part("g2", 3, 1.0),
        part("s", 9, 1.0, kind="semen_batch"),
    ]
    assert batches.largest_part(parts, "graft_batch")["batch"] == "g2"
    assert batches.largest_part([part("g1", 1, 1.0)], "graft_batch") is None
    row = batches._overlap_row({**ROW, "failures": 9, "expected": 7.5}, parts)
    assert (row["shared"], row["separable_said"], row["excess"]) == (
        *("100 %", "can be told apart", "+1.5"),
    )
    assert (row["adds"], row["whose"]) == ("g2, +2.0", "others")
    alone = batches._overlap_row(
        {**ROW, "separable": False}, [part("g", 2, 1.0, alone=True)]
    )
    assert (alone["separable_said"], alone["whose"]) == (
        "cannot be told apart",
        "nobody",
    )
    none = batches._overlap_row(ROW, [])
    assert (none["adds"], none["whose"]) == ("", "")
    held = batches._overlap_row({**ROW, "shown": False}, parts)
    assert (held["courses"], held["shared"], held["adds"]) == (40, "", "")


def test_an_excess_in_batches_of_one_s_own_is_told_from_half_of_it_on():
    row = {**ROW, "failures": 10, "expected": 6.0}
    half = part("g1", 3, 1.0, alone=True)
    (said,) = batches.alone_said(row, [half, part("g2", 9, 1.0)])
    assert "4.0 failures more than expected, and 2.0 of them" in said
    assert "in graft batch g1" in said
    assert batches.alone_said(row, [part("g1", 3, 1.01, alone=True)]) == []
    assert batches.alone_said({**row, "expected": 10.0}, [half]) == []
    (two,) = batches.alone_said(row, [half, part("g3", 4, 1.5, alone=True)])
    assert "and all of them" in two
    assert "in 2 graft batches, most of it in g3" in two
    (all_of_it,) = batches.alone_said(row, [part("g1", 5, 1.0, alone=True)])
    assert "and all of them" in all_of_it


def test_what_is_shared_is_the_title():
    title = batches._overlap_title
    low = {**ROW, "shared_pct": 62.4}
    assert title([ROW], [], True) == (
        "Every course lies in batches that others worked on too"
    )
    assert title([ROW, low], [], True).startswith("Every operator has 62 % or more")
    assert title([ROW], ["A"], True) == "A: operator and batch cannot be told apart"
    assert title([ROW], [], False).startswith("No batch is recorded: ")
    assert title([{**ROW, "shown": False}], [], False) == "Which batches were shared"


def stretch(operator, first, middle, low, *, shown=True, expected=0.8):
    return {
        "operator": operator,
        "from_case": first,
        "to_case": 2 * first,
        "middle": middle,
        "courses": 25,
        "failures": 5,
        "share": 0.8 if shown else None,
        "low": low if shown else None,
        "high": 0.9 if shown else None,
        "expected": expected if shown else None,
        "shown": shown,
    }


def experience(*rows, names=("A", "B")):
    store, charts = Store(), {}
    write_rows(store, EXPERIENCE, list(rows))
    write_rows(store, LEARNING, [])
    write_rows(store, LEARNING_LIMITS, [])
    operators = [{**ROW, "operator": name} for name in names]
    return learning.show(store, LAYING, operators, charts), charts


def test_stretches_of_cases_share_their_scales():
    told, charts = experience(
        stretch("A", 26, 36.4, 0.55),
        stretch("A", 51, 70.0, 0.7),
        stretch("B", 101, 150.0, 0.62, shown=False),
        stretch("C", 201, 900.0, 0.1),
    )
    assert list(told["own"]) == ["A"]
    assert told["unstated"] == ["A", "B"]
    figure = told["own"]["A"]
    assert (
        figure.alt == "A, share of success: cases 26 to 52 80 %; cases 51 to 102 80 %."
    )
    assert len(figure.table.rows) == 2
    (layer, *_) = charts["experience-1"].to_dict()["layer"]
    assert layer["encoding"]["x"]["scale"]["domain"] == [28.0, 91]
    assert layer["encoding"]["x"]["axis"]["values"] == [50]
    assert layer["encoding"]["y"]["scale"]["domain"] == [0.5, 1.0]
    told, charts = experience(stretch("A", 1, 1.2, 0.65), stretch("B", 1, 25.0, 0.9))
    (layer, *_) = charts["experience-2"].to_dict()["layer"]
    assert layer["encoding"]["x"]["scale"]["domain"] == [1.0, 32]
    assert layer["encoding"]["x"]["axis"]["values"] == [1, 25]
    assert layer["encoding"]["y"]["scale"]["domain"] == [0.6, 1.0]
    assert experience(stretch("B", 1, 9.0, 0.5, shown=False))[0]["own"] == {}
    held = learning._stretch(stretch("B", 1, 9.0, 0.5, shown=False))
    assert (held["share_said"], held["expected_said"]) == ("too few", "")


def test_what_is_expected_of_a_stretch_is_drawn_where_it_is_known():
    row = {"middle": 9.0, "stretch": "", "courses": 9, "share": 0.5, "low": 0.4}
    row |= {"high": 0.6, "expected": None}
    drawn = {"what": "w", "cases": (1.0, 99.0), "shares": (0.5, 1.0)}
    bare = learning.experience_chart([row], **drawn)
    assert len(bare.to_dict()["layer"]) == 3
    known = learning.experience_chart([row, {**row, "expected": 0.5}], **drawn)
    (*_, hollow) = data_of(known)
    assert [one["expected"] for one in hollow] == [0.5]


def test_a_beginner_s_curve_is_drawn_up_to_its_limit():
    limit = {
        "operator": "A",
        "first_number": 11,
        "watched": 100,
        "decided": 1,
        "adequate": 0.2,
        "inadequate": 0.33,
        "limit": 2.34567,
        "false_chance": 0.05,
        "true_chance": 0.5,
        "reached_at": 12,
        "message": "",
    }
    point = {
        "operator": "A",
        "case": 1,
        "number": 11,
        "d0": dt.date(2026, 6, 1),
        "known_on": dt.date(2026, 6, 29),
        "failed": None,
        "value": 1.237,
        "reached": False,
    }
    store, charts = Store(), {}
    write_rows(store, LEARNING_LIMITS, [limit, {**limit, "operator": "B"}])
    last = {"case": 2, "number": 12, "reached": True, "failed": False}
    write_rows(store, LEARNING, [point, {**point, **last}, {**point, "operator": "C"}])
    a, b = learning._curves(store, ["A", "B"], charts)
    assert (a["operator"], b["figure"]) == ("A", None)
    assert a["figure"].title == "A: the limit is reached at case 12"
    assert [row["value"] for row in a["figure"].table.rows] == ["1.24", "1.24"]
    assert [row["answer"] for row in a["figure"].table.rows] == [
        *("undecided", "did not fail")
    ]
    layers = data_of(charts["learning-1"])
    assert {"at": 2.346, "first": 11, "said": "limit"} in layers[1]
    assert [row["number"] for row in layers[-1]] == [12]
    assert [one["operator"] for one in learning._curves(store, ["B"], {})] == ["B"]
    bare = {"number": 1, "day": "", "answer": "", "value": 1.0, "reached": False}
    none = learning.learning_chart([bare], limit=None)
    assert len(none.to_dict()["layer"]) == 1


def test_three_flagged_batches_are_named_and_more_are_counted():
    points = [{"name": name} for name in "abcde"]
    start = "Graft batches: {} of 5 flagged, a, b, c"
    assert batches._finding("graft batch", points, points[:3]) == start.format(3)
    assert batches._finding("graft batch", points, points[:4]) == start.format(4) + " and 1 more"
