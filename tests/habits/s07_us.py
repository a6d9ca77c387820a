"""United States habits: M/D/YY, a 12-hour clock beside it, degrees Fahrenheit."""

import random
from datetime import date, datetime, time, timedelta
from pathlib import Path

from lives import Life, Plan, lives, pick, whole
from paper import Station, decimal

FOLDER = "07_us"
WORDS = """
# Cedar Fork: month first, clocks to twelve

- All dates are month/day/two-digit year, also in short lists where both ways would fit.
- "Temp F" is degrees Fahrenheit.
- The CO2 list has every exposure, the one on the bench too.
- A queen with a mark written down is marked; where none is written we do not know.
- An empty field means not looked for. The words are in `truth/words.csv`.
"""
BY = ("Dale", "Marcy")
LINES = ("CF Gold", "CF Dark", "Ridge")
YN = {"yes": "Y", "no": "N", "": ""}
LEAK = {"none": "no", "some": "a little", "most": "most of it"}
DRONE = {"none": "none", "few": "some", "many": "mostly drone", "": ""}
CELLS = {"none": "none", "supersedure": "supersedure"}
ENDS = {
    "dead": "dead in nuc",
    "missing": "no queen found",
    "superseded": "superseded",
    "drone_layer": "drone layer",
    "culled_fault": "pinched - poor brood",
    "culled_other": "pinched - extra",
    "sold": "sold",
    "moved": "out of state",
    "colony_lost": "nuc lost to bear",
}
BENCH = [
    "Queen #", "Stock", "Graft", "Emerged", "Mark", "Date", "Time", "Tech", "Load #",
    "uL", "Tries", "Leakback", "Comments",
]  # fmt: skip
LOADS = [
    "Load #", "Collected", "Time", "Drone stock", "Drones tried", "Good drones", "uL",
    "Temp F", "Extender",
]  # fmt: skip
CHECKS = [
    "Queen #", "Date", "Tech", "Q seen", "Mark seen", "Eggs", "Larvae", "Capped",
    "Pattern %", "Drone brood", "Q cells", "Brood added", "Comments",
]  # fmt: skip


def us(day: date) -> str:
    return f"{day.month}/{day.day}/{day:%y}"


def clock(at: datetime, style: int) -> str:
    hour = at.hour % 12 or 12
    half = "PM" if at.hour >= 12 else "AM"
    return (f"{hour}:{at:%M} {half}", f"{hour}:{at:%M}{half.lower()}")[style]


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    rng = random.Random(7702)
    plan = Plan(
        seed=7701, count=54, starts=date(2024, 4, 22), look_days=(7, 13, 21, 36, 62)
    )
    bench, loads, checks = [BENCH], [LOADS], []
    co2 = [["Queen #", "Date", "Time", "Min"]]
    losses = [["Queen #", "Date", "What happened"]]
    batches: dict[date, str] = {}
    for life in lives(plan):
        on, name = life.first.date(), f"{400 + life.n}"
        if on not in batches:
            batches[on] = f"{24}{len(batches) + 1:02d}A"
            loads.append(_load(station, batches[on], on, rng))
        bench.append(_bench(station, name, life, batches[on]))
        for at, minutes in ((life.co2_at, 4), (life.first, life.doses[0].minutes)):
            co2.append([name, us(at), clock(at, life.n % 2), str(minutes)])
            station.true("co2", queen_id=name, given_at=at, minutes=minutes)
        checks += [(look.on, _check(station, name, look, rng)) for look in life.looks]
        if life.left:
            losses.append([name, us(life.left), ENDS[life.reason]])
            station.true("exits", queen_id=name, left_on=life.left, reason=life.reason)
    checks.sort(key=lambda pair: pair[0])
    bench.append(["Total", "54 queens"] + [""] * 11)
    for column, field, words in (
        ("Leakback", "leak", LEAK),
        ("Drone brood", "drone_in_worker", DRONE),
        ("What happened", "reason", ENDS),
    ):
        for meant, said in words.items():
            if said:
                station.word(column, said, **{field: meant})
    station.table("bench.csv", bench)
    station.table("loads.csv", loads)
    station.table("co2 log.csv", co2)
    station.table("hive checks.csv", [CHECKS, *(row for _, row in checks)])
    station.table("losses.csv", losses)
    station.finish()


def _load(station: Station, load: str, on: date, rng) -> list[str]:
    at = datetime.combine(on, time(15, 30)) - timedelta(
        days=1, minutes=whole(rng, -90, 150)
    )
    tried = whole(rng, 130, 180)
    good = tried - whole(rng, 30, 60)
    volume = round(good * 0.8, 1)
    fahrenheit = pick(rng, (57, 59, 61, 63, 68))
    stock = pick(rng, LINES)
    station.true(
        "semen", semen_batch=load, collected_at=at, drone_line=stock,
        drones_handled=tried, drones_yielding=good, volume_ul=volume,
        storage_c=(fahrenheit - 32) * 5 / 9, diluent="buffer",
    )  # fmt: skip
    return [
        load, us(at), clock(at, 0), stock, str(tried), str(good), decimal(volume),
        str(fahrenheit), "buffer",
    ]  # fmt: skip


def _bench(station: Station, name: str, life: Life, load: str) -> list[str]:
    dose, by = life.doses[0], BY[life.operator]
    mark = f"blue {life.n}" if life.marked else ""
    note = {15: "broke tip, changed", 28: "drowsy after"}.get(life.n, "")
    tries, as_true = str(dose.attempts), str(dose.attempts)
    if life.n == 35:
        tries, as_true = "l/", ""
        station.cannot_read(
            "inseminations", f"{name} {dose.at.date()}", "attempts", tries
        )
    station.true(
        "queens", queen_id=name, line=LINES[life.line], graft_batch=f"G-{life.graft}",
        emerged_on=life.emerged, marked="yes" if mark else "", mark=mark,
    )  # fmt: skip
    station.true(
        "inseminations", queen_id=name, inseminated_at=dose.at, operator=by,
        semen_batch=load, dose_ul=dose.ul, attempts=as_true, leak=dose.leak, note=note,
    )  # fmt: skip
    return [
        name, LINES[life.line], f"G-{life.graft}", us(life.emerged), mark, us(dose.at),
        clock(dose.at, 0), by, load, decimal(dose.ul), tries, LEAK[dose.leak], note,
    ]  # fmt: skip


def _check(station: Station, name: str, look, rng) -> list[str]:
    who = pick(rng, BY)
    added = "yes" if rng.random() < 0.04 else "no"
    note = pick(rng, ("", "", "", "", "mites low", "moved to other yard"))
    station.true(
        "checks", queen_id=name, checked_on=look.on, checker=who, queen_seen=look.seen,
        mark_seen=look.mark, eggs=look.eggs, larvae=look.larvae, sealed=look.sealed,
        brood_given=added, pattern_pct=look.pattern, drone_in_worker=look.drone,
        queen_cells=look.cells, note=note,
    )  # fmt: skip
    return [
        name, us(look.on), who, YN[look.seen], YN[look.mark], YN[look.eggs],
        YN[look.larvae], YN[look.sealed],
        "" if look.pattern is None else str(look.pattern), DRONE[look.drone],
        CELLS[look.cells], YN[added], note,
    ]  # fmt: skip
