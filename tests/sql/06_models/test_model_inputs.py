"""What the models are told of each course, worked out by hand."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.base import resources
from station_tables import check, day, derived, insemination, leave


def run(store, name, **given):
    return store.records(resources.read("sql", "06_models", f"{name}.sql"), given)


@pytest.fixture(scope="module")
def store():
    """Q lays on day 21 at the latest, R after it, S went before a later exposure was due."""

    def at(number):
        return dt.datetime.combine(day(number), dt.time(10))

    others = [f"T{number:02}" for number in range(20)]
    more = {"dose_ul": 9.5, "dose_meant_ul": 8.0, "minutes": 3.5, "attempts": 2}
    return derived(
        inseminations=[
            insemination(0, **more),
            insemination(0, "R"),
            insemination(0, "S"),
            *(insemination(0, name) for name in others),
        ],
        co2=[
            {"queen_id": "Q", "given_at": at(-1)},
            {"queen_id": "S", "given_at": at(0)},
            *({"queen_id": name, "given_at": at(2)} for name in others),
        ],
        checks=[check(21, eggs=True), check(22, "R", eggs=True)],
        exits=[leave(1, "dead", "S"), leave(3, "dead", "T00")],
    )


def test_closed_courses_are_those_of_one_outcome_and_window(store):
    given = {"answers": "outcomes", "outcome": "laying", "window_days": 21, "grace_days": 7}
    rows = {row["course_id"]: row for row in run(store, "closed_courses", **given)}
    assert len(rows) == 23
    q, r, s = (rows[f"{name}/1"] for name in "QRS")
    assert (q["state"], q["laid"], s["state"], s["laid"]) == ("yes", True, "no", False)
    assert r["laid"] is False
    assert (q["d0"], q["known_on"]) == (day(0), day(28))
    assert q["inseminated_at"] == "2025-06-01T10:00:00"
    store.execute("CREATE TABLE held AS SELECT * REPLACE (course_id <> 'R/1' AS closed) FROM outcomes")
    held = run(store, "closed_courses", **{**given, "answers": "held"})
    assert [name for name in rows if name not in {row["course_id"] for row in held}] == ["R/1"]


def test_a_schedule_is_empty_where_it_is_not_known_what_was_meant(store):
    rows = {row["course_id"]: row for row in run(store, "factors")}
    told = {name: (rows[name]["co2_schedule"], rows[name]["co2_got"]) for name in rows}
    assert told["Q/1"] == ("other before", "other before")
    assert told["R/1"] == ("", "")
    assert told["S/1"] == ("", "one exposure")
    assert told["T00/1"] == ("other after", "other after")
    q = rows["Q/1"]
    assert (q["dose"], q["dose_error"], q["co2_gap"]) == (8.0, 1.5, 24.0)
    assert (q["day_of_year"], q["year"], q["operator"]) == (152.0, "2025", "")


def test_what_is_known_of_the_day_on_which_laying_began(store):
    rows = {row["course_id"]: row for row in run(store, "onset_intervals")}
    told = {name: tuple(row.values())[1:] for name, row in rows.items()}
    # S died on day 1, T00 on day 3: too early to have laid
    assert told["Q/1"] == (0, 21, None, None)
    assert told["S/1"] == (0, None, 1, None)
    assert told["T01/1"] == (0, None, None, None)
    assert len(told) == 23
