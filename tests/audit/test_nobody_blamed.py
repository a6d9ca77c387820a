"""Small stations in which a hand could be cleared or blamed for what is not told apart."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from audited import audited, page_of, told
from modelled import LAYING
from queen_outcomes.audit.period import read_period
from queen_outcomes.audit.report import AuditRequest, audit

pytestmark = pytest.mark.slow


def station(n: int = 160, **columns) -> list[dict]:
    """Give queens of two operators who take turns, every column a function of the number."""
    usual = {
        "operator": lambda k: "AB"[k % 2],
        "graft_batch": lambda k: f"g{k // 16:02d}",
        "semen_batch": lambda k: f"s{k // 8:02d}",
        "dose_ul": lambda k: (8.0, 10.0, 12.0)[k // 2 % 3],
        "line": lambda k: "xy"[k // 3 % 2],
        "drone_line": lambda _: "d",
        "on": lambda k: k // 8 * 3,
        "lays": lambda k: k % 5 > 0,
    }
    made = {**usual, **columns}
    return [{name: of(k) for name, of in made.items()} for k in range(n)]


def rows_of(store) -> dict[str, dict]:
    return {row["operator"]: row for row in told(store, "operators")}


def nobody_is_judged(store) -> None:
    """See that no figure, flag or signal points at anybody, and that it is said."""
    for row in told(store, "operators"):
        assert row["flag"] is None
        assert row["expected"] is row["adjusted"] is row["mid_p"] is None
        assert not row["signals"]
        assert row["apart_from"]
    assert not any(row["signal"] for row in told(store, "operator_series"))
    page, text = page_of(store)
    assert "cannot be told apart from" in text
    assert page["figures"]["title"] == "Counts only"
    for name in rows_of(store):
        sheet = audit(store, LAYING, AuditRequest(operator=name)).sheet
        assert "nothing here clears or blames the hand" in sheet["verdict"]
        assert "would be expected" not in sheet["verdict"]


def fails_by_hand(k: int) -> bool:
    """60 of 80 of A fail, and 3 of 80 of B."""
    turn = k // 2
    return turn % 4 > 0 if k % 2 == 0 else turn % 27 == 5


def test_a_habit_that_coincides_with_a_protocol_neither_clears_nor_blames():
    made = station(
        dose_ul=lambda k: (12.0, 8.0)[k % 2], lays=lambda k: not fails_by_hand(k)
    )
    store = audited(made)
    rows = rows_of(store)
    assert [(rows[name]["failures"], rows[name]["courses"]) for name in "AB"] == [
        (60, 80),
        (3, 80),
    ]
    nobody_is_judged(store)
    assert {row["apart_from"] for row in rows.values()} == {"the dose"}
    # nor in a part of the courses
    half = read_period(store, LAYING, ("laying", 21), None, dt.date(2025, 6, 1))
    assert all(row["flag"] is row["expected"] is None for row in half.operators)


def test_the_same_hands_with_doses_of_their_own_choice_are_told_apart():
    store = audited(station(lays=lambda k: not fails_by_hand(k)))
    rows = rows_of(store)
    assert rows["A"]["apart_from"] == ""
    assert (rows["A"]["flag"], rows["B"]["flag"]) == ("more", "fewer")


def test_grafts_that_decide_everything_flag_nobody():
    made = station(
        240,
        operator=lambda k: "AB"[(k % 16 > 3) if k // 16 % 2 else (k % 16 > 11)],
        lays=lambda k: k // 16 % 2 == 0,
    )
    store = audited(made)
    rows = rows_of(store)
    # within every graft both fare alike, and A has the more of the good ones
    assert rows["A"]["failures"] / rows["A"]["courses"] < 0.3
    assert rows["B"]["failures"] / rows["B"]["courses"] > 0.7
    nobody_is_judged(store)
    assert "decide nearly everything" in rows["A"]["apart_from"]


def test_one_operator_a_batch_gives_no_flag_and_no_signal():
    chance = np.random.default_rng(1)
    made = station(
        240,
        operator=lambda k: "ABCDEF"[k // 20 % 6],
        graft_batch=lambda k: f"g{k // 20:02d}",
        semen_batch=lambda k: f"s{k // 10:02d}",
        lays=lambda k: chance.random() < (0.3 if k // 20 % 6 == 0 else 0.9),
    )
    store = audited(made)
    nobody_is_judged(store)
    assert not any(row["separable"] for row in told(store, "operators"))
    assert all("batch" in row["apart_from"] for row in told(store, "operators"))


def test_what_both_series_see_is_one_signal():
    chance = np.random.default_rng(4)
    made = station(
        720,
        operator=lambda k: "ABCD"[k % 4],
        on=lambda k: k // 8 - 365 * (k < 360),
        lays=lambda k: chance.random() > (0.75 if k % 4 == 0 and k >= 440 else 0.2),
    )
    store = audited(made)
    store_signals = told(store, "operator_signals", operator="A")
    assert {row["series"] for row in store_signals} == {"level", "drift"}
    (row,) = told(store, "operators", operator="A")
    assert row["signals"] == len({one["episode"] for one in store_signals})
    assert row["signals"] < len(store_signals)
    page, _ = page_of(store)
    (part,) = [p for p in page["series"]["own"].values() if p["name"] == "A"]
    assert part["signals"] == len(part["said"]) == row["signals"]
    told_of_all = audit(store, LAYING, AuditRequest())
    (first,) = told_of_all.station
    assert first.startswith("The whole station against its earlier seasons: ")
    assert audit(store, LAYING, AuditRequest(operator="A")).sheet["series"][0] == first
    # the rows say who stands out, and never nobody beside some
    assert sum(row["stands_out"] for row in page["overview"]["rows"]) == sum(
        bool(r["flag"] or r["signals"]) for r in told(store, "operators")
    )


def test_an_operator_alone_is_measured_by_the_own_past_only():
    store = audited(
        station(400, operator=lambda _: "A", on=lambda k: k // 3 - 365 * (k < 200))
    )
    (row,) = told(store, "operators")
    assert row["apart_from"] == ""
    found = {one["series"]: one["message"] for one in told(store, "series_limits")}
    assert "operator or season cannot be told apart" in found["level"]
    assert found["drift"] == found["station"] == ""


def test_an_operator_whose_courses_alone_count_is_told_apart_from_nobody():
    # nobody ever looked at B's queen
    made = [
        {"operator": "A", "dose_ul": 8.0, "on": 0, "lays": True},
        {"operator": "B", "dose_ul": 8.0, "on": 0, "lays": True, "looks": ()},
    ]
    rows = rows_of(audited(made))
    assert rows["A"]["apart_from"] == ""
    assert rows["A"]["flag"] is None
