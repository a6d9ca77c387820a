"""What stands over a sheet's columns: the unit, where the heading does not tell it already."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.facts.settings import Reading, Settings
from queen_outcomes.paper.sheets import bench

COLUMNS = ("queen_id", "dose_ul", "minutes", "note")


def hints(headings: dict, units: dict) -> dict[str, str]:
    """What is written small below each heading of the bench sheet."""
    reading = Reading(
        columns={"inseminations": headings}, units={"inseminations": units}
    )
    made = bench(Settings(reading=reading), dt.date(2026, 6, 20), COLUMNS, "a4")
    told = zip(COLUMNS, made["heads"], strict=True)
    return {name: head["hint"] for name, head in told}


def test_the_unit_stands_below_a_heading_that_does_not_tell_it():
    own = {"dose_ul": "Given", "minutes": "Duration"}
    ours = {"queen_id": "", "dose_ul": "uL", "minutes": "min", "note": ""}
    assert hints(own, {}) == ours
    kept = {"dose_ul": "mL", "minutes": "h"}
    assert hints(own, kept) == ours | kept


def test_a_heading_that_tells_its_unit_has_none_below_it():
    own = {"dose_ul": "Dose UL", "minutes": "Minutes held"}
    assert set(hints(own, {}).values()) == {""}


@pytest.mark.parametrize("heading", ["Time in instrument", "minutes"])
def test_a_letter_within_a_word_is_no_unit(heading):
    found = hints({"minutes": heading}, {"minutes": "s"})
    assert found["minutes"] == "s"
    assert hints({"minutes": "Time in s"}, {"minutes": "s"})["minutes"] == ""
