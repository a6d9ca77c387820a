"""Small stations for the dose comparison, derived and compared."""

from __future__ import annotations

import datetime as dt

import numpy as np
from armed_records import queens, rows
from filled_in import fill_station
from queen_outcomes.doses.arm_courses import Answers
from queen_outcomes.doses.arm_model import ArmAnswers
from queen_outcomes.doses.results import compare_station
from queen_outcomes.facts.exports.models import ADJUSTED
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.settings import Outcomes, Plan, Settings
from queen_outcomes.models.closed import NO_FILLINGS, read_factors
from queen_outcomes.models.factor_fills import fill_factors
from station_tables import derived

__all__ = [
    "answered",
    "arms",
    "asking",
    "compared",
    "contrasts",
    "primary",
    "queens",
    "settled",
]

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
    fill_station(store, settings)
    fill_factors(store, settings, read_factors(store, settings.prior_cases))
    write_rows(store, ADJUSTED, [])
    compare_station(store, settings, AS_OF, plan)
    return store


def answered(question, state) -> Answers:
    """Give answers whose one filling leaves out who is not settled."""
    yes = np.select([state == "yes", state == "no"], [1.0, 0.0], np.nan)
    return Answers(question, state, yes[None, :])


def settled(values, arm, yes) -> ArmAnswers:
    """Give closed courses whose one filling leaves out who is not settled."""
    return ArmAnswers(values, arm, yes, yes[None, :], NO_FILLINGS)


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
