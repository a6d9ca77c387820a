"""The operators' small lines, running series and trends, by hand."""

from __future__ import annotations

import datetime as dt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.operators import overview, series
from queen_outcomes.facts.exports.audit import OPERATOR_SIGNALS
from queen_outcomes.facts.exports.writing import write_rows

FIRST = dt.date(2026, 6, 1)


def day(number: int) -> dt.date:
    return FIRST + dt.timedelta(days=number)


def course(number, operator, failed, expected, signal="", **other):
    return {
        "series": "level",
        "operator": operator,
        "known_on": day(number),
        "failed": failed,
        "expected": expected,
        "signal": signal,
        **other,
    }


def test_small_lines_share_their_scales_and_everybody_s_is_taken_for_as_many(
    full_store,
):
    """A: +0.75 after one course, +1.5 after two; all: +0.5 after two, +1 after four.

    Drawn in 180 by 40 units, 4 from the edge: days 0 to 10, failures 0 to 1.5.
    """
    rows = [
        course(0, "A", True, 0.25, case=1),
        course(0, "B", False, 0.25, case=1),
        course(5, "B", False, 0.25, case=2),
        course(10, "A", True, 0.25, "worse", case=2),
        course(10, "A", None, 0.25, case=3),  # undecided, and of unknown risk
        course(10, "A", True, None, case=4),
    ]
    store = full_store(operator_series=rows)
    lines = overview.small_lines(store, ["A", "C"])
    assert list(lines) == ["A"]
    line = lines["A"]
    assert line["own"] == "4,20 176,4"
    # everybody's: 0.5 of two, for one course 0.25; 1.0 of four, for two 0.5
    assert line["all"] == "4,30.7 176,25.3"
    assert line["zero"] == 36
    assert line["signals"] == [(176, 4)]
    assert line["last"] == "+1.5"
    assert line["alt"].endswith(
        "now +1.5, everybody's for as many courses +0.5; signals: 2026-06-11."
    )
    assert overview.small_lines(full_store(), ["A"]) == {}


def test_a_line_of_one_day_without_a_failure_stays_in_its_box(full_store):
    store = full_store(operator_series=[course(0, "A", None, 0.2, case=1)])
    line = overview.small_lines(store, ["A"])["A"]
    assert (line["own"], line["all"], line["zero"]) == ("4,36", "4,36", 36)
    assert line["alt"].endswith("signals: none.")


def measured(rows: list[dict]) -> Store:
    """Give a store of bench measures, as SQL makes the table."""
    store = Store()
    store.execute(
        "CREATE TABLE process_measures (operator VARCHAR, season VARCHAR, measure VARCHAR, "
        "mean DOUBLE, spread DOUBLE, recorded BIGINT)"
    )
    for row in rows:
        store.con.execute(
            "INSERT INTO process_measures BY NAME SELECT $operator AS operator, "
            "$season AS season, $measure AS measure, $mean AS mean, $spread AS spread, "
            "$recorded AS recorded",
            row,
        )
    return store


def measure(season, mean, *, recorded=20, spread=1.0, operator="A", name="dose_error"):
    return {
        "operator": operator,
        "season": season,
        "measure": name,
        "mean": mean,
        "spread": spread,
        "recorded": recorded,
    }


def test_a_mean_has_moved_by_more_than_two_standard_errors():
    # of two means of eight with spread 1 the difference has the error one half
    now = measure("2026", 2.0, recorded=8)
    for mean, moved in ((0.99, True), (1.01, False), (2.99, False), (3.01, True)):
        assert overview.has_moved(now, measure("2025", mean, recorded=8)) is moved


def test_trends_are_told_of_the_last_two_seasons():
    rows = [
        measure("2024", 9.0),
        measure("2025", 0.0),
        measure("2026", 3.0),
        measure("2025", 0.5, name="attempts", operator="B"),
        measure("2026", 0.5, name="attempts", operator="B"),
        measure("2026", 3.0, operator="C"),
        measure("2025", 0.0, operator="D", recorded=9),
        measure("2026", 3.0, operator="D"),
        measure("2025", 0.0, operator="E"),
    ]
    assert overview.trends_said(measured(rows), 10) == {
        "A": "dose given minus meant ↑ 3.00 from 0.00 uL",
        "B": "as last season",
        "C": "no season before",
        "D": "no season before",
    }
    names = ("dose_error", "attempts", "minutes", "queens_a_day")
    for many, end in (
        (2, "attempts ↓ 1.00 from 4.00"),
        (3, "; 1 more"),
        (4, "; 2 more"),
    ):
        rows = [
            measure(season, mean, name=name)
            for name in names[:many]
            for season, mean in (("2025", 4.0), ("2026", 1.0))
        ]
        told = overview.trends_said(measured(rows), 20)["A"]
        assert told.endswith(end)
    assert overview.trends_said(measured([]), 10) == {}


def test_figures_that_are_held_back_are_counts():
    row = {
        "courses": 4,
        "failures": 1,
        "at_risk": 4.6,
        "filled": 1.25,
        "expected": 0.75,
    }
    assert overview._numbers({**row, "shown": True}) == {
        "courses": 5,
        "failures": "1.2",
        "expected": "0.8",
    }
    assert overview._numbers({**row, "shown": False}) == {
        "courses": 4,
        "failures": "1 known",
        "expected": "",
    }
    assert not overview.stands_out({"shown": False, "flag": "more"}, [{}])
    assert not overview.stands_out({"shown": True, "flag": ""}, [])
    assert overview.stands_out({"shown": True, "flag": ""}, [{}])


def test_a_change_is_told_by_its_first_signal():
    def signal(operator, episode, number, name, case):
        return {
            "operator": operator,
            "episode": episode,
            "known_on": day(number),
            "series": name,
            "case": case,
        }

    rows = [
        signal("A", 1, 5, "drift", 3),
        signal("A", 1, 5, "level", 4),
        signal("A", 1, 4, "drift", 2),
        signal("A", 2, 9, "level", 9),
        signal(None, 1, 1, "station", 1),
    ]
    store = Store()
    write_rows(store, OPERATOR_SIGNALS, rows)
    found = overview.first_signals(store)
    assert [row["case"] for row in found["A"]] == [2, 9]
    assert list(found) == ["A"]


def test_four_batches_are_named_by_two_and_the_number_of_the_rest():
    batch = {"kind": "graft_batch", "courses": 20, "failures": 10, "expected": 3.0}
    four = [{**batch, "batch": f"g{k}"} for k in range(4)]
    (said,) = overview.lead([], {}, four)
    assert said.endswith("graft batch g1: 10 of 20 failed, 3.0 expected; and 2 more.")
    (two,) = overview.lead([], {}, four[:2])
    assert two.endswith("3.0 expected.")
    row = {"operator": "A", "shown": True, "flag": "", "apart_from": ""}
    assert overview.lead([row], {}, []) == [
        "Failures lie within what chance and batches give, over all courses and in this "
        "season's series."
    ]
    out = {**row, "operator": "B", "flag": "more"}
    assert overview.lead([row, out], {}, [])[1].startswith(
        "1 other operator lies within"
    )
    assert len(overview.lead([out], {}, [])) == 1


POINT = {
    "series": "level",
    "case": 3,
    "by": "A",
    "graft": "g1",
    "semen": "s1",
    "course_id": "Q3/1",
    "inseminated_at": dt.datetime.fromisoformat("2026-06-01T09"),
    "known_on": day(28),
    "failed": True,
    "expected": 0.216,
    "sum_over_expected": 1.256,
    "cusum_worse": 1.23412,
    "cusum_better": 0.98765,
    "limit_worse": 4.126,
    "limit_better": 3.124,
    "signal": "worse",
    "season_told": True,
}


def test_a_case_is_drawn_rounded_and_better_downwards():
    found = series.point(POINT)
    assert (found["worse"], found["better"]) == (1.234, -0.988)
    assert (found["over"], found["answer"]) == (1.26, "failed")
    assert (found["limit_worse"], found["limit_better"]) == (4.13, -3.12)
    assert (found["signal"], found["said"]) == ("more", "more: 2026-06-01")
    none = {
        "limit_worse": None,
        "limit_better": None,
        "signal": "",
        "cusum_better": 0.0,
    }
    bare = series.point({**POINT, **none, "expected": None})
    assert (bare["limit_worse"], bare["limit_better"], bare["said"]) == (None, None, "")
    assert bare["answer"] == "undecided"
    assert str(bare["better"]) == "0.0"
    assert series.point({**POINT, "failed": False})["answer"] == "did not fail"


def test_scales_leave_room_over_the_highest_and_hold_one_failure():
    low = {**POINT, "sum_over_expected": -5.0, "cusum_worse": 5.0, "limit_worse": None}
    spans = series._spans([POINT, low], [{"limit_worse": 2.0, "limit_better": 4.0}])
    assert spans.evidence == (-5.6, 7.0)
    assert spans.over == (-5.5, 1.4)
    empty = series._spans([], [])
    assert (empty.evidence, empty.over) == ((-1.4, 1.4), (-1.0, 1.0))


def test_a_long_series_keeps_its_ends_signals_and_extremes():
    def at(number, worse=0.0, better=0.0, signal=""):
        return {"case": number, "worse": worse, "better": better, "signal": signal}

    points = [at(k) for k in range(12)]
    points[2] = at(2, worse=3.0)
    points[4] = at(4, better=-2.0)
    points[7] = at(7, signal="more")
    points[9] = at(9, worse=1.0)
    assert series.thinned(points, 12) is points
    # two of each stretch of six, the first of equals
    kept = [row["case"] for row in series.thinned(points, 4)]
    assert kept == [0, 2, 4, 6, 7, 9, 11]


def test_a_panel_says_its_signals_and_how_far_the_series_lies():
    def alts(*rows):
        points, charts = [series.point(row) for row in rows], {}
        spans = series._spans(list(rows), [])
        panel = series._panel("level-0", "Ane", "level", points, spans, charts)
        assert sorted(charts) == ["evidence-level-0", "over-level-0"]
        return [figure.alt for figure in panel["figures"]]

    quiet = {**POINT, "signal": "", "sum_over_expected": -0.44, "case": 2}
    evidence, over = alts(quiet, POINT)
    assert evidence.endswith("Signals: more: 2026-06-01, known 2026-06-29.")
    assert over.endswith("summed over 3 closed courses; now +1.3.")
    evidence, over = alts(quiet)
    assert evidence.endswith("Signals: none.")
    assert over.endswith("summed over 2 closed courses; now -0.4.")


def test_both_series_of_a_case_stand_side_by_side():
    drift = {**POINT, "series": "drift", "expected": None, "signal": ""}
    other = {**POINT, "case": 1}
    table = series._table([POINT, drift, other, {**POINT, "case": 2}], {3, 1})
    assert [row["case"] for row in table.rows] == [1, 3]
    row = table.rows[1]
    assert (row["level_expected"], row["drift_expected"]) == ("22 %", "")
    assert (row["level_over"], row["level_worse"], row["level_better"]) == (
        *("+1.3", "1.23", "0.99"),
    )
    assert (row["level_signal"], row["drift_signal"]) == ("more", "")


def test_what_limits_can_see_is_said():
    assert series._counts_said([]) == "No closed course this season yet."
    rows = [POINT, {**POINT, "failed": None}, {**POINT, "expected": None}]
    assert series._counts_said(rows) == (
        "3 closed courses this season; 2 undecided, marked and passed over."
    )
    assert series._counts_said([POINT]) == "1 closed course this season."
    assert series.false_said(2, 0.025) == (
        "With nothing changed, a season of the planned courses still signals by chance "
        "with about 2.5 % at each of 4 limits, so up to 10 % together."
    )
    limit = {"series": "level", "message": "", "provisional": False, "detection": 0.8}
    limit |= {"cases": 50, "holds_for": 50, "median_courses": 31.0}
    assert series.detection_said(limit).endswith("31 courses.")
    often = series.detection_said({**limit, "detection": 0.79, "cases": 51})
    assert often.endswith(
        " A doubling is often missed. Beyond the 50 planned there is no verdict."
    )
    bare = series.detection_said({**limit, "median_courses": None})
    assert bare.endswith("with a chance of 80 %.")
    unknown = series.detection_said({**limit, "detection": None})
    assert unknown.endswith("the chance of a signal is not known.")


def test_the_facts_of_an_operator_say_what_is_missing():
    level = {"series": "level", "message": "", "provisional": False, "detection": None}
    drift = {**level, "series": "drift"}
    facts = series.facts_said(
        [level, drift], [POINT, {**POINT, "series": "drift"}], 0.01
    )
    assert facts[0] == "1 closed course this season."
    assert "of 4 limits" in facts[1]
    assert [fact[:12] for fact in facts[2:]] == ["Against coll", "Against own "]
    alone = series.facts_said([level], [POINT], 0.01)
    assert alone[-1] == "No own earlier courses: the series against them is missing."
    early = series.facts_said([{**level, "provisional": True}], [POINT], 0.01)
    assert early[-1].startswith("Provisional: there is no earlier season")
    silent = series.facts_said([{**level, "message": "why"}, drift], [POINT], 0.01)
    assert silent[1] == "No verdict against colleagues this season: why."
    assert "of 2 limits" in silent[2]


SIGNAL = {
    "operator": "A",
    "series": "drift",
    "case": 12,
    "direction": "worse",
    "inseminated_at": dt.datetime.fromisoformat("2026-06-01T09"),
    "known_on": day(28),
    "episode": 1,
    "failures": 5,
    "courses": 9,
    "expected": 2.0,
    "season_told": True,
}


def test_a_batch_is_named_from_a_third_of_a_signal_s_excess_on():
    part = {"operator": "A", "series": "drift", "case": 12, "kind": "graft_batch"}
    part |= {
        "batch": "g1",
        "courses": 3,
        "failures": 2,
        "expected": 1.0,
        "alone": False,
    }
    assert series._adds(part, SIGNAL).startswith(
        "Graft batch g1 holds 1.0 of these 3.0 beyond the expected"
    )
    assert series._adds(part, SIGNAL).endswith("others worked on it too.")
    assert "nobody else" in series._adds({**part, "alone": True}, SIGNAL)
    assert series._adds({**part, "expected": 1.01}, SIGNAL) == ""
    assert series._adds(part, {**SIGNAL, "expected": 5.0}) == ""
    said = series.signal_said(SIGNAL, [part, {**part, "case": 11, "failures": 9}])
    assert said.startswith(
        "More failures than before: signal at course 12 of 2026-06-01"
    )
    assert said.endswith("others worked on it too.")
    hard = series.signal_said({**SIGNAL, "season_told": False}, [])
    assert hard.startswith("More failures than before (or a harder season")
    better = series.signal_said({**SIGNAL, "direction": "better"}, [part])
    assert better.endswith("where 2.0 were expected.")


def test_a_change_that_two_series_saw_is_told_once():
    level = {**SIGNAL, "series": "level"}
    late = {**SIGNAL, "case": 15}
    (said,) = series.signals_said([late, SIGNAL, level], [])
    assert said.startswith("More failures than colleagues'")
    assert said.endswith(
        "The same change: against own earlier courses at course 12, against own earlier "
        "courses at course 15."
    )
    two = series.signals_said([{**SIGNAL, "episode": 2}, SIGNAL], [])
    assert len(two) == 2
    assert series._held_back({"operator": "A", "apart_from": ""}) == "A"
    held = series._held_back({"operator": "A", "apart_from": "the tip"})
    assert held == "A (not told apart from the tip)"
