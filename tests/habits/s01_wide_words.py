"""One wide sheet a season, free words in every check."""

import random
from datetime import date, timedelta
from pathlib import Path

from lives import Look, Plan, lives, pick
from paper import Station, decimal

FOLDER = "01_wide_words"
WORDS = """
# Fernhollow: one sheet a season, words as they come

- Dates are day/month/year.
- "Grafted" is the day of grafting; she leaves her cell on the day under "Hatched".
- An empty check means that nobody looked, or that nobody wrote it down.
- Laying, however nice, means that eggs were seen. "ok" means the queen was seen and no more.
- What stands below the list (the count, the line about the other yard) is no record.
- The words are in `truth/words.csv`.
"""
OPERATORS = ("Maud", "Tobias")
LINES = ("Alder", "Rowan", "Hazel")
HEAD = [
    "No", "Line", "Grafted", "Hatched", "Marked", "Insem.", "By", "ul",
    "1st check", "date", "2nd check", "date", "3rd check", "date",
    "4th check", "date", "Ended", "Why", "Remarks",
]  # fmt: skip
FINDINGS = {
    "seen, no eggs": {"queen_seen": "yes", "eggs": "no"},
    "Q seen no eggs": {"queen_seen": "yes", "eggs": "no"},
    "no eggs yet": {"eggs": "no"},
    "not seen, no eggs": {"queen_seen": "no", "eggs": "no"},
    "nothing": {"eggs": "no", "larvae": "no", "sealed": "no"},
    "eggs": {"eggs": "yes"},
    "Eggs": {"eggs": "yes"},
    "laying": {"eggs": "yes"},
    "laying nicely": {"eggs": "yes"},
    "eggs, no larvae": {"eggs": "yes", "larvae": "no"},
    "eggs + larvae": {"eggs": "yes", "larvae": "yes"},
    "eggs+larvae": {"eggs": "yes", "larvae": "yes"},
    "all stages": {"eggs": "yes", "larvae": "yes", "sealed": "yes"},
    "eggs, larvae, sealed": {"eggs": "yes", "larvae": "yes", "sealed": "yes"},
    "Q seen, all stages": {
        "queen_seen": "yes", "eggs": "yes", "larvae": "yes", "sealed": "yes",
    },
    "DL": {"drone_in_worker": "many"},
    "drone layer": {"drone_in_worker": "many"},
    "a few drones in worker cells": {"drone_in_worker": "few"},
    "unmarked Q, eggs": {"queen_seen": "yes", "mark_seen": "no", "eggs": "yes"},
    "supersedure cells": {"queen_cells": "supersedure"},
    "ok": {"queen_seen": "yes"},
    "not opened - rain": {},
}  # fmt: skip
ENDS = {
    "dead": ("dead", "found dead"),
    "missing": ("gone", "missing"),
    "superseded": ("superseded",),
    "drone_layer": ("drone layer",),
    "culled_fault": ("culled, poor brood",),
    "culled_other": ("culled, not needed",),
    "sold": ("sold",),
    "moved": ("moved to other station",),
    "colony_lost": ("nuc robbed out",),
}


def says(look: Look, rng: random.Random) -> str:
    """The keeper's words for one look: the most telling thing, in one of several ways."""
    seen, laying = look.seen == "yes", look.eggs == "yes"
    ways = (
        (rng.random() < 0.03, ("not opened - rain",)),
        (look.mark == "no" and laying, ("unmarked Q, eggs",)),
        (look.cells == "supersedure", ("supersedure cells",)),
        (look.drone == "many", ("DL", "drone layer")),
        (look.drone == "few", ("a few drones in worker cells",)),
        (look.sealed == "yes" and seen, ("Q seen, all stages", "ok", "laying nicely")),
        (look.sealed == "yes", ("all stages", "eggs, larvae, sealed")),
        (look.larvae == "yes", ("eggs + larvae", "eggs+larvae", "laying")),
        (laying, ("eggs", "Eggs", "eggs, no larvae", "laying")),
        (seen, ("seen, no eggs", "Q seen no eggs", "no eggs yet")),
        (True, ("not seen, no eggs", "nothing")),
    )
    return pick(rng, next(words for holds, words in ways if holds))


def uk(day: date) -> str:
    return day.strftime("%d/%m/%Y")


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    rng = random.Random(1102)
    plan = Plan(
        seed=1101, count=52, starts=date(2024, 5, 14), look_days=(8, 14, 22, 45)
    )
    rows: list[list[str]] = [HEAD]
    for life in lives(plan):
        if life.n in (21, 41):
            rows.append([""] * len(HEAD))
        rows.append(_row(station, life, rng))
    total = sum(float(row[7]) for row in rows[1:] if row[7][:1].isdigit())
    rows.append(["52 queens", "", "", "", "", "", "", decimal(total)] + [""] * 11)
    rows.append(["", "Nos 44-47 moved to the other yard in August"] + [""] * 17)
    station.table("queens 2024.csv", rows)
    station.finish()


def _row(station: Station, life, rng: random.Random) -> list[str]:
    number = str(life.n)
    by, dose = OPERATORS[life.operator], decimal(life.doses[0].ul)
    remark = {4: "wing nicked", 18: "slow to wake", 33: "second try"}.get(life.n, "")
    if life.n == 27:
        dose = "?.?"
        station.cannot_read("inseminations", f"27 {life.first.date()}", "dose_ul", dose)
    row = [
        number, LINES[life.line], uk(life.emerged - timedelta(days=12)),
        uk(life.emerged), "Y" if life.marked else "N", uk(life.first.date()), by, dose,
    ]  # fmt: skip
    station.true(
        "queens", queen_id=number, line=LINES[life.line], emerged_on=life.emerged,
        marked="yes" if life.marked else "no",
    )  # fmt: skip
    station.true(
        "inseminations", queen_id=number, inseminated_at=life.first.date(),
        operator=by, dose_ul="" if life.n == 27 else dose, note=remark,
    )  # fmt: skip
    slots: list[str] = []
    for look in life.looks:
        said = says(look, rng)
        slots += [said, uk(look.on)]
        station.word("check", said, **FINDINGS[said])
        station.true("checks", queen_id=number, checked_on=look.on, **FINDINGS[said])
    row += slots + [""] * (8 - len(slots))
    if life.left:
        why = pick(rng, ENDS[life.reason])
        station.word("Why", why, reason=life.reason)
        station.true("exits", queen_id=number, left_on=life.left, reason=life.reason)
        row += [uk(life.left), why]
    else:
        row += ["", ""]
    return [*row, remark]
