"""How many are lost, superseded or drone-laying by each day: last part of the page Onset."""

from __future__ import annotations

from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts.by_day import curves_by_day, table_by_day
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.facts import words
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.models.terms import MAIN

CULLED = "culled_fault"
"""An end that is no outcome, drawn beside the outcomes as it competes with them."""
GROUPED = {"protocol": "dose protocol", "doses": "number of doses"}
"""How groupings are called that are no factor of a model."""
TABLE_DAYS = (30, 60, 90, 180, 365)

Row = dict[str, Any]


def show(store: Store, fewest: int, charts: dict[str, Any]) -> Row:
    """Give the sentence, the tables and the tests, and add the picture.

    Parameters
    ----------
    store : Store
    fewest : int
        Courses that must be watched on a day for a curve to be shown there.
    charts : dict
        Takes up the chart; none where nobody is at risk of anything.
    """
    events = [name for name, one in OUTCOMES.items() if one.event] + [CULLED]
    names = {event: name_of(event) for event in events}
    found = store.records(
        "SELECT * FROM incidence WHERE \"grouping\" = 'all' AND at_risk >= $fewest "
        "ORDER BY day",
        {"fewest": fewest},
    )
    rows = [
        {**row, "level": names[event]}
        for event in events
        for row in found
        if row["event"] == event
    ]
    days = [day for day in TABLE_DAYS if any(row["day"] == day for row in rows)]
    if rows:
        charts["endings"] = curves_by_day(
            rows,
            ("incidence", "share by then", "share by then"),
            by="event",
            levels=list(dict.fromkeys(row["level"] for row in rows)),
            told={"at_risk": "courses watched"},
            is_whole=False,
        )
    return {
        "there": bool(rows),
        "said": said(store.records(statement("headlines"))),
        "table": table_by_day(rows, "incidence", days),
        "days": days,
        "tests": [
            {**row, "event": names[row["event"]], "grouping": _grouped(row["grouping"])}
            for row in store.records(
                'SELECT * FROM incidence_tests ORDER BY p NULLS LAST, event, "grouping"'
            )
        ],
    }


def name_of(event: str) -> str:
    """Name an event as legend and tables do."""
    return "culled for a fault" if event == CULLED else OUTCOMES[event].label


def _grouped(grouping: str) -> str:
    return GROUPED.get(grouping) or MAIN[grouping].label


def said(rates: list[Row]) -> str:
    """Say the headline of each, at its first window: the curve is read off nowhere."""
    told, found = set(), []
    for row in rates:
        outcome = row["outcome"]
        if OUTCOMES[outcome].event and outcome not in told:
            told.add(outcome)
            day = words.outcome_by_day(outcome, row["window_days"])
            found.append(f"{words.percent(row['estimate'])} {day}")
    return "; ".join(found)
