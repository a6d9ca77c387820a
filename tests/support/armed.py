"""Small stations for the dose comparison, derived and compared."""

from __future__ import annotations

import datetime as dt

from armed_records import queens, rows
from queen_outcomes.doses.results import compare_station
from queen_outcomes.facts.exports.models import ADJUSTED
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.settings import Outcomes, Plan, Settings
from station_tables import derived

__all__ = ["arms", "asking", "compared", "contrasts", "primary", "queens"]

AS_OF = dt.date(2026, 10, 1)
WINDOWS = Outcomes(check_days=(7, 14, 21))


def asking(margin: float | None = 0.1, **more) -> Settings:
    """Give settings that ask for laying by day 21 with a margin."""
    plan = Plan(
        margin=margin, **{k: more.pop(k) for k in ("planned_arms",) if k in more}
    )
    return Settings(outcomes=WINDOWS, plan=plan, **more)


def compared(
    queens: list[dict], settings: Settings | None = None, plan=None, shuffle: int = 0
):
    """Derive a station and compare its arms, without the models' step."""
    settings = settings or asking()
    store = derived(AS_OF, settings, **rows(queens, shuffle))
    write_rows(store, ADJUSTED, [])
    compare_station(store, settings, AS_OF, plan)
    return store


def contrasts(store, outcome: str = "laying", **wanted) -> list[dict]:
    """Give the rows of `arm_contrasts` of one outcome that hold these values."""
    found = store.records(
        "SELECT * FROM arm_contrasts WHERE outcome = $outcome ORDER BY ALL",
        {"outcome": outcome},
    )
    return [r for r in found if all(r[k] == v for k, v in wanted.items())]


def primary(store, **wanted) -> dict:
    """Give the one primary row of laying that holds these values."""
    (row,) = contrasts(store, primary=True, **wanted)
    return row


def arms(store) -> dict[str, dict]:
    """Give the rows of `arms` by name."""
    return {row["arm"]: row for row in store.records("SELECT * FROM arms")}
