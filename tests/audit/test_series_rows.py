"""Rows of running series, their runs and episodes, and how many courses limits hold for."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from queen_outcomes.audit import running_series
from queen_outcomes.audit.running_series import (
    AuditSeason,
    _in_episodes,
    _last_season,
    _pasts,
    _planned_of_all,
    _replicates,
    _run,
    _series_rows,
    expected_by_others,
)
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.stats.series.null_seasons import PAUSE
from two_hands import two_hands

MODEL = RiskModel((), np.zeros(1, int), np.zeros(1), 0.0, {}, False, 1, 0)


def signal(case, first, direction="worse", operator="A", series="level"):
    return {
        "operator": operator,
        "series": series,
        "case": case,
        "first_case": first,
        "direction": direction,
    }


def test_episodes_end_where_neither_run_nor_pause_joins_them():
    made = [
        signal(20, 12),
        signal(26, 18, series="drift"),
        signal(60, 50),
        signal(61, 40, "better"),
    ]
    assert [row["episode"] for row in _in_episodes(made)] == [1, 1, 2, 3]
    # the first case of a run that another reached belongs to both
    far = 20 + PAUSE + 5
    joined = [signal(20, 12), signal(far, 20), signal(far, 21, operator="B")]
    assert [row["episode"] for row in _in_episodes(joined)] == [1, 1, 1]
    assert [r["episode"] for r in _in_episodes([signal(20, 12), signal(far, 21)])] == [
        *(1, 2)
    ]
    # a signal PAUSE courses later follows, one more does not; order is by case
    for later, number in ((20 + PAUSE, 1), (21 + PAUSE, 2)):
        made = [signal(later, later), signal(20, 12)]
        assert [row["episode"] for row in _in_episodes(made)] == [number, 1]


def test_a_run_begins_where_the_sum_last_left_zero():
    def row(value, signal="", operator="A", series="level"):
        return {
            "operator": operator,
            "series": series,
            "signal": signal,
            "cusum_worse": value,
            "cusum_better": 0.0,
        }

    rows = [row(1.0), row(0.0), row(0.5), row(2.0, "worse"), row(1.0, "worse")]
    assert _run(rows, 3) == rows[2:4]
    assert _run(rows, 4) == rows[4:5]  # not beyond the signal before
    for other in (row(1.0, operator="B"), row(1.0, series="drift")):
        assert _run([row(1.0), other, *rows[2:4]], 3) == rows[2:4]
    whole = [row(1.0), row(1.0, "better"), row(2.0, "worse")]
    assert _run(whole, 2) == whole


def test_a_series_adds_up_what_is_beyond_the_expected():
    this = two_hands(operator_case=np.arange(11.0))
    this = this.with_risk(np.where(np.arange(11) == 4, np.nan, 0.25))
    rows = np.array([0, 3, 4, 6, 8])
    found = SimpleNamespace(
        rows=rows,
        expected=np.array([0.2, 0.3, 0.4, 0.5, 0.1]),
        signals=np.array([[1, 0, 0, 0, 0], [0, 0, 0, 1, 0]], bool),
        values=np.arange(10.0).reshape(2, 5),
        limits=np.arange(10.0).reshape(2, 5) + 20,
        told=np.array([True, True, False, True, True]),
    )
    made = _series_rows("A", "level", this, found)
    assert [row["case"] for row in made] == [1, 2, 3, 4, 5]
    assert [row["signal"] for row in made] == ["worse", "", "", "better", ""]
    assert [row["failed"] for row in made] == [True, None, True, False, True]
    # undecided, and of unknown risk: they add nothing
    assert [row["sum_over_expected"] for row in made] == pytest.approx(
        [0.8, 0.8, 0.8, 0.3, 1.2]
    )
    assert [row["expected"] for row in made][:2] == [0.2, 0.3]
    assert np.isnan(made[2]["expected"])
    assert [row["cusum_worse"] for row in made] == [0, 1, 2, 3, 4]
    assert [row["cusum_better"] for row in made] == [5, 6, 7, 8, 9]
    assert [row["limit_worse"] for row in made] == [20, 21, 22, 23, 24]
    assert [row["limit_better"] for row in made] == [25, 26, 27, 28, 29]
    assert [row["season_told"] for row in made] == [True, True, False, True, True]


def test_a_season_of_many_thousands_is_drawn_fewer_times():
    assert [_replicates(n) for n in (0, 4_000, 8_000, 20_000, 10**6)] == [
        *(10_000, 10_000, 5_000, 2_000, 2_000)
    ]


def season(name, *, fewest=0, **planned):
    plan = SimpleNamespace(planned_cases=planned, fewest_cases=fewest)
    return AuditSeason(name, two_hands(), SimpleNamespace(plan=plan), None)


def test_the_last_season_of_some_courses_is_counted():
    cases = two_hands()
    assert _last_season(cases, np.arange(11)) == 10  # and one of the season before
    assert _last_season(cases, np.array([0])) == 1
    assert _last_season(cases, np.arange(0)) == 0


def test_limits_hold_for_what_is_planned_or_was_done():
    """One course of 2025 and ten of 2026."""
    assert season("2025").is_provisional
    assert not season("2026").is_provisional
    assert _planned_of_all(season("2025")) == 10  # all that has closed so far
    assert _planned_of_all(season("2026")) == 1
    assert _planned_of_all(season("2027")) == 10
    assert _planned_of_all(season("2026", A=3, B=4)) == 7
    assert _planned_of_all(season("2026", A=3, fewest=9)) == 9


def test_an_own_past_is_of_the_seasons_before():
    cases = two_hands()

    def past(name, whose="A", **plan):
        return _pasts(season(name, **plan), cases, MODEL, [whose])[whose]

    assert (past("2026").courses, past("2026").planned) == (1, 1)
    # of her six one is undecided; five are of the last season
    assert (past("2027").courses, past("2027").planned) == (5, 5)
    assert past("2025", fewest=4).planned == 4
    assert (past("2025").courses, past("2025").planned) == (0, 1)
    assert past("2027", A=3).planned == 3  # what is planned goes first
    assert past("2027", "B", fewest=9).planned == 9


def test_others_are_asked_of_five_to_forty_operators_only(monkeypatch):
    asked = []
    workers = SimpleNamespace(submit=lambda _, __, own, ___: asked.append(own.tolist()))
    monkeypatch.setattr(running_series, "choose_form", lambda _: "a form")
    monkeypatch.setattr(AuditSeason, "request", lambda *_, **__: None)
    cases = type("Cases", (), {"__len__": lambda _: 82})()
    for hands, tasks in ((4, 0), (5, 5), (40, 40), (41, 0)):
        owned = {f"O{k:02d}": np.arange(k, 82, hands) for k in range(hands)}
        cases.by_operator = lambda owned=owned: owned
        found = expected_by_others(AuditSeason("2026", cases, None, None), workers)
        assert len(found) == tasks
        assert asked[len(asked) - tasks :] == [
            own.tolist() for own in list(owned.values())[:tasks]
        ]
    monkeypatch.setattr(running_series, "choose_form", lambda _: None)
    cases.by_operator = lambda: dict.fromkeys("ABCDE", np.arange(1))
    assert expected_by_others(AuditSeason("2026", cases, None, None), workers) == {}
