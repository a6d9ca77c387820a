"""Records of small stations for the dose comparison: queens with an arm, and their fate."""

from __future__ import annotations

import datetime as dt
import random

OF_QUEEN = ("line", "graft_batch", "emerged_on")
OF_DOSE = (
    *("operator", "semen_batch", "protocol", "trial", "block", "dose_meant_ul"),
    *("tip", "instrument", "minutes"),
)


def day(number: int) -> dt.date:
    """Give the date that lies so many days after 1 June 2025."""
    return dt.date(2025, 6, 1) + dt.timedelta(days=number)


def rows(queens: list[dict], shuffle: int = 0) -> dict[str, list[dict]]:
    """Give a station's tables.

    A queen has ``doses`` (uL each, two days apart) and ``lays``; days after the first
    dose are ``lays_on``, before which no egg is seen, and ``dies_on``, which ends her:
    no later dose is given then.
    """
    names = ("queens", "inseminations", "checks", "exits", "semen")
    made: dict[str, list[dict]] = {name: [] for name in names}
    for number, queen in enumerate(queens):
        queen_id, on = f"Q{number:04d}", queen.get("on", number % 60)
        dies = queen.get("dies_on")
        known = {k: queen[k] for k in OF_QUEEN if k in queen}
        made["queens"].append({"queen_id": queen_id, "marked": True, **known})
        done = {k: queen[k] for k in OF_DOSE if k in queen}
        for turn, dose in enumerate(queen.get("doses", (8.0,))):
            if dies is None or 2 * turn < dies:
                at = dt.datetime.combine(day(on + 2 * turn), dt.time(10))
                made["inseminations"].append(
                    {
                        "queen_id": queen_id,
                        "inseminated_at": at,
                        "dose_ul": dose,
                        **done,
                    }
                )
        if dies is not None:
            made["exits"].append(
                {"queen_id": queen_id, "left_on": day(on + dies), "reason": "dead"}
            )
        for after in (14, 21, 23, 27):
            if dies is None or after < dies:
                eggs = bool(queen["lays"]) and after >= queen.get("lays_on", 0)
                seen = {"eggs": eggs, "queen_seen": True}
                made["checks"].append(
                    {"queen_id": queen_id, "checked_on": day(on + after), **seen}
                )
    for table in made.values() if shuffle else ():
        random.Random(shuffle).shuffle(table)
    return {name: table for name, table in made.items() if table}


def queens(n: int, protocols: dict[str, float], seed: int = 1, **fixed) -> list[dict]:
    """Give queens with arms in turn within batches; protocol -> its share laying."""
    chance = random.Random(seed)
    names = list(protocols)
    return [
        {
            "protocol": names[number % len(names)],
            "operator": chance.choice("ABCDEF"),
            "graft_batch": f"g{number // 12:03d}",
            "semen_batch": f"s{number // 9:03d}",
            "line": chance.choice("xy"),
            "on": (number // 12) * 3 % 90,
            "lays": chance.random() < protocols[names[number % len(names)]],
            **fixed,
        }
        for number in range(n)
    ]
