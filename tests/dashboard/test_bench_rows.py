"""The bench and its checkers, checks due, the week's figures and the records, by hand."""

from __future__ import annotations

import datetime as dt

import pytest
from chart_rows import data_of
from modelled import LAYING
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import due, records, this_week
from queen_outcomes.dashboard.operators import page, process
from queen_outcomes.facts.exports.audit import CHECKER_AGREEMENT
from queen_outcomes.facts.exports.writing import write_rows

AS_OF = dt.date(2026, 7, 1)


def measure(operator, season, mean, *, recorded=20, name="dose_error"):
    return {
        "operator": operator,
        "season": season,
        "measure": name,
        "mean": mean,
        "recorded": recorded,
        "low": 0.04,
        "high": 0.36,
        "spread": 0.1,
        "station_mean": 0.1,
        "station_low": 0.0,
        "station_high": 0.2,
    }


def test_this_season_s_means_stand_beside_the_season_before():
    rows = [
        measure("A", "2025", 0.1),
        measure("A", "2026", 0.3),
        measure("B", "2025", 0.1, recorded=19),
        measure("B", "2026", 0.1),
        measure("C", "2026", 0.9, recorded=19),
        measure("A", "2026", 0.5, name="leak"),
    ]
    own = process._measure(rows, "dose_error", "2026", "2025", 20)
    assert [(r["operator"], r["before"], r["shown"]) for r in own] == [
        *(("A", 0.1, True), ("B", None, True), ("C", None, False))
    ]
    charts: dict = {}
    told = process._figure("dose_error", "dose given minus meant (uL)", own, charts)
    assert told["outside"] == ["A"]
    assert list(charts) == ["process-dose-error"]
    assert told["figure"].alt.endswith("mean by operator: A 0.30; B 0.10.")
    a, b, c = told["table"].rows
    assert (a["mean_said"], a["middle"], a["before_said"]) == (
        "0.30",
        "0.0 to 0.4",
        "0.10",
    )
    assert (a["station_said"], a["station_middle"]) == ("0.10", "0.0 to 0.2")
    assert b["before_said"] == ""
    assert (c["mean_said"], c["middle"], c["recorded"]) == ("too few", "", 19)
    (drawn, *_) = data_of(charts["process-dose-error"])
    assert drawn == [drawn[0]]  # the station's own band stands once
    hollow = data_of(charts["process-dose-error"])[-1]
    assert [row["operator"] for row in hollow] == ["A"]
    assert charts["process-dose-error"].to_dict()["height"] == 2 * process.ROW_HEIGHT
    none = process._figure("dose_error", "x", own[2:], {})
    assert (none["figure"], none["outside"]) == (None, [])


def test_of_a_yes_or_no_only_the_share_is_told():
    (own,) = process._measure(
        [measure("A", "s", 0.25, name="leak")], "leak", "s", "", 1
    )
    charts: dict = {}
    told = process._figure("leak", "backflow seen (share)", [own], charts)
    (row,) = told["table"].rows
    assert (row["mean_said"], row["middle"], row["station_said"]) == (
        "25 %",
        "",
        "10 %",
    )
    (band, *_) = data_of(charts["process-leak"])
    assert (band[0]["station_low"], band[0]["station_high"]) == (0.1, 0.1)
    rule = data_of(charts["process-leak"])[2][0]
    assert (rule["low"], rule["high"]) == (0.25, 0.25)
    assert process._own([told])["A"].rows[0]["measure"] == "backflow seen"


def test_the_bench_is_summed_up_in_a_title():
    def said(*outside, figure=True):
        measures = [
            {"name": f"m{k}", "outside": o, "figure": figure}
            for k, o in enumerate(outside)
        ]
        return process._title(measures, "2026")

    assert said([], figure=None) == "Nothing to compare yet."
    assert said([], []).endswith(
        "no operator's mean lies beyond the station's middle 80 %."
    )
    assert said(["A", "B"], [], ["C"]).endswith("middle 80 %: m0 (A, B); m2 (C).")


def pair(first="B", *, kappa=None, **other):
    row = {
        "measure": "eggs",
        "first_checker": first,
        "second_checker": first and "C",
        "pairs": 20,
        "agree": 15,
        "kappa": kappa,
        "low": None,
        "high": None,
        "mean": None,
        "spread": None,
        "message": "",
    }
    return {**row, **other}


def test_two_checkers_agree_by_kappa_or_by_points():
    assert process.short_said(pair(None)) == "20 pairs of looks, 75 % the same"
    assert process.short_said(pair(None, agree=None)) == "20 pairs of looks"
    wide = pair(None, spread=12.4)
    assert process.short_said(wide) == (
        "20 pairs of looks, 95 % of two scores within 12 points"
    )
    said = process.any_two_said
    own = pair(kappa=0.4, low=0.1, high=0.7)
    alone = " No pair of checkers has enough looks of its own."
    assert (
        said(wide, [own])
        == "20 pairs of looks: 95 % of two scores lie within 12 points."
    )
    assert said(wide, [pair(message="few")]).endswith(alone)
    start = (
        "20 pairs of looks, 75 % the same; kappa 0.50, where 1 is full agreement and 0 "
        "what chance gives."
    )
    any_two = pair(None, kappa=0.5)
    assert said(any_two, []) == start + alone
    assert said(any_two, [own]) == start
    assert said(any_two, [pair("A", kappa=1.0), own]) == (
        f"{start} By pair from 0.40 (B and C; 0.10 to 0.70) to 1.00 (A and C; always the "
        "same), 95 % limits in brackets."
    )
    assert said(pair(None, message="why"), [own]) == (
        "20 pairs of looks, 15 of them the same; no kappa: why."
    )
    assert said(pair(None, agree=None, message="why"), [own]) == (
        "20 pairs of looks: why."
    )
    shown = process._pair(own)
    assert (shown["figure"], shown["limits"], shown["agree_said"]) == (
        *("0.40", "0.10 to 0.70", "15"),
    )
    other = process._pair(pair(mean=-1.234, agree=None))
    assert (other["figure"], other["agree_said"], other["limits"]) == ("-1.23", "", "")
    assert process._pair(pair())["figure"] == ""


def test_any_two_checkers_stand_over_the_pairs():
    store = Store()
    rows = [pair(None, kappa=0.5), pair(kappa=0.4), pair(None, measure="pattern_pct")]
    write_rows(store, CHECKER_AGREEMENT, rows)
    eggs, pattern = process._checkers(store)
    assert eggs["name"] == "eggs seen or not"
    assert [row["checkers"] for row in eggs["table"].rows] == ["B and C"]
    assert pattern["table"].rows == []


def test_what_weakens_the_figures_is_said():
    courses = {
        "closed": 9,
        "decided": 100,
        "failures": 20,
        "unknown_risk": 0,
        "unnamed": 0,
    }
    two = [{"operator": "A", "shown": True}] * 2

    def said(rows=two, **changed):
        return page.cautions({**courses, **changed}, rows)

    assert said() == []
    assert said(failures=0)[0].startswith("None of the 100 decided courses failed")
    assert said(failures=100)[0].startswith("All 100 decided courses failed")
    assert said(decided=0, failures=0, unknown_risk=0.01) == []
    assert said(rows=two[:1])[0].startswith("A is the only operator on record.")
    assert said(unknown_risk=4) == said(unnamed=4) == []
    assert said(unknown_risk=5)[0].startswith("For 5 of 100 decided courses a factor")
    assert said(unknown_risk=49)[0].startswith("For 49")
    assert said(unknown_risk=50)[0].startswith(
        "Read nothing into this page yet: for 50"
    )
    assert said(unnamed=5)[0].startswith("For 5 of 100 decided courses no operator")
    assert said(rows=[], unnamed=5) == []
    assert page.cannot_be_shown(courses, two, LAYING) == ""


def check(number, colony="N1", status="due", queen="Q1"):
    return {
        "useful_until": AS_OF + dt.timedelta(days=number),
        "colony_id": colony,
        "status": status,
        "queen_id": queen,
    }


def test_checks_due_are_counted():
    assert due.due_said([], AS_OF).startswith("No check is due: ")
    assert due.due_said([check(1)], AS_OF) == "1 check is due."
    rows = [check(0), check(0), check(3), check(0, status="missed")]
    assert due.due_said(rows, AS_OF) == (
        "3 checks are due, and 1 missed in the last 30 days can still be made good; for 3 "
        "of them today is the last day of use."
    )
    days = [due._day_said(AS_OF + dt.timedelta(days=k), AS_OF) for k in range(3)]
    assert days == [
        "2026-07-01, today",
        "2026-07-02, tomorrow",
        "2026-07-03, in 2 days",
    ]
    numbers = due._numbers([{"day": AS_OF, "rows": rows}])
    assert numbers == [{"useful_until": AS_OF, "due": 3, "missed": 1}]
    (bars,) = data_of(due.due_chart(rows))
    assert [(row["until"], row["status"], row["checks"]) for row in bars] == [
        ("2026-07-01", "due", 2),
        ("2026-07-01", "missed", 1),
        ("2026-07-04", "due", 1),
    ]


def test_the_next_days_name_the_first_of_each_colony():
    rows = [
        check(2, None, queen="Q9"),
        check(2, "N2"),
        check(1, "N1"),
        check(2, "N2", queen="Q8"),
        check(2, None, queen="Q7"),
        check(3, "N3"),
    ]
    first, second = due.closing_days(rows, AS_OF, 2, 2)
    assert (first["title"], first["more"]) == ("2026-07-02, tomorrow", 0)
    assert [row["queen_id"] for row in second["rows"]] == ["Q8", "Q9"]
    assert second["more"] == 1
    assert len(due.closing_days(rows, AS_OF, 9, 3)) == 3
    assert due.closing_days(rows, AS_OF, 9, 3)[1]["more"] == 0


def test_a_week_is_told_by_its_season():
    season = {"estimate": 0.8, "closed": 10, "courses": 30, "level": "2026"}
    assert this_week.title(None, 21, 10) == "Laying by day 21, week by week"
    assert this_week.title(season, 21, 10) == (
        "Laying by day 21: 80 % of the queens of season 2026"
    )
    early = (
        "Laying by day 21: too early to say for season 2026, 10 of 30 courses closed"
    )
    assert this_week.title(season, 21, 11) == early
    assert this_week.title({**season, "estimate": None}, 21, 10) == early
    assert [this_week.change_said([4, n]) for n in (3, 4, 1005)] == [
        *("-1 on last week", "as last week", "+1,001 on last week")
    ]


def test_figures_at_a_glance(monkeypatch):
    """Failures a week: two known today, one a week ago to the day, none before."""
    weeks = this_week.WEEKS_BACK
    past = [
        {
            "back": back,
            "observed": 10 - back,
            "inseminated": int(back == 0),
            "looks": back,
        }
        for back in range(weeks)
    ]
    known = [{"on": AS_OF - dt.timedelta(days=days)} for days in (0, 6, 7)]
    asked = []

    def failed(_store, _settings, _as_of, days):
        asked.append(days)
        return known

    class Rows:
        def records(self, *_):
            return past

    monkeypatch.setattr(this_week, "_failed", failed)
    checks = [check(0), check(0), check(0, status="missed")]
    tiles = this_week._tiles(Rows(), LAYING, AS_OF, {"quarantined": 1}, checks, [])
    assert asked == [this_week.LATELY_DAYS * weeks]
    assert [tile["number"] for tile in tiles] == [10, 1, 0, 2, 1]
    assert [tile["said"] for tile in tiles] == [
        "courses under observation",
        "course inseminated this week",
        "checks made this week; 2 due, 1 missed",
        "failures known since last week",
        "row in quarantine",
    ]
    assert tiles[3]["change"] == "+1 on last week"
    assert tiles[0]["change"] == "+1 on last week"
    assert tiles[3]["trend_said"].endswith("0, 1, 2")
    plain = this_week._tiles(Rows(), LAYING, AS_OF, {"quarantined": 0}, checks[:1], [])
    assert plain[2]["said"] == "checks made this week; 1 due"
    assert plain[4]["said"] == "rows in quarantine"


def test_rows_read_lost_and_mended_are_told():
    def said(read, lost, aside):
        sources = [
            {"rows_read": read, "quarantined": lost},
            {"rows_read": 1, "quarantined": 0},
        ]
        grouped = [
            {"severity": "set_aside", "found": aside},
            {"severity": "quarantine", "found": 9},
        ]
        return records.read_said(sources, grouped)

    assert records.read_said([], []) == "No row has been read yet."
    assert said(1999, 0, 0) == "Of 2,000 rows read, every one is accepted."
    assert said(9, 1, 1) == (
        "Of 10 rows read, 1 waits in quarantine; 1 cell was set aside in rows that are "
        "used."
    )
    assert said(9, 2, 3).endswith(
        "2 wait in quarantine; 3 cells were set aside in rows that are used."
    )


def test_a_week_s_rows_are_drawn_to_the_highest():
    rows = [
        {"iso_week": "2026-W22", "accepted": 9, "quarantined": 2, "set_aside": 3},
        {"iso_week": "2026-W23", "accepted": 9, "quarantined": 1, "set_aside": 3},
    ]

    def top(rows):
        (bars,) = records.week_chart(rows).to_dict()["layer"]
        return bars["encoding"]["y"]["scale"]["domain"]

    assert top(rows) == [0, 5]
    assert top([{**rows[0], "quarantined": 0, "set_aside": 0}]) == [0, 1]
    (bars,) = data_of(records.week_chart(rows[:1]))
    assert [(row["kind"], row["rows"], row["of"]) for row in bars] == [
        *((records.LOST, 2, 9), (records.MENDED, 3, 9))
    ]


def cell(checker, item, recorded, of=20):
    row = {"item": item, "looks": of, "recorded": recorded}
    return records._cell(row, "checker", checker, "looks")


def test_what_is_left_out_most_is_of_all_months_together():
    cells = [cell("m1", "dose_ul", 9, 10), cell("m2", "dose_ul", 0, 1)]
    cells += [cell("m1", "pattern_pct", 4, 5), cell("m2", "pattern_pct", 5, 6)]
    # 9 of 11 each: the first by name
    assert records._least(cells) == {"item": "brood pattern", "share": 9 / 11}
    cells.append(cell("m3", "dose_ul", 0, 1))
    assert records._least(cells) == {"item": "dose ul", "share": 0.75}
    assert records._least([]) is None
    chart = records.share_chart(cells, along="checker", title="t", unit="looks")
    assert data_of(chart)[0][0]["blank"] == 0.1
    drawn = chart.to_dict()
    assert drawn["height"] == 2 * records.ROW_HEIGHT
    # the darkest is a column that nobody fills in
    depth = drawn["layer"][0]["encoding"]["opacity"]["scale"]
    assert (depth["domain"], depth["range"][0] < depth["range"][1] < 1) == ([0, 1], True)


def test_a_checker_who_leaves_out_more_is_named_from_ten_points_on():
    def said(*recorded, fewest=20, of=20):
        cells = [cell(f"c{k}", "eggs", n, of) for k, n in enumerate(recorded)]
        return records.furthest_said(cells, fewest)

    assert said(20, 17) == "c1 fills in eggs at 85 % of looks, the others at 100 %"
    assert said(20, 18.1).endswith("more than 10 points behind the others")
    # of three the others are taken together
    assert said(20, 18, 10) == "c2 fills in eggs at 50 % of looks, the others at 95 %"
    assert said(19, 18) == (
        "Checkers fill in alike: nobody lies more than 5 points behind the others"
    )
    assert said(20, 20).endswith("more than 1 points behind the others")
    assert said(20, 10, fewest=21) == said(20) == "What is filled in at a look"


@pytest.mark.parametrize(
    ("closed", "yes", "no", "known"), [(20, 7, 3, True), (20, 7, 2, False), (1, 1, 0, True), (0, 0, 0, False)]
)  # fmt: skip
def test_a_decided_rate_without_an_estimate_is_told_plainly(
    full_store, closed, yes, no, known
):
    row = {
        "outcome": "laying",
        "window_days": 21,
        "grouping": "all",
        "level": "all",
        "courses": 30,
        "closed": closed,
        "yes": yes,
        "no": no,
        "rate": 0.7,
        "undecided": 10,
        "left": 0,
        "open": 0,
        "low": 0.4,
        "high": 0.9,
    }
    (told,) = this_week._overall(full_store(rates=[row]), LAYING)
    assert told["headline"].endswith("plain rate") is known
