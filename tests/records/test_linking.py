"""Checks of a colony find the queen that was placed there."""

from __future__ import annotations

import pytest
from queen_outcomes.facts.settings import parse
from staged_tables import accepted, day, message, reasons_of


def stay(
    queen: str, placed: int, removed: int | None = None, colony: str = "C1"
) -> dict:
    end = None if removed is None else day(removed)
    return {
        "queen_id": queen,
        "colony_id": colony,
        "placed_on": day(placed),
        "removed_on": end,
    }


def look(on: int, **ids: str) -> dict:
    return {"checked_on": day(on), **({"colony_id": "C1"} | ids)}


CASES = [
    ("the day she is placed counts", [stay("A", 3)], 3, "A"),
    ("the day before does not", [stay("A", 3)], 2, "no_queen_in_colony"),
    ("the day she is removed counts", [stay("A", 3, 9)], 9, "A"),
    ("the day after does not", [stay("A", 3, 9)], 10, "no_queen_in_colony"),
    ("one follows another", [stay("A", 1, 5), stay("B", 6)], 6, "B"),
    ("on the day of the change the new one has it", [stay("A", 1, 5), stay("B", 5)], 5, "B"),
    ("also where nobody took the old one out", [stay("A", 1), stay("B", 5)], 5, "B"),
    ("the day after that there are two", [stay("A", 1), stay("B", 5)], 6, "two_queens_in_colony"),
    ("two placed that very day", [stay("A", 5), stay("B", 5)], 5, "two_queens_in_colony"),
    ("two stays of one queen are one queen", [stay("A", 1), stay("A", 3, 20)], 6, "A"),
    ("her exit ends the stay", [stay("X", 1), stay("B", 12)], 11, "no_queen_in_colony"),
    ("her exit's own day counts", [stay("X", 1)], 10, "X"),
    ("an exit before the stay does not end it", [stay("X", 11)], 15, "X"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("stays", "on", "found"), [case[1:] for case in CASES], ids=[c[0] for c in CASES]
)
def test_a_colony_gives_the_queen_that_was_there(monkeypatch, stays, on, found):
    exits = [{"queen_id": "X", "left_on": day(10)}]
    store = accepted(monkeypatch, placements=stays, exits=exits, checks=[look(on)])
    queens = [queen for (queen,) in store.rows("SELECT queen_id FROM linked_checks")]
    assert queens + [r[2] for r in reasons_of(store, "quarantine")] == [found]


FOLLOWED = [
    ("the next queen's stay ends hers", [stay("A", 1), stay("B", 5)], 6, "B"),
    ("she has it until the day before", [stay("A", 1), stay("B", 5)], 4, "A"),
    ("and the new one that day", [stay("A", 1), stay("B", 5)], 5, "B"),
    ("a written end is kept", [stay("A", 1, 8), stay("B", 5)], 6, "two_queens_in_colony"),
    ("two placed that very day", [stay("A", 5), stay("B", 5)], 6, "two_queens_in_colony"),
    ("her own next stay ends nothing", [stay("A", 1), stay("A", 5)], 6, "A"),
    ("nor does one in another colony", [stay("A", 1), stay("B", 5, colony="C2")], 6, "A"),
    ("her exit before that does", [stay("X", 1), stay("B", 12)], 11, "no_queen_in_colony"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("stays", "on", "found"), [case[1:] for case in FOLLOWED], ids=[c[0] for c in FOLLOWED]
)
def test_the_next_placement_ends_a_stay_where_the_settings_say_so(monkeypatch, stays, on, found):
    exits = [{"queen_id": "X", "left_on": day(10)}]
    settings = parse({"records": {"next_placement": "ends"}})
    store = accepted(monkeypatch, settings, placements=stays, exits=exits, checks=[look(on)])
    queens = [queen for (queen,) in store.rows("SELECT queen_id FROM linked_checks")]
    assert queens + [r[2] for r in reasons_of(store, "quarantine")] == [found]


def test_a_check_with_a_queen_keeps_it_whatever_its_colony_holds(monkeypatch):
    checks = [look(3, queen_id="B"), look(3, queen_id="A")]
    store = accepted(monkeypatch, placements=[stay("A", 1)], checks=checks)
    linked = store.rows("SELECT queen_id FROM linked_checks ORDER BY ref")
    assert linked == [("B",), ("A",)]
    assert reasons_of(store, "listed_records") == [
        ("checks", 2, "ids_disagree", "queen_id")
    ]


def test_a_queen_in_a_colony_without_placements_is_no_disagreement(monkeypatch):
    store = accepted(monkeypatch, checks=[look(3, queen_id="B")])
    assert reasons_of(store, "listed_records") == []
    assert store.rows("SELECT queen_id FROM linked_checks") == [("B",)]


def test_a_check_after_the_as_of_day_is_kept_and_not_linked(monkeypatch):
    store = accepted(monkeypatch, checks=[look(40)])
    assert reasons_of(store, "listed_records") == [
        ("checks", 2, "after_as_of", "checked_on")
    ]
    assert store.rows("SELECT count(*) FROM accepted_checks") == [(1,)]
    assert store.rows("SELECT count(*) FROM linked_checks") == [(0,)]


def test_a_colony_mistyped_is_told_the_nearest_one(monkeypatch):
    checks = [look(3, colony_id="Hive 12a")]
    stays = [stay("A", 1, colony="Hive 12"), stay("B", 1, colony="Nuc 4")]
    store = accepted(monkeypatch, placements=stays, checks=checks)
    assert "but Hive 12 does" in message(store, "quarantine")


def test_only_looks_without_a_queen_of_their_own_or_of_the_colony_are_told(monkeypatch):
    checks = [
        look(3, colony_id="C9"),
        look(3, colony_id="C9", queen_id="B"),
        look(3),
    ]
    store = accepted(monkeypatch, placements=[stay("A", 1)], checks=checks)
    linked = store.rows("SELECT queen_id FROM linked_checks ORDER BY ref")
    assert linked == [("B",), ("A",)]
    told = [row[:3] for row in reasons_of(store, "quarantine")]
    assert told == [("checks", 2, "no_queen_in_colony")]


def test_a_quarantined_placement_links_nothing(monkeypatch):
    store = accepted(monkeypatch, placements=[stay("A", 5, 1)], checks=[look(6)])
    assert ("checks", 2, "no_queen_in_colony", "colony_id") in reasons_of(
        store, "quarantine"
    )


def test_a_change_of_queens_on_one_day_is_no_overlap(monkeypatch):
    store = accepted(monkeypatch, placements=[stay("A", 1, 5), stay("B", 5)])
    assert reasons_of(store, "listed_records") == []
