"""Rates of many courses, counted question by question."""

from __future__ import annotations

from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes import derive
from station_tables import check, derived, insemination


def test_counting_question_by_question_gives_the_same_rates(monkeypatch):
    rows = {
        "inseminations": [insemination(0, q, operator=q[0]) for q in ("A1", "A2", "B1")],
        "checks": [check(20, "A1", eggs=True), check(21, "B1", eggs=False)],
    }
    found = []
    for most in (3, 2):
        monkeypatch.setattr(derive, "COUNTED_AT_ONCE", most)
        store = derived(**rows)
        derive.count_rates(store, Settings())
        found.append(store.rows("SELECT * FROM rates"))
    at_once, by_question = found
    assert at_once == by_question
    assert len({row[:2] for row in at_once}) > 1
