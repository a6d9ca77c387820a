"""Which checks are due, and until when a look still settles something."""

from __future__ import annotations

import pytest
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Outcomes, Settings
from station_tables import check, day, derived, insemination, states

MARKED = [{"queen_id": "Q", "marked": True}]
LAYS = {"eggs": True, "larvae": True, "sealed": True, "queen_seen": True}
SOUND = {**LAYS, "mark_seen": True, "drone_in_worker": "none", "pattern_pct": 90}
GOOD = [check(number, **SOUND) for number in (14, 21, 40, 63, 95, 370)]


def listed(today: int, *checks: dict) -> dict[int, tuple]:
    with derived(
        day(today), queens=MARKED, inseminations=[insemination()], checks=list(checks)
    ) as store:
        rows = store.rows(
            "SELECT day, status, useful_until - DATE '2025-06-01', settles FROM due"
        )
    return {number: tuple(rest) for number, *rest in rows}


def test_a_look_is_useful_until_the_last_of_its_windows_closes():
    assert listed(14) == {
        7: ("due", 28, "laying by day 21, lost by day 21"),
        14: ("due", 28, "laying by day 21, lost by day 21"),
    }


def test_only_the_first_checks_may_come_early():
    """Those of days 7 and 14 two days before their day, that of day 21 on it."""
    planned = {today: sorted(listed(today)) for today in (4, 5, 11, 12, 20, 21)}
    assert planned == {
        4: [], 5: [7], 11: [7], 12: [7, 14], 20: [7, 14], 21: [7, 14, 21],
    }  # fmt: skip


def test_what_is_settled_no_longer_counts_towards_the_last_useful_day():
    late = listed(61, *GOOD[:3])
    assert late == {60: ("due", 67, "drone-layer by day 60, established by day 60")}
    assert listed(88, *GOOD[:4]) == {}
    assert listed(90, *GOOD[:4]) == {90: ("due", 97, "superseded by day 90")}


@pytest.mark.parametrize("number", [28, 29])
def test_a_missed_check_stays_until_nothing_can_be_settled(number):
    rows = listed(number)
    assert [rows[at][0] for at in (7, 14) if at in rows] == ["missed"] * 2 * (
        number <= 28
    )
    assert (21 in rows) == (number <= 28)


@pytest.mark.parametrize(
    ("checks", "question", "last"),
    [
        ([], ("laying", 21), 28),
        ([], ("lost", 21), 28),
        (GOOD[:2], ("pattern", 60), 67),
        (GOOD[:2], ("drone_layer", 60), 67),
        (GOOD[:2], ("established", 60), 67),
        (GOOD[:4], ("superseded", 90), 97),
        (GOOD[:5], ("superseded", 365), 372),
    ],
)
def test_a_look_on_the_last_useful_day_settles_and_one_after_does_not(
    checks, question, last
):
    checks = [{k: v for k, v in c.items() if k != "pattern_pct"} for c in checks]

    def answered(number: int) -> str:
        with derived(
            day(500),
            queens=MARKED,
            inseminations=[insemination()],
            checks=[*checks, check(number, **SOUND)],
        ) as store:
            return states(store)[question]

    expected = "no" if OUTCOMES[question[0]].fails == "yes" else "yes"
    assert (answered(last), answered(last + 1)) == (expected, "undecided")


@pytest.mark.parametrize(("today", "kept"), [(44, True), (45, False)])
def test_a_missed_check_is_told_for_a_month_however_late_its_window(today, kept):
    """Day 7 is missed from day 15 on, and thirty days more; its window closes on day 67."""
    rules = Settings(outcomes=Outcomes(laying_days=(60,)))
    with derived(day(today), rules, inseminations=[insemination()]) as store:
        rows = dict(store.rows("SELECT day, status FROM due"))
    assert rows.get(7) == ("missed" if kept else None)
    assert rows[21] == "missed"


def test_of_two_windows_the_later_close_counts_and_both_are_named_in_their_order():
    rules = Settings(outcomes=Outcomes(laying_days=(30, 21)))
    with derived(day(21), rules, inseminations=[insemination()]) as store:
        (row,) = store.rows(
            "SELECT useful_until - DATE '2025-06-01', settles FROM due WHERE day = 21"
        )
    assert row == (37, "laying by day 21, lost by day 21, laying by day 30")
