"""What the records page calls the reasons of quarantine and of a second look."""

from __future__ import annotations

import datetime as dt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import records
from queen_outcomes.facts.reasons import REASONS
from queen_outcomes.facts.settings import Settings


def test_only_reasons_that_there_are_have_words():
    assert set(records.IN_SHORT) <= set(REASONS)


def test_each_reason_is_said_with_its_first_rows(full_store, monkeypatch):
    monkeypatch.setattr(records, "coverage", lambda _: [])
    for part in ("_weeks", "_complete", "_blanks"):  # they need every accepted table
        monkeypatch.setattr(records, part, lambda *_: None)
    rows = [
        {
            "source": "checks.csv",
            "line": line,
            "table": "checks",
            "reason": "key_twice" if line < 9 else "semen_unknown_yet",
            "message": f"row {line}",
        }
        for line in range(2, 10)
    ]
    store: Store = full_store(quarantine=rows)
    page = records.show(store, Settings(), dt.date(2026, 7, 1))
    first, second = page["quarantine"]
    assert (first["told"], first["found"]) == ("one id in different rows", 7)
    assert [row["line"] for row in first["examples"]] == ["2", "3", "4", "5", "6"]
    assert second["told"] == "semen unknown yet"
