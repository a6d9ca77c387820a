"""The onset model on a station from the demo's generator, whose truth is known."""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.closed import read_factors
from queen_outcomes.models.onset_results import onset_rows, read_seen
from queen_outcomes.stats.times.turnbull import fit_turnbull, share_by
from station_tables import derived

ROOT = Path(__file__).resolve().parents[2]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from demo.generator import simulate  # noqa: E402
from demo.truth import Truth  # noqa: E402

CALM = replace(
    Truth(),
    drifts=(),
    bad_grafts=(),
    misjudged=0.0,
    dose_slope=2.5,
    colony_only=0.0,
    # lines, and who is given more semen, do not hide the dose
    line_effect=(0.0, 0.0, 0.0, 0.0),
    lay_base=2.4,
)
"""The generator's truth without planted trouble, and with a steeper dose."""


def as_accepted(name: str, frame: pl.DataFrame) -> list[dict]:
    """Turn the generator's words for yes and no into what reading makes of them."""
    kinds = {c.name: c.sql_type for c in TABLES[name].columns}
    asked = [column for column in frame.columns if kinds.get(column) == "BOOLEAN"]
    return frame.with_columns(pl.col(asked) == "yes").to_dicts()


@pytest.fixture(scope="module")
def rows_and_store():
    tables = simulate(CALM, 11, courses=1200)
    rows = {n: as_accepted(n, f) for n, f in tables.items() if n in TABLES}
    store = derived(dt.date(2026, 7, 25), Settings(), **rows)
    prior = {person.name: person.prior_cases for person in CALM.operators}
    values = read_factors(store, prior)
    seen = read_seen(store, values["course_id"])
    return onset_rows(store, Settings(), values), seen


@pytest.fixture(scope="module")
def rows(rows_and_store):
    return rows_and_store[0]


def contrasted(rows, table, factor, value):
    return next(
        row
        for row in rows[table]
        if row["factor"] == factor and value in (row.get("label"), row["value"])
    )


def test_open_and_undecided_courses_are_in_it(rows):
    (fit,) = rows["model_fits"]
    assert fit["method"] == "mixture"
    assert fit["rows"] > 1000
    assert "nothing is said of laying ever" in fit["message"]


def test_laying_by_21_is_near_the_curve_of_the_same_courses(rows_and_store):
    rows, seen = rows_and_store
    whole = next(row for row in rows["adjusted"] if row["factor"] == "all")
    curve = share_by(fit_turnbull(seen.after, seen.by, seen.or_never), [21])[0]
    assert whole["probability"] == pytest.approx(curve, abs=0.02)


def test_the_directions_are_those_of_the_truth(rows):
    low = contrasted(rows, "contrasts", "dose", "8 uL")
    assert low["reference"] == "12 uL"
    assert low["risk_difference"] < 0
    # log days: one exposure makes the mean 2.14 times that of two, a uL takes off 0.01
    late = contrasted(rows, "onset_days", "co2_schedule", "one exposure")
    assert late["difference_low"] > 0
    days = {r["term"]: r for r in rows["model_coefficients"] if r["term"][:4] == "days"}
    assert days["days: dose"]["low"] < -0.01 < days["days: dose"]["high"]
    assert days["days: queen_age"]["estimate"] > 0


def test_old_queens_lay_less_often(rows):
    age = {
        row["value"]: row["probability"]
        for row in rows["adjusted"]
        if row["factor"] == "queen_age"
    }
    assert age[15] < age[8] - 0.05
