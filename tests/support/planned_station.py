"""A store with what a plan reads, every row written out, and requests to plan with."""

from __future__ import annotations

import datetime as dt

import polars as pl
from queen_outcomes.facts.dictionary import SEMEN
from queen_outcomes.facts.settings import Settings
from queen_outcomes.trial.plan_request import read_request

AS_OF = dt.date(2026, 10, 1)
D0 = dt.date(2026, 6, 1)
ARMS = ("single 8=8", "single 12=12")


def request(settings: Settings | None = None, **asked):
    """Give a request for two arms and a difference of 10 points, or what is said."""
    aim = {} if "margin" in asked else {"difference": 0.1}
    return read_request({"arms": ARMS, **aim, **asked}, settings or Settings(), AS_OF)


def course(number: int, state: str | None = "yes", **known) -> tuple[dict, dict | None]:
    """Give a course and its answer about laying; None: not asked."""
    course_id = f"Q{number:03d}/1"
    row = {"course_id": course_id, "queen_id": course_id[:-2], "d0": D0}
    row |= {"season": "2026", **known}
    answer = {"course_id": course_id, "outcome": "laying", "window_days": 21}
    return row, state and {**answer, "state": state, "closed": True}


def rate(closed: int, yes: int, no: int, **more) -> dict:
    """Give the row of the rates for laying, all courses together."""
    row = {"outcome": "laying", "window_days": 21, "grouping": "all", "level": "all"}
    counts = {"courses": closed, "closed": closed, "yes": yes, "no": no}
    share = yes / (yes + no) if yes + no else None
    limits = {"rate": share, "low": 0.7, "high": 0.9}
    return {**row, **counts, **limits, **more}


def planned_store(full_store, courses, rates=(), semen=()):
    """Make the store; ``semen`` are rows of the records."""
    store = full_store(
        courses=[row for row, _ in courses],
        outcomes=[answer for _, answer in courses if answer],
        rates=list(rates),
    )
    columns = ", ".join(f"{c.name} {c.sql_type}" for c in SEMEN.columns)
    store.execute(f"CREATE TABLE accepted_semen (ref BIGINT, {columns})")
    if semen:
        frame = pl.DataFrame(semen, infer_schema_length=None)
        with store.lent("given", frame):
            store.execute("INSERT INTO accepted_semen BY NAME SELECT * FROM given")
    return store
