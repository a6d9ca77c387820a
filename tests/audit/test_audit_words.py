"""What an audit says of figures, signals and batches, and where it says nothing."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest
from queen_outcomes.audit import report, sheet
from queen_outcomes.audit.said import series_said, verdict
from queen_outcomes.base.errors import UsageError
from two_hands import two_hands as cases

QUESTION = ("laying", 21)
ROW = {
    "operator": "A",
    "courses": 30,
    "failures": 6,
    "filled": 7.25,
    "expected": 4.04,
    "ratio": 1.794,
    "adjusted": 0.262,
    "low": 0.118,
    "high": 0.437,
    "flag": "",
    "apart_from": "",
    "shown": True,
    "separable": True,
    "shared_pct": 71.6,
    "rank_low": 2,
    "rank_high": 5,
    "undecided": 0,
    "unknown_risk": 0,
    "signals": 1,
    "expected_by_others": None,
}
POINT = {
    "series": "level",
    "signal": "worse",
    "case": 12,
    "inseminated_at": dt.datetime.fromisoformat("2026-06-02T09"),
    "known_on": dt.date(2026, 6, 30),
}


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "6 of 30 courses: not laying by day 21; 4.0 were expected: within what "),
        ({"flag": "more"}, "4.0 were expected: more than chance and batches give."),
        ({"flag": "fewer"}, "4.0 were expected: fewer than chance and batches give."),
        (
            {"undecided": 3},
            "; with the undecided filled in, 7.2 failed and 4.0 were expected: within",
        ),
        ({"shown": False}, "day 21: too few courses to compare with what was expected"),
        ({"apart_from": "the tip"}, "day 21. A cannot be told apart from the tip: "),
        ({"courses": 0}, "A has no course here that the records settle and whose risk"),
    ],
)
def test_a_verdict_is_one_sentence(changed, said):
    assert said in verdict({**ROW, **changed}, "A", QUESTION)


def test_a_verdict_names_the_first_signal_of_each_way():
    later = {**POINT, "known_on": dt.date(2026, 7, 9)}
    better = {**later, "signal": "better"}
    calm = {**POINT, "signal": "", "known_on": dt.date(2026, 5, 1)}
    said = verdict(ROW, "A", QUESTION, [later, better, POINT, calm])
    assert said.endswith(
        "give, over all these courses. This season's series signalled fewer failures "
        "(known 2026-07-09) and more failures (known 2026-06-30)."
    )
    assert verdict(ROW, "A", QUESTION, [calm]).endswith("batches give.")


def test_a_series_says_its_signals_and_the_chance_of_seeing_a_change():
    row = {"series": "level", "message": "", "detection": None, "provisional": False}
    row |= {"cases": 40}
    others = [{**POINT, "series": "drift"}, {**POINT, "signal": ""}]
    start = "Against colleagues this season: "
    assert series_said(row, others) == f"{start}no signal in 40 courses."
    assert series_said({**row, "message": "why"}, others) == f"{start}no verdict (why)."
    told = series_said({**row, "detection": 0.4, "provisional": True}, [POINT, *others])
    assert told == (
        f"{start}more failures, at course 12 (2026-06-02, known 2026-06-30). Had the odds "
        "of failing doubled at its first course, that would show by now with a chance of "
        "40 %. Provisional: there is no earlier season."
    )


def period(*rows):
    made = cases()
    operators = list(rows) or [ROW]
    return SimpleNamespace(cases=made, operators=operators, question=QUESTION)


def test_a_comparison_says_only_what_is_known():
    plain = sheet.compares({**ROW, "rank_low": None}, period())
    # of nine decided courses six failed
    assert plain == [
        "On the station's own mix of courses: 26 %, 95 % limits 12 to 44; the station as "
        "a whole 67 %.",
        "72 % of the courses lie in a graft and a semen batch that others worked on too.",
    ]
    full = {**ROW, "separable": False, "expected_by_others": 3.26}
    full |= {"undecided": 2, "unknown_risk": 1}
    found = sheet.compares(full, period(ROW, ROW, {**ROW, "rank_low": None}))
    assert found[1].endswith("too: operator and batch cannot be told apart.")
    assert found[2:] == [
        "By a model of the other operators' courses only, 3.3 failures would be expected.",
        "Rank among 2 operators, 1 for the fewest failing: anywhere from 2 to 5.",
        "2 further closed courses are undecided: each is filled in from what was seen of "
        "her.",
        "1 further closed courses are of unknown risk and left out.",
    ]
    hidden = {**ROW, "shown": False}
    assert sheet.compares(hidden, period()) == [
        "Figures are held back under the smallest number of courses shown."
    ]
    (apart,) = sheet.compares({**hidden, "apart_from": "the tip"}, period())
    assert apart.startswith("A cannot be told apart from the tip")


def test_what_was_done_counts_grafts_and_loads_that_have_a_name():
    assert sheet._done(period(), "A", ROW) == [
        "6 closed courses, day 0 from 2026-06-01 to 2026-07-11, from 1 grafts and 3 semen "
        "batches; 30 are decided and of known risk."
    ]
    made = SimpleNamespace(cases=cases(graft_batch=np.full(11, "")))
    assert "from 0 grafts and 1 semen batches" in sheet._done(made, "B", ROW)[0]


def part(excess, *, alone=False):
    return {
        "kind": "graft_batch",
        "batch": "g1",
        "failures": 5,
        "courses": 9,
        "expected": 2.04,
        "excess": excess,
        "alone": alone,
    }


def test_what_to_look_at_first_is_batches_then_the_bench():
    def first(*parts, row=ROW, process=(), signal=False):
        return sheet._first(row, list(parts), list(process), signal)

    # an excess of 3.21: a batch is named from more than half of it on
    batch = "Graft batch g1: 5 of 9 failed, 2.0 expected."
    assert first(part(1.7), part(1.5)) == [batch]
    apart = " Nobody else worked on it: operator and batch cannot be told apart."
    assert first(part(1.7, alone=True)) == [batch + apart]
    assert first(*[part(2.0)] * 4) == [batch] * 3
    # and more than one failure
    calm = {**ROW, "filled": 4.04}
    assert first(part(0.9), row=calm) == ["Nothing stands out; carry on as planned."]
    assert first(part(1.1), row=calm) == [batch]
    ending = first(row=ROW, signal=True)
    assert ending[0].startswith("Then the semen's age and storage")
    assert first(row={**ROW, "flag": "more"}) == ending
    assert first(row={**ROW, "expected": None}) == [
        "The batches and factors named above, before any hand."
    ]


def test_better_is_drawn_downwards_and_limits_that_are_not_there_left_out():
    point = {**POINT, "cusum_worse": 2.0, "cusum_better": 1.5, "failed": None}
    low, none = sheet.series_points(
        [
            {**point, "limit_worse": 4.0, "limit_better": 3.0},
            {
                **point,
                "series": "drift",
                "limit_worse": np.inf,
                "limit_better": None,
                "failed": False,
            },
        ]
    )
    assert (low["worse"], low["better"]) == (2.0, -1.5)
    assert (low["limit_worse"], low["limit_better"]) == (4.0, -3.0)
    assert (none["limit_worse"], none["limit_better"]) == (None, None)
    assert (low["undecided"], none["undecided"]) == (True, False)
    assert (low["series"], none["series"]) == ("against colleagues", "against own")


def test_a_tool_nobody_else_used_has_no_colleagues_figures():
    row = {"tool": "tip", "expected": 1.26, "others_courses": 0}
    row |= {"others_failures": 0, "others_expected": 0.0}
    told = sheet._tool(row)
    assert told["expected"] == "1.3"
    assert [told[f"others_{k}"] for k in ("courses", "failures", "expected")] == [
        ""
    ] * 3
    told = sheet._tool(
        {**row, "others_courses": 2, "others_failures": 1, "others_expected": 0.44}
    )
    assert [told[f"others_{k}"] for k in ("courses", "failures", "expected")] == [
        *(2, 1, "0.4")
    ]


def test_a_row_of_the_table_holds_figures_back_that_are_not_shown():
    row = report._row(ROW)
    assert (row["filled_in"], row["expected"], row["failed_to_expected"]) == (
        *(7.2, 4.0, 1.79),
    )
    assert (row["adjusted"], row["limits"], row["rank"]) == ("26 %", "12-44", "2-5")
    assert (row["stands_out"], row["shared"]) == ("", "72 %")
    assert report._row({**ROW, "rank_low": None})["rank"] is None
    held = report._row({**ROW, "shown": False, "shared_pct": None, "separable": False})
    names = ("filled_in", "expected", "failed_to_expected", "adjusted", "limits")
    assert {held[name] for name in (*names, "rank", "shared")} == {None}
    assert held["stands_out"] == "too few courses"
    apart = report._row({**ROW, "separable": False, "apart_from": "the tip"})
    assert apart["shared"] == "72 %, operator and batch cannot be told apart"
    assert apart["stands_out"] == "no verdict: not told apart from the tip"


def test_flagged_batches_are_told_the_least_likely_first():
    def batch(name, mid_p, operators, flag="more"):
        told = {**part(1.0), "batch": name, "mid_p": mid_p}
        return {**told, "operators": operators, "flag": flag}

    made = SimpleNamespace(
        batches=[
            batch("g3", 0.001, []),
            batch("g2", 0.0001, ["A"]),
            batch("g1", 0.001, ["A", "B"]),
            batch("g4", 0.5, ["A"], ""),
        ]
    )
    end = "5 of 9 failed, 2.0 expected"
    assert report._batches(made) == [
        f"graft batch g2: {end} (A; operator and batch cannot be told apart)",
        f"graft batch g1: {end} (A, B)",
        f"graft batch g3: {end} (nobody named)",
    ]


def test_a_file_is_named_by_whom_it_shows_and_its_period():
    asked = report.AuditRequest(since=dt.date(2026, 5, 1))
    assert report._file_name("Ada/Br.", QUESTION, asked) == (
        "Ada-Br-laying-21-from-2026-05-01"
    )
    until = report.AuditRequest(until=dt.date(2026, 5, 31))
    assert report._file_name("..", QUESTION, until) == "--laying-21-to-2026-05-31"
    assert report._file_name("A", QUESTION, report.AuditRequest()) == "A-laying-21"


def test_an_operator_not_there_is_answered_with_those_that_are():
    assert report._operator(period(), None) is None
    assert report._operator(period(), "A") == "A"
    ada = {**ROW, "operator": "Ada"}
    with pytest.raises(UsageError) as error:
        report._operator(period(ada), "Ade")
    assert "did you mean Ada?" in error.value.hint
    with pytest.raises(UsageError) as error:
        report._operator(period(ada), "Zzzzzz")
    assert error.value.hint == ""


def test_why_there_is_nothing_to_audit():
    made = cases()
    for some, said in (
        (made.some(np.arange(0)), "no closed course"),
        (cases(operator=np.full(11, "")), "11 closed courses, and no operator is"),
        (made, "11 closed courses, none of them decided and of known risk"),
    ):
        assert report._why_nothing(SimpleNamespace(cases=some)).startswith(said)


@pytest.mark.parametrize(
    ("measure", "mean", "outside"),
    [
        # of the dose's error the middle 80 % reach from -0.5 to 0.3, around -0.1
        ("dose_error", -0.6, True),
        ("dose_error", -0.5, False),
        ("dose_error", 0.3, False),
        ("dose_error", 0.31, True),
        ("minutes", 0.31, True),
        ("minutes", -0.6, False),  # faster is not worse
        ("leak", 0.9, False),
    ],
)
def test_a_mean_stands_outside_on_its_worse_side(measure, mean, outside):
    row = {"measure": measure, "mean": mean, "station_mean": -0.1}
    row |= {"station_low": -0.5, "station_high": 0.3}
    assert sheet.stands_outside(row) is outside
    alike = {**row, "station_low": 0.3}
    assert not sheet.stands_outside(alike)


def test_further_from_none_is_worse_and_nearer_is_not():
    row = {"measure": "dose_error", "mean": 0.1, "station_mean": -0.9}
    row |= {"station_low": -1.0, "station_high": -0.8}
    assert not sheet.stands_outside(row)
    assert [sheet._measured(0.126, unit) for unit in ("uL", "", "min", "share")] == [
        *("0.13", "0.13", "0.1", "13 %")
    ]
