"""Units, sums and products written into the cells; a column in millilitres."""

import random
from datetime import date, datetime, time, timedelta
from pathlib import Path

from lives import Life, Plan, lives, pick, whole
from paper import Station, decimal

FOLDER = "06_units_in_cells"
WORDS = """
# Saltmarsh: everything with its unit

- Dates are year/month/day.
- "4+4" and "2x4" are two doses of 4, given to one queen in one sitting: 8 in all.
- x in a column of the yard list means seen. A blank there means not looked for.
- The volume of a load is in millilitres, as its heading says.
- The words are in `truth/words.csv`.
"""
BY = ("Runa", "Pell")
LINES = ("Dune", "Sedge", "Creek")
DRONE = {"none": "0", "few": "a few", "many": "lots", "": ""}
ENDS = {
    "dead": "dead",
    "missing": "lost",
    "superseded": "superseded",
    "drone_layer": "drone layer",
    "culled_fault": "culled (spotty)",
    "culled_other": "culled (spare)",
    "sold": "sold",
    "moved": "other yard",
    "colony_lost": "nuc flooded",
}
QUEENS = [
    "Queen", "Line", "Hatched", "Inseminated", "Time", "Who", "Load", "Dose",
    "Dose meant", "Tries", "In the instrument", "Remark",
]  # fmt: skip
LOADS = [
    "Load", "Collected", "Time", "Drone stock", "Drones used", "gave semen", "Vol (mL)",
    "Kept at", "Drone age", "Motility",
]  # fmt: skip
YARD = [
    "Queen", "Day", "Who", "Q", "Eggs", "Larvae", "Sealed", "Pattern", "Drones in worker",
    "Remark",
]  # fmt: skip


def slashed(day: date) -> str:
    return day.strftime("%Y/%m/%d")


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    rng = random.Random(6602)
    plan = Plan(
        seed=6601, count=48, starts=date(2025, 5, 12), look_days=(7, 14, 24, 47)
    )
    queens, loads, yard = [QUEENS], [LOADS], []
    gone = [["Queen", "Day", "Why"]]
    batches: dict[date, str] = {}
    doses: list[tuple[object, ...]] = []
    for life in lives(plan):
        on, name = life.first.date(), f"SM{life.n}"
        if on not in batches:
            batches[on] = f"L{len(batches) + 1}"
            loads.append(_load(station, batches[on], on, rng))
        queens.append(_queen(station, name, life, batches[on], doses))
        yard.extend(_yard(station, name, look, rng) for look in life.looks)
        if life.left:
            gone.append([name, slashed(life.left), ENDS[life.reason]])
            station.true("exits", queen_id=name, left_on=life.left, reason=life.reason)
    yard.sort(key=lambda row: row[1])
    yard.insert(47, [""] * len(YARD))
    for meant, said in DRONE.items():
        if said:
            station.word("Drones in worker", said, drone_in_worker=meant)
    for meant, said in ENDS.items():
        station.word("Why", said, reason=meant)
    # doses is derived, not a column of the records: it stands in a file of its own
    station.extra["doses"] = (("queen_id", "inseminated_at", "doses"), doses)
    station.table("queens.tsv", queens, sep="\t", encoding="utf-8-sig")
    station.table("semen loads.tsv", loads, sep="\t", encoding="utf-16")
    station.table("yard list.tsv", [YARD, *yard], sep="\t")
    station.table("gone.tsv", gone, sep="\t")
    station.finish()


DOSES = ("{} ul", "{}\u00b5l", "{} \u00b5L", "{} \u03bcl", "{}ul", "{} uL", "{}")


def _queen(station: Station, name: str, life: Life, load: str, doses) -> list[str]:
    dose = life.doses[0]
    amount = dose.ul
    written = DOSES[life.n % len(DOSES)].format(decimal(amount))
    parts = 1
    if life.n % 8 == 3:
        written, amount, parts = ("4+4", "2x4", "4 + 4 ul")[life.n % 3], 8.0, 2
    as_true: object = amount
    if life.n == 29:
        written, as_true = "8 or so, spilt", ""
        station.cannot_read(
            "inseminations", f"{name} {dose.at.date()}", "dose_ul", written
        )
    else:
        doses.append((name, dose.at, parts))
    remark = {3: "two goes", 40: "CO2 low"}.get(life.n, "")
    line = LINES[life.line]
    station.true("queens", queen_id=name, line=line, emerged_on=life.emerged)
    station.true(
        "inseminations", queen_id=name, inseminated_at=dose.at, operator=BY[life.operator],
        semen_batch=load, dose_ul=as_true, dose_meant_ul=8, attempts=dose.attempts,
        minutes=dose.minutes, note=remark,
    )  # fmt: skip
    return [
        name, line, slashed(life.emerged), slashed(dose.at), dose.at.strftime("%H:%M"),
        BY[life.operator], load, written, "8 ul", str(dose.attempts),
        f"{dose.minutes} min", remark,
    ]  # fmt: skip


def _load(station: Station, load: str, on: date, rng) -> list[str]:
    at = datetime.combine(on, time(8, 50)) - timedelta(minutes=whole(rng, 0, 50))
    if rng.random() < 0.5:
        at -= timedelta(hours=18)
    used = whole(rng, 110, 170)
    good = used - whole(rng, 25, 50)
    volume = round(good * 0.00085, 3)
    kept, celsius = pick(rng, (("59 \u00b0F", 15), ("15 \u00b0C", 15), ("68 F", 20), ("16.5 C", 16.5), ("61 \u00b0F", 145 / 9)))  # fmt: skip
    age = whole(rng, 14, 20)
    motility = whole(rng, 65, 95)
    stock = pick(rng, LINES)
    station.true(
        "semen", semen_batch=load, collected_at=at, drone_line=stock, drone_age_days=age,
        drones_handled=used, drones_yielding=good, volume_ul=volume * 1000,
        storage_c=celsius, motility_pct=motility,
    )  # fmt: skip
    return [
        load, slashed(at), at.strftime("%H:%M"), stock, str(used), str(good),
        f"{volume:.3f}", kept, f"{age} days", f"{motility} %",
    ]  # fmt: skip


def _yard(station: Station, name: str, look, rng) -> list[str]:
    who = pick(rng, BY)
    remark = pick(rng, ("", "", "", "", "", "fed 1 l", "hot"))
    crosses = {
        "queen_seen": look.seen, "eggs": look.eggs, "larvae": look.larvae,
        "sealed": look.sealed,
    }  # fmt: skip
    # only what was seen is crossed: a blank says nothing
    seen = {k: v if v == "yes" else "" for k, v in crosses.items()}
    pattern = (
        "" if look.pattern is None else pick(rng, ("{} %", "{}%", "{} pct", "{} %"))
    )
    station.true(
        "checks", queen_id=name, checked_on=look.on, checker=who, **seen,
        pattern_pct=look.pattern, drone_in_worker=look.drone, note=remark,
    )  # fmt: skip
    return [
        name, slashed(look.on), who, *("x" if v else "" for v in seen.values()),
        pattern.format(look.pattern), DRONE[look.drone], remark,
    ]  # fmt: skip
