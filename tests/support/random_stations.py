"""Random little stations, dense with contradictions, for property tests."""

from __future__ import annotations

import datetime as dt
from typing import Any

from hypothesis import strategies as st
from queen_outcomes.facts.dictionary import GONE_REASONS, LEFT_REASONS
from station_tables import D0, day

QUEENS = ("Q1", "Q2", "Q3")
DATED = {
    "inseminations": "inseminated_at",
    "co2": "given_at",
    "placements": "placed_on",
    "checks": "checked_on",
    "exits": "left_on",
    "lab": "sampled_on",
}
"""The day that places a row of each dated table."""

queen = st.sampled_from(QUEENS)
maybe = st.sampled_from([True, False, None])
mostly_yes = st.sampled_from([True, True, True, False, None])
# most dates near the first windows, where the rules meet each other
days = st.one_of(st.integers(-10, 40), st.integers(-10, 110))


def _rows(columns: dict[str, st.SearchStrategy], most: int) -> st.SearchStrategy:
    return st.lists(st.fixed_dictionaries(columns), max_size=most)


inseminations = st.lists(
    st.fixed_dictionaries(
        {
            "queen_id": queen,
            "inseminated_at": st.integers(0, 45).map(
                lambda n: dt.datetime.combine(day(n), dt.time(10))
            ),
            "operator": st.sampled_from(["A", "B", None]),
            "dose_ul": st.sampled_from([4.0, 8.0, None]),
            "marked": st.sampled_from([None, None, True]),
        }
    ),
    min_size=1,
    max_size=5,
)

checks = _rows(
    {
        "queen_id": queen,
        "checked_on": days.map(day),
        "queen_seen": maybe,
        "mark_seen": maybe,
        "eggs": maybe,
        "larvae": maybe,
        "sealed": maybe,
        "brood_given": st.sampled_from([None, None, None, True]),
        "multiple_eggs": st.sampled_from([None, None, True]),
        "pattern_pct": st.sampled_from([None, 0.0, 60.0, 90.0]),
        "drone_in_worker": st.sampled_from([None, "none", "few", "many"]),
    },
    14,
)

stations = st.fixed_dictionaries(
    {
        "queens": st.lists(
            st.fixed_dictionaries({"queen_id": queen, "marked": mostly_yes}),
            max_size=3,
            unique_by=lambda row: row["queen_id"],
        ),
        "inseminations": inseminations,
        "checks": checks,
        "placements": _rows(
            {
                "queen_id": queen,
                "colony_id": st.just("C"),
                "placed_on": days.map(day),
                "brood_present": st.sampled_from([None, True, False]),
            },
            3,
        ),
        "exits": _rows(
            {
                "queen_id": queen,
                "left_on": days.map(day),
                "reason": st.sampled_from([*GONE_REASONS, *LEFT_REASONS, None]),
            },
            2,
        ),
        "lab": _rows({"queen_id": queen, "sampled_on": days.map(day)}, 1),
    }
)


def as_day(value: Any) -> dt.date:
    """Give a date or a time as its day."""
    return value.date() if isinstance(value, dt.datetime) else value


def cut(records: dict[str, list[dict]], last: dt.date) -> dict[str, list[dict]]:
    """Give the records as they stood on a day: nothing dated later was written yet."""
    return {
        name: [
            row for row in rows if name not in DATED or as_day(row[DATED[name]]) <= last
        ]
        for name, rows in records.items()
    }


def some_day(low: int, high: int) -> st.SearchStrategy:
    """Give a day so many days after 1 June."""
    return st.integers(low, high).map(lambda n: D0 + dt.timedelta(days=n))
