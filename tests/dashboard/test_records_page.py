"""What the records page calls the reasons of quarantine and of a second look."""

from __future__ import annotations

import datetime as dt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import records
from queen_outcomes.facts.reasons import REASONS
from queen_outcomes.facts.settings import Settings
from station_tables import check, insemination, station


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


def test_coverage_counts_the_columns_of_a_table_that_are_its_own():
    checks = [check(20, "Q1", eggs=True), check(27, "Q1"), check(20, "Q2", eggs=False)]
    store = station(inseminations=[insemination(0, "Q1")], checks=checks)
    found = records.coverage(store)
    told = {(row["table"], row["column"]): (row["filled"], row["rows"]) for row in found}
    assert told["checks", "eggs"] == (2, 3)
    assert told["inseminations", "queen_id"] == (1, 1)
    # a flat sheet keeps a queen's facts beside her courses: they are counted as hers
    assert ("inseminations", "line") not in told
    assert {row["table"] for row in found} == {"inseminations", "checks"}
