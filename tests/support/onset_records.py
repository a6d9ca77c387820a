"""Small stations for the onset model: queens with a day of laying, looked at in steps."""

from __future__ import annotations

import datetime as dt
import math
import random

from queen_outcomes.facts.settings import Models, Outcomes, Settings
from queen_outcomes.models.closed import read_factors
from queen_outcomes.models.onset_results import onset_rows
from queen_outcomes.models.season_plan import SeasonPlan
from station_tables import check, day, derived, leave

LOOKS = (7, 10, 14, 21, 28, 45)
SETTINGS = Settings(
    outcomes=Outcomes(check_days=(7, 14, 21)),
    models=Models(adjust_for=("line", "co2_schedule")),
)
AS_OF = dt.date(2026, 10, 1)
"""Long after the first season, in which all of these queens were inseminated."""


def queens(n: int, *, seed: int = 1, never: float = 0.25, **fixed) -> list[dict]:
    """Give queens: low doses lay less often, one CO2 exposure goes with later laying."""
    chance = random.Random(seed)
    made = []
    for number in range(n):
        dose, once = chance.choice([6.0, 8.0, 10.0, 12.0]), chance.random() < 0.3
        middle = 2.2 + 0.4 * once
        queen = {
            "dose_ul": dose,
            "once": once,
            "operator": chance.choice("ABCDEF"),
            "graft_batch": f"g{number // 10:03d}",
            "line": chance.choice(["x", "y"]),
            "on": (number // 10) * 3 % 90,
            "laid_on": math.ceil(math.exp(chance.gauss(middle, 0.35))),
        }
        if chance.random() < never * (1.8 if dose < 9 else 0.4):
            queen["laid_on"] = None
        made.append({**queen, **fixed})
    return made


def records(made: list[dict], shuffle: int = 0) -> dict[str, list[dict]]:
    """Give the station's tables; ``looks`` of a queen are its days of checks."""
    names = ("queens", "inseminations", "co2", "checks", "exits")
    tables: dict[str, list[dict]] = {name: [] for name in names}
    for number, queen in enumerate(made):
        queen_id, on = f"Q{number:04d}", queen["on"]
        known = {key: queen[key] for key in ("line", "graft_batch") if key in queen}
        tables["queens"].append({"queen_id": queen_id, "marked": True, **known})
        at = dt.datetime.combine(day(on), dt.time(10))
        done = {"operator": queen["operator"], "dose_ul": queen["dose_ul"]}
        row = {"queen_id": queen_id, "inseminated_at": at, **done}
        tables["inseminations"].append(row)
        given = [at] if queen["once"] else [at, at + dt.timedelta(hours=24)]
        tables["co2"] += [{"queen_id": queen_id, "given_at": time} for time in given]
        laid = queen["laid_on"]
        for look in queen.get("looks", LOOKS):
            eggs = laid is not None and laid <= look
            tables["checks"].append(
                check(on + look, queen_id, eggs=eggs, queen_seen=True)
            )
        if "died" in queen:
            tables["exits"].append(leave(on + queen["died"], "dead", queen_id))
    for table in tables.values() if shuffle else ():
        random.Random(shuffle).shuffle(table)
    return tables


def station(made: list[dict], shuffle: int = 0, settings: Settings = SETTINGS):
    """Derive a station; give the store."""
    return derived(AS_OF, settings, **records(made, shuffle))


def modelled(
    made: list[dict],
    shuffle: int = 0,
    settings: Settings = SETTINGS,
    plan: SeasonPlan | None = None,
):
    """Give the onset model's rows of a station, by table."""
    store = station(made, shuffle, settings)
    values = read_factors(store, settings.prior_cases)
    return onset_rows(store, settings, values, plan)


def of_factor(rows: dict[str, list[dict]], table: str, name: str) -> list[dict]:
    """Give a factor's rows of a table."""
    return [row for row in rows[table] if row["factor"] == name]
