"""What an audit stands on and tells: a period's courses, a season's series, a sheet's parts."""

from __future__ import annotations

import datetime as dt
import zlib
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from queen_outcomes.audit import part, period, report, running_series, sheet
from queen_outcomes.audit.results import _followed
from queen_outcomes.audit.running_series import AuditSeason
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import NoModelError, UsageError
from queen_outcomes.base.workers import Workers
from queen_outcomes.facts.exports.audit import AUDIT_INTERNAL
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.questions import main_terms
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.stats.series.null_seasons import (
    DRIFT,
    LEVEL,
    STATION,
    STATION_HAND,
    Unknowns,
)
from two_hands import two_hands

MODEL = RiskModel((), np.zeros(1, int), np.zeros(1), 0.0, {}, False, 1, 0)
QUESTION = ("laying", 21)
FIRST = dt.date(2026, 6, 1)


def day(number: int) -> dt.date:
    return FIRST + dt.timedelta(number)


# --- a period


@pytest.mark.parametrize(
    ("days", "courses"),
    [
        # day 0 of hers is 0, 0, 1, 1, 2 and 40, the fourth undecided; of B 0, 0, 0 and 1
        ((None, None), {"A": 5, "B": 3}),
        ((day(1), None), {"A": 3, "B": 1}),
        ((None, day(1)), {"A": 3, "B": 3}),
        ((day(1), day(1)), {"A": 1, "B": 1}),
        ((day(2), day(39)), {"A": 1}),
        ((day(3), day(39)), {}),
    ],
)
def test_a_period_holds_the_courses_from_its_first_to_its_last_day(
    monkeypatch, days, courses
):
    monkeypatch.setattr(part, "read_audited", lambda *_: two_hands())
    monkeypatch.setattr(part, "read_risk_model", lambda *_: MODEL)
    of_all = [
        {"operator": "A", "apart_from": "", "expected": 2.0},
        {"operator": "B", "apart_from": "the line", "expected": None},
    ]
    cases, operators, batches = part.audit_part(None, Settings(), QUESTION, days, of_all)
    assert {row["operator"]: row["courses"] for row in operators} == courses
    # nobody is measured in a part who cannot be told apart over all courses
    assert {r["operator"] for r in operators if r["expected"] is not None} <= {"A"}
    first, last = (days[0] or day(-9), days[1] or day(99))
    assert all(first <= on <= last for on in cases.d0.tolist())
    grafts = [row["courses"] for row in batches if row["kind"] == "graft_batch"]
    assert sum(grafts) == sum(courses.values()) + (first <= FIRST) * 1  # one is nobody's


@pytest.mark.parametrize("since", [None, day(1)])
@pytest.mark.parametrize("until", [None, day(2)])
def test_what_the_build_has_counted_is_read_and_a_part_counted_anew(
    monkeypatch, since, until
):
    asked = []

    def counted(*given):
        asked.append(given[3])
        return "cases", [{"operator": "of the part"}], []

    monkeypatch.setattr(part, "audit_part", counted)
    monkeypatch.setattr(period, "stored", lambda *_: [{"operator": "of all"}])
    found = period.read_period(None, Settings(), QUESTION, since, until)
    is_part = since is not None or until is not None
    assert asked == [(since, until)] * is_part
    assert found.operators == [{"operator": "of the part" if is_part else "of all"}]
    if is_part:
        assert found.cases == "cases"


OPERATOR_ROW = {
    "operator": "A", "courses": 5, "failures": 3, "shown": False, "rank_low": None,
    "apart_from": "", "flag": None, "shared_pct": None, "signals": 0, "separable": True,
    "expected": None,
}  # fmt: skip


def audit_of(monkeypatch, rows, **asked):
    made = period.Period(QUESTION, rows, [], two_hands)
    monkeypatch.setattr(report, "read_period", lambda *_: made)
    monkeypatch.setattr(report, "station_said", lambda *_: ["the station"])
    return report.audit(None, Settings(), report.AuditRequest(**asked))


def test_a_period_may_be_one_day_and_does_not_end_before_it_begins(monkeypatch):
    found = audit_of(monkeypatch, [OPERATOR_ROW], since=day(1), until=day(1))
    assert found.title.startswith("Technique: courses ")
    assert found.title.endswith("day 0 from 2026-06-02 to 2026-06-02")
    assert found.file.startswith("all-operators-")
    for one in ({"since": day(1)}, {"until": day(1)}, {}):
        assert audit_of(monkeypatch, [OPERATOR_ROW], **one).rows[0]["operator"] == "A"
    with pytest.raises(UsageError, match="ends before it begins"):
        audit_of(monkeypatch, [OPERATOR_ROW], since=day(2), until=day(1))


def test_where_nobody_has_a_course_there_is_nothing_to_audit(monkeypatch):
    for rows in ([], [{**OPERATOR_ROW, "courses": 0}]):
        with pytest.raises(NoModelError, match="nothing to audit") as caught:
            audit_of(monkeypatch, rows)
        assert caught.value.where == "laying by day 21"
        assert "11 closed courses, none of them decided" in caught.value.found


def test_an_audit_is_told_batches_first_with_one_operator_too(monkeypatch, capsys):
    found = audit_of(monkeypatch, [OPERATOR_ROW])
    columns, cells = replace(found, operators=[]).table
    assert (columns[0], cells) == ("operator", [])
    report.tell(found, Console(), ["a.html"])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == found.title
    assert lines[1:4] == [
        *("", "Batches first: outside what chance gives 998 times in 1,000", "  none")
    ]
    at = lines.index("Operators")
    assert lines[at + 1].split()[:3] == ["operator", "courses", "failures"]
    assert lines[at + 2].split()[:3] == ["A", "5", "3"]
    assert lines[-1] == "a.html"
    report.tell(replace(found, batches=["g1 failed"]), Console(), [])
    assert "  g1 failed" in capsys.readouterr().out.splitlines()


# --- a season's series


def season(name: str) -> AuditSeason:
    return AuditSeason(name, two_hands(), Settings(), None)


def test_a_season_as_numbers_leaves_out_what_is_not_known():
    this = two_hands().with_risk(np.where(np.arange(11) == 4, np.nan, 0.2))
    found = running_series._closed(this, MODEL, ["A", "B"])
    assert found.hand.tolist() == [0, 0, 0, 0, 0, 1, 1, 1, -1, 1, 0]
    # the fourth and the eighth are undecided, the fifth is of unknown risk
    assert np.flatnonzero(np.isnan(found.q)).tolist() == [3, 4, 7]
    assert found.q[[0, 1, 2]].tolist() == [1, 0, 1]
    graft, semen = found.batches.T
    assert set(graft.tolist()) == {zlib.crc32(b"g1")}
    assert semen[[0, 2, 10]].tolist() == [zlib.crc32(b) for b in (b"s1", b"s2", b"s3")]
    assert (semen < 0).tolist() == (this.semen_batch == "").tolist()
    assert np.diff(found.day)[:2].tolist() == [0, 1]


def test_series_are_of_the_season_s_operators_and_of_the_station(monkeypatch):
    """One course of 2025 and ten of 2026, one of them nobody's."""
    asked = {}

    def followed(closed, hands, unknowns, **given):
        asked.update(closed=closed, hands=hands)
        n = len(closed.day)
        line = SimpleNamespace(
            rows=np.arange(n), expected=np.full(n, 0.2), values=np.zeros((2, n)),
            limits=np.full((2, n), 3.0), signals=np.zeros((2, n), bool),
            told=np.ones(n, bool), detection=0.5, median=9.0,
        )  # fmt: skip
        places = ((0, LEVEL), (1, DRIFT), (STATION_HAND, STATION))
        return {place: line for place in places if place[0] in (*hands, STATION_HAND)}

    monkeypatch.setattr(running_series, "follow", followed)
    monkeypatch.setattr(running_series, "risks_before", lambda *_: MODEL)
    monkeypatch.setattr(running_series, "_unknowns", lambda *_: None)
    series, limits = running_series.running_series_of(season("2026"), MODEL, {"B": "the tip"})
    assert len(asked["closed"].day) == 10
    assert {at: hand.key for at, hand in asked["hands"].items()} == {
        0: zlib.crc32(b"A"), 1: zlib.crc32(b"B")
    }  # fmt: skip
    # who cannot be told apart never signals
    assert [asked["hands"][at].is_compared for at in (0, 1)] == [True, False]
    told = {(row["operator"], row["series"]): row for row in limits}
    assert set(told) == {("A", LEVEL), ("B", DRIFT), (None, STATION)}
    assert {(row["operator"], row["series"]) for row in series} == set(told)
    assert told[None, STATION]["baseline_courses"] == 0
    assert told["A", LEVEL]["baseline_courses"] == 1
    assert not told["A", LEVEL]["provisional"]
    # a season measured by itself says nothing of the whole station
    _, limits = running_series.running_series_of(season("2025"), MODEL, {})
    assert [(row["operator"], row["series"]) for row in limits] == [("A", LEVEL)]
    assert all(row["provisional"] for row in limits)
    unknown = replace(season("2026"), cases=two_hands())
    monkeypatch.setattr(
        running_series, "risks_before",
        lambda *_: SimpleNamespace(risks=lambda values: np.full(11, np.nan)),
    )  # fmt: skip
    assert running_series.running_series_of(unknown, MODEL, {}) == ([], [])


def test_a_season_is_measured_by_earlier_ones_and_without_the_year(monkeypatch):
    """One course of 2025 is before 2026; of the ten since, two are undecided."""
    seen = {}
    monkeypatch.setattr(
        running_series, "choose_form", lambda asked: seen.update(asked=asked)
    )
    monkeypatch.setattr(running_series, "fit_form", lambda *_: None)
    monkeypatch.setattr(
        running_series, "risk_model", lambda outcome, *_: seen.update(outcome=outcome) or MODEL
    )
    settings = Settings()
    settings = replace(settings, models=replace(settings.models, adjust_for=("dose", "year")))
    this = replace(season("2026"), settings=settings)
    running_series.risks_before(this, None)
    asked = seen["asked"]
    assert (seen["outcome"], asked.values["year"].tolist()) == ("laying", ["2025"])
    named = [term.name for term in main_terms(settings)]
    assert "year" in named
    assert [term.name for term in asked.terms] == [n for n in named if n != "year"]
    assert asked.always == ("dose",)
    # of what the records settle alone, unless all that is filled in is asked for
    cases = replace(this.cases, answers=np.ones((3, 11)))
    for settled, fillings in ((True, 1), (False, 3)):
        found = replace(this, cases=cases).request(np.arange(2), settled=settled)
        assert found.answers.shape == (fillings, 2)
    known = Unknowns(0.4, np.ones((1, 2)), np.zeros(2), np.ones(2))
    monkeypatch.setattr(
        running_series, "unknowns_of",
        lambda earlier, *_, is_known: seen.update(n=len(earlier), known=is_known) or known,
    )  # fmt: skip
    for name, courses in (("2026", 1), ("2025", 9)):
        found = running_series._unknowns(season(name), two_hands(), MODEL)
        assert (seen["n"], seen["known"]) == (courses, name == "2025")
        assert (found.tau, found.root.tolist()) == (0.4, [[1, 1]])
        assert found.variance_ses.tolist() == [1, 1]


def test_others_expect_what_their_model_gives_by_how_often_she_is_at_risk(monkeypatch):
    """Two fillings: of six courses the fourth is at risk in one of them alone."""
    cases = two_hands()
    answers = np.repeat(cases.answers, 2, axis=0)
    answers[1, 3] = 1.0
    made = replace(season("2026"), cases=replace(cases, answers=answers))
    own = np.flatnonzero(cases.operator == "A")
    asked = []
    monkeypatch.setattr(AuditSeason, "request", lambda _, rows, **__: rows)
    monkeypatch.setattr(
        running_series, "fit_form",
        lambda rows, _: asked.append(rows.tolist()) or SimpleNamespace(method="plain"),
    )  # fmt: skip
    monkeypatch.setattr(
        running_series, "risk_model",
        lambda outcome, *_: asked.append(outcome)
        or SimpleNamespace(risks=lambda values: np.full(len(values["operator"]), 0.2)),
    )  # fmt: skip
    assert running_series._by_others(made, own, None) == pytest.approx(5.5 * 0.2)
    assert asked == [[5, 6, 7, 8, 9], "laying"]
    monkeypatch.setattr(
        running_series, "fit_form", lambda *_: SimpleNamespace(method="none")
    )
    assert running_series._by_others(made, own, None) is None


def test_operators_get_what_belongs_to_their_series():
    def task(value):
        return SimpleNamespace(result=lambda: value)

    following = SimpleNamespace(
        season=season("2026"), series=task(([], [], None)), others={"A": task(1.5)}
    )
    expected = {"A": {"expected": 2.0}, "B": {"expected": 1.0}, "C": {}}
    rows = [{"operator": name, **row} for name, row in expected.items()]
    found = _followed(following, rows, None, Workers(1))
    assert [row["signals"] for row in rows] == [0, 0, 0]
    assert [row.get("expected_by_others", "-") for row in rows] == [1.5, None, "-"]
    assert not any(row["provisional"] for row in rows)
    assert found["operator_signals"] == found["signal_batches"] == []


# --- a sheet


def test_series_and_stretches_are_told_of_the_followed_question_alone(full_store):
    stretch = {"operator": "A", "from_case": 1, "to_case": 25, "courses": 20,
        "failures": 5, "share": 0.75, "low": 0.5, "high": 0.9, "expected": 0.8,
        "shown": True}  # fmt: skip
    signal = {"operator": "A", "series": "level", "direction": "worse", "episode": 1,
        "case": 3, "inseminated_at": "2026-06-02T09:00:00",
        "known_on": day(30)}  # fmt: skip
    followed = {"operator": "A", "series": "level", "outcome": "laying", "window_days": 21}
    store = full_store(series_limits=[followed])
    made = {"experience": [stretch], "operator_signals": [signal]}
    for table in AUDIT_INTERNAL:
        write_rows(store, table, made.get(table.name, []))
    for question, told in ((QUESTION, True), (("laying", 28), False), (("lost", 21), False)):
        assert sheet._is_followed(store, question) is told
        assert len(sheet._learning(store, question, "A")["rows"]) == told
        whole = period.Period(question, [], [], two_hands)
        assert len(sheet._around(store, whole, "A")) == told


def test_a_sheet_is_of_one_operator_and_her_last_season(full_store, monkeypatch):
    measure = {"operator": "A", "season": "2026", "measure": "attempts", "recorded": 5,
        "mean": 1.2, "station_mean": 1.1, "station_low": 1.0, "station_high": 2.0}  # fmt: skip
    store = full_store()
    with store.lent("written", pl.DataFrame([measure])):
        store.table("process_measures", "SELECT * FROM written")
    for table in AUDIT_INTERNAL:
        write_rows(store, table, [])
    rows = [{**OPERATOR_ROW, "operator": name} for name in "AB"]
    seen = []
    monkeypatch.setattr(sheet, "verdict", lambda row, *_: seen.append(row["operator"]) or "")
    monkeypatch.setattr(sheet, "station_said", lambda *_: [])
    whole = period.Period(QUESTION, rows, [], two_hands)
    told = sheet.sheet(store, whole, "A")
    assert (seen, told["season"]) == (["A"], "2026")
    assert [cells[0] for cells in told["process"]] == ["attempts"]
    assert sheet.sheet(store, whole, "B")["season"] == ""


@pytest.mark.parametrize(
    ("signals", "worse"),
    [([], False), (["", "better"], False), (["", "worse"], True), (["worse"], True)],
)
def test_a_signal_of_more_failures_is_one_for_the_worse(full_store, signals, worse):
    place = {"operator": "A", "outcome": "laying", "window_days": 21, "series": "level"}
    rows = [{**place, "case": n, "signal": word} for n, word in enumerate(signals, 1)]
    others = [{**place, "operator": "B", "case": 1, "signal": "worse"}]
    store = full_store(operator_series=rows + others)
    found = sheet._signals(store, period.Period(QUESTION, [], [], two_hands), "A")
    assert found["worse"] is worse
    assert [point["signal"] for point in found["points"]] == signals
    assert found["said"] == ["There is no running series: only the plan's outcome has one."]
