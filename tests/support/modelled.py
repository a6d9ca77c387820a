"""Small stations for the models: queens with given factors, laying or not."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import replace

from filled_in import fill_station
from queen_outcomes.facts.settings import Outcomes, Settings
from queen_outcomes.models.fit import (
    Fitted,
    by_method,
    find_design,
    groupings,
    wald_tests,
)
from queen_outcomes.models.results import fit_models
from station_tables import check, day, derived

LAYING = Settings(outcomes=Outcomes(check_days=(7, 14, 21)))


def rows(queens: list[dict], shuffle: int = 0) -> dict[str, list[dict]]:
    """Give a station's tables; a queen has ``lays`` and what the records may hold.

    ``looks``: days after which she was looked at, where they are not the usual ones.
    """
    made: dict[str, list[dict]] = {"queens": [], "inseminations": [], "checks": []}
    for number, queen in enumerate(queens):
        queen_id, on = f"Q{number:04d}", queen.get("on", number % 60)
        known = {
            k: queen[k] for k in ("line", "graft_batch", "emerged_on") if k in queen
        }
        made["queens"].append({"queen_id": queen_id, "marked": True, **known})
        done = {
            k: queen[k]
            for k in (
                "operator",
                "semen_batch",
                "dose_ul",
                "drone_age_days",
                "drone_line",
                "tip",
            )
            if k in queen
        }
        at = dt.datetime.combine(day(on), dt.time(10))
        made["inseminations"].append(
            {"queen_id": queen_id, "inseminated_at": at, **done}
        )
        for after in queen.get("looks", (12, 21, 25)):
            seen = {"eggs": bool(queen["lays"]), "queen_seen": True}
            made["checks"].append(check(on + after, queen_id, **seen))
    for table in made.values() if shuffle else ():
        random.Random(shuffle).shuffle(table)
    return made


def modelled(queens: list[dict], shuffle: int = 0, settings: Settings = LAYING):
    """Derive a station and fit its models; give the store."""
    store = derived(dt.date(2026, 10, 1), settings, **rows(queens, shuffle))
    fill_station(store, settings)
    fit_models(store, settings)
    return store


def fit(store, model: str = "main") -> dict:
    """Give the row of the model of laying."""
    (row,) = store.records(
        "SELECT * FROM model_fits WHERE outcome = 'laying' AND model = $model",
        {"model": model},
    )
    return row


def everything(store) -> dict:
    """Give all of the models' tables."""
    names = ("model_fits", "model_terms", "model_coefficients", "adjusted", "contrasts")
    return {name: store.rows(f'SELECT * FROM "{name}" ORDER BY ALL') for name in names}


def queens(n: int, *, share: float = 0.25, seed: int = 1, **fixed) -> list[dict]:
    """Give queens with varied factors; ``share`` do not lay, more so of low doses."""
    chance = random.Random(seed)
    made = []
    for number in range(n):
        dose = chance.choice([6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0])
        queen = {
            "dose_ul": dose,
            "operator": chance.choice(["A", "B", "C", "D", "E", "F"]),
            "graft_batch": f"g{number // 10:03d}",
            "semen_batch": f"s{number // 7:03d}",
            "line": chance.choice(["x", "y"]),
            "drone_line": "d",
            "drone_age_days": float(14 + (number // 7) % 9),
            "on": (number // 10) * 3 % 90,
            "lays": chance.random() > share * (1.8 if dose < 9 else 0.4),
        }
        made.append({**queen, **fixed})
    return made


def fit_courses(courses, adjust_for) -> Fitted:
    """Fit one model of one analysis set, with its tests, by the method its data call for."""
    found = find_design(courses, adjust_for)
    if isinstance(found, Fitted):
        return found
    random, _ = groupings(courses)
    fitted = by_method(courses, found, random)
    return replace(fitted, tests=wald_tests(fitted))
