"""Checks by colony number alone, with a list of which queen sat where."""

import random
from datetime import date, timedelta
from pathlib import Path

from lives import Life, Plan, lives, pick
from paper import Station, decimal

FOLDER = "08_colony_only"
WORDS = """
# Heron Lock: the yard knows colonies, not queens

- Dates are day, month name, year. "In" and "Out" are the days a queen came and went.
- The pattern is a share of one: 0.85 is 85 per cent.
- An empty field under a check means not looked for.
- A nucleus is used again for the next queen when the last has gone; two looks went into a
  nucleus with no queen in it (`truth/unplaced.csv`).
- The words are in `truth/words.csv`.
"""
BY = ("Osric", "Lene", "Tam")
LINES = ("H1", "H2", "Pond")
DRONE = {"none": "none", "few": "few", "many": "many", "": ""}
ENDS = {
    "dead": "dead",
    "missing": "missing",
    "superseded": "superseded",
    "drone_layer": "drone layer",
    "culled_fault": "culled - fault",
    "culled_other": "culled - other",
    "sold": "sold",
    "moved": "moved away",
    "colony_lost": "colony lost",
}
LOOKS = [
    "Nuc", "Day", "Who", "Queen?", "Eggs", "Larvae", "Sealed", "Pattern",
    "Drone brood in worker comb", "Brood put in", "Remarks",
]  # fmt: skip


def named(day: date | None) -> str:
    months = [
        "Jan",
        "Feb",
        "Mar",
        "Apr",
        "May",
        "Jun",
        "Jul",
        "Aug",
        "Sep",
        "Oct",
        "Nov",
        "Dec",
    ]
    return "" if day is None else f"{day.day} {months[day.month - 1]} {day.year}"


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    rng = random.Random(8802)
    files = {
        "queens.csv": [
            ["Queen", "Line", "Emerged", "Marked", "Inseminated", "By", "uL", "Note"]
        ],
        "moves.csv": [["Queen", "Nuc", "In", "Out", "How", "Other brood in nuc"]],
        "ended.csv": [["Queen", "Day", "Reason"]],
    }
    plan = Plan(
        seed=8801, count=46, starts=date(2024, 5, 9), operators=3, twice=0.08,
        look_days=(8, 15, 22, 37, 61),
    )  # fmt: skip
    free_on: dict[int, date] = {}
    looks: list[tuple[date, list[str]]] = []
    for life in lives(plan):
        name = f"HL{life.n:02d}"
        _queen(station, files, name, life)
        stays = _stays(life, free_on)
        for nuc, came, went in stays:
            _move(station, files, name, (nuc, came, went), rng)
        for look in life.looks:
            place = [
                s for s in stays if s[1] <= look.on and (not s[2] or look.on < s[2])
            ]
            if place:
                looks.append((look.on, _look(station, place[-1][0], look, rng)))
        if life.left:
            files["ended.csv"].append([name, named(life.left), ENDS[life.reason]])
            station.true("exits", queen_id=name, left_on=life.left, reason=life.reason)
    for nuc, day in (("N60", date(2024, 6, 20)), ("N2", date(2024, 5, 3))):
        row = [nuc, named(day), "Tam", "N", "N", "N", "N", "", "", "N", "empty"]
        looks.append((day, row))
        station.cannot_place(
            "checks", "no queen in the colony", colony_id=nuc, checked_on=day
        )
    looks.sort(key=lambda pair: (pair[0], pair[1][0]))
    files["looks.csv"] = [LOOKS, *(row for _, row in looks)]
    files["looks.csv"].insert(80, [""] * len(LOOKS))
    files["moves.csv"].append(["46 queens", "", "", "", "", ""])
    for meant, said in ENDS.items():
        station.word("Reason", said, reason=meant)
    for name, rows in files.items():
        station.table(name, rows, eol="\n")
    station.finish()


def _queen(station: Station, files, name: str, life: Life) -> None:
    station.true(
        "queens", queen_id=name, line=LINES[life.line], emerged_on=life.emerged,
        marked="yes" if life.marked else "no",
    )  # fmt: skip
    for k, dose in enumerate(life.doses):
        on, by = dose.at.date(), BY[life.operator]
        amount: object = decimal(dose.ul)
        as_true = amount
        if life.n == 11 and not k:
            amount, as_true = "blot", ""
            station.cannot_read("inseminations", f"{name} {on}", "dose_ul", "blot")
        note = "second dose" if k else ""
        files["queens.csv"].append(
            [name, LINES[life.line], named(life.emerged), "Y" if life.marked else "N",
             named(on), by, amount, note]
        )  # fmt: skip
        station.true(
            "inseminations", queen_id=name, inseminated_at=on, operator=by,
            dose_ul=as_true, note=note,
        )  # fmt: skip


def _stays(life: Life, free_on: dict[int, date]) -> list[tuple[str, date, date | None]]:
    """The nucleus, then for most a full hive from day 30 on."""
    came = life.doses[-1].at.date() + timedelta(days=1)
    if life.left and life.left <= came:
        return []
    nuc = next(n for n in range(1, 99) if free_on.get(n, date.min) < came)
    moved = came + timedelta(days=29)
    if life.left and life.left <= moved:
        free_on[nuc] = life.left
        return [(f"N{nuc}", came, life.left)]
    free_on[nuc] = moved
    return [(f"N{nuc}", came, moved), (f"H{life.n}", moved, life.left)]


def _move(station: Station, files, name: str, stay, rng) -> None:
    nuc, came, went = stay
    how = pick(rng, ("cage", "run in"))
    brood = "yes" if nuc.startswith("H") or rng.random() < 0.2 else "no"
    files["moves.csv"].append(
        [name, nuc, named(came), named(went), how, brood[0].upper()]
    )
    station.true(
        "placements", queen_id=name, colony_id=nuc, placed_on=came, removed_on=went,
        method=how, brood_present=brood,
    )  # fmt: skip


def _look(station: Station, nuc: str, look, rng) -> list[str]:
    who = pick(rng, BY)
    given = "yes" if rng.random() < 0.03 else "no"
    note = pick(rng, ("", "", "", "", "", "weak", "united with neighbour's bees"))
    share = "" if look.pattern is None else decimal(look.pattern / 100)
    station.true(
        "checks", colony_id=nuc, checked_on=look.on, checker=who, queen_seen=look.seen,
        eggs=look.eggs, larvae=look.larvae, sealed=look.sealed, brood_given=given,
        pattern_pct=look.pattern, drone_in_worker=look.drone, note=note,
    )  # fmt: skip
    short = {"yes": "Y", "no": "N", "": ""}
    return [
        nuc, named(look.on), who, short[look.seen], short[look.eggs],
        short[look.larvae], short[look.sealed], share, DRONE[look.drone], short[given],
        note,
    ]  # fmt: skip
