"""What a season's running series are measured by stays fixed within the season."""

import datetime as dt
from itertools import pairwise

import numpy as np
import pytest
from modelled import LAYING, modelled, queens
from queen_outcomes.audit import running_series
from queen_outcomes.audit.results import audit_station
from queen_outcomes.models.season_plan import SeasonPlan

pytestmark = pytest.mark.slow

DAY = dt.date(2026, 10, 1)


def two_seasons(n: int = 360, worse: str = "") -> list[dict]:
    """Give queens of 2024 and 2025; one operator's of 2025 seldom lay."""
    made = queens(n)
    for number, queen in enumerate(made):
        queen["on"] -= 365 * (number % 2)
        if queen["operator"] == worse and number % 2 == 0:
            queen["lays"] = number % 10 == 0
    return made


def audited(made, plan=None):
    store = modelled(made)
    plan = plan or SeasonPlan("2025", DAY)
    audit_station(store, LAYING, plan)
    return store, plan


@pytest.fixture(scope="module")
def usual():
    return audited(two_seasons())


def series(store) -> set:
    return set(
        store.rows(
            'SELECT operator, series, course_id, round("expected", 12), '
            "round(limit_worse, 12), signal FROM operator_series"
        )
    )


def test_risks_own_pasts_and_what_null_seasons_draw_are_written_down(usual):
    _, plan = usual
    names = set(plan.fresh)
    assert "risk of laying by day 21" in names
    own = plan.fresh["own past of A, laying by day 21"]
    assert own["planned"] >= 50
    assert np.isfinite(own["change"])
    drawn = plan.fresh["null seasons of laying by day 21"]
    assert drawn["tau"] == 0.4
    assert len(drawn["variances"]) == 2
    assert plan.fresh["planned courses of laying by day 21"]["courses"] == 180
    assert "year" not in plan.fresh["risk of laying by day 21"]["terms"]


def test_a_later_build_is_measured_by_what_was_fixed(usual):
    store, plan = usual
    later = SeasonPlan("2025", DAY + dt.timedelta(7), dict(plan.fresh))
    # the earlier season's answers are corrected: a model fitted anew would move
    made = two_seasons()
    for number, queen in enumerate(made):
        if number % 2 and number % 5 == 0:
            queen["lays"] = not queen["lays"]
    again, _ = audited(made, later)
    assert series(again) == series(store)
    assert "risk of laying by day 21" not in later.fresh


def test_limits_leave_a_fifth_of_the_chance_to_what_no_null_season_knows(usual, monkeypatch):
    asked = []

    def spend(*of_the_season, chance, **drawn):
        asked.append(chance)
        return follow(*of_the_season, chance=chance * whole, **drawn)

    follow, whole = running_series.follow, 1.0
    monkeypatch.setattr(running_series, "follow", spend)
    audited(two_seasons())
    assert asked == [pytest.approx(0.8 * LAYING.plan.false_alarm_chance)]

    def sums(store):
        return store.rows("SELECT sum(limit_worse) FROM operator_series WHERE series <> 'station'")

    whole = 1.0 / 0.8  # with the whole chance limits are nearer
    ((near,),), ((far,),) = sums(audited(two_seasons())[0]), sums(usual[0])
    assert near < far


def test_only_this_season_is_followed(usual):
    store, _ = usual
    years = store.rows(
        "SELECT DISTINCT year(c.d0) FROM operator_series JOIN courses AS c "
        "USING (course_id)"
    )
    assert years == [(2025,)]


def test_an_operator_who_hardly_succeeds_any_more_is_signalled_in_both_series():
    store, _ = audited(two_seasons(worse="C"))
    found = store.rows(
        "SELECT DISTINCT operator, series FROM operator_series WHERE signal = 'worse'"
    )
    assert {("C", "level"), ("C", "drift")} <= set(found)


def test_the_stations_own_series_comes_first(usual):
    store, _ = usual
    (row,) = store.records("SELECT * FROM series_limits WHERE operator IS NULL")
    assert (row["series"], row["message"]) == ("station", "")
    rows = store.rows(
        "SELECT count(*) FROM operator_series WHERE series = 'station' AND operator IS NULL"
    )
    assert rows == [(row["cases"],)] == [(180,)]


def test_a_season_measured_by_itself_says_nothing_of_the_station():
    store, _ = audited(queens(200), SeasonPlan("2025", DAY, provisional=True))
    assert store.rows("SELECT * FROM series_limits WHERE operator IS NULL") == []


def test_a_first_season_is_provisional_and_fixes_nothing():
    store, plan = audited(queens(200), SeasonPlan("2025", DAY, provisional=True))
    assert not plan.fresh
    assert store.rows("SELECT DISTINCT provisional FROM series_limits") == [(True,)]
    assert store.rows("SELECT DISTINCT series FROM series_limits") == [("level",)]


def test_undecided_courses_are_marked_and_passed_over(usual):
    store, _ = usual
    rows = store.rows(
        "SELECT failed, cusum_worse FROM operator_series WHERE operator = 'A' "
        "AND series = 'level' ORDER BY \"case\""
    )
    for (_, before), (failed, now) in pairwise(rows):
        assert failed is not None or now == before


def test_the_others_model_expects_more_of_a_good_hand_than_its_own_does():
    made = two_seasons()
    for number, queen in enumerate(made):
        if queen["operator"] == "A":
            queen["lays"] = number % 9 > 0
    store, _ = audited(made)
    rows = store.rows(
        "SELECT operator, expected_by_others, failures FROM operators "
        "WHERE outcome = 'laying' ORDER BY operator"
    )
    found = {name: (expected, failures) for name, expected, failures in rows}
    assert all(expected is not None for expected, _ in found.values())
    assert found["A"][0] > 2 * found["A"][1]


def test_with_few_operators_nobody_is_left_out():
    made = two_seasons(200)
    for number, queen in enumerate(made):
        queen["operator"] = "AB"[number // 3 % 2]
    store, _ = audited(made)
    assert store.rows("SELECT DISTINCT expected_by_others FROM operators") == [(None,)]
