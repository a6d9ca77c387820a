"""Ticks with initials, ditto marks, people in several spellings."""

import random
from datetime import date
from pathlib import Path

from lives import Life, Plan, lives, pick
from paper import Station, decimal

FOLDER = "10_ticks_initials"
WORDS = """
# Windmill Hill: ticks, initials and ditto marks

- A tick means seen, with or without the initials of who ticked it. A blank in a column of
  ticks means looked for and not seen: no.
- Ditto marks and "do." stand for what is written above, in whatever column.
- HK, H. Krone, hilde krone and Hilde Krone are one person; so are BS, B Sand and Bo Sand.
- Dates are day.month.year, the year in two digits.
- The line "carried over" is no record. The words are in `truth/words.csv`.
"""
PEOPLE = ("Hilde Krone", "Bo Sand")
SPELLED = (
    ("Hilde Krone", "HK", "H. Krone", "hilde krone", "H.K."),
    ("Bo Sand", "BS", "B Sand", "Bo  Sand"),
)
DITTO = ('"', "\u3003", "do.", "''", '"')
LINES = ("Mill", "Croft", "Lea")
DRONE = {"none": "-", "few": "few", "many": "many", "": ""}
ENDS = {
    "dead": "dead",
    "missing": "not there",
    "superseded": "superseded",
    "drone_layer": "drone layer",
    "culled_fault": "culled, bad",
    "culled_other": "culled, spare",
    "sold": "sold",
    "moved": "moved to other yard",
    "colony_lost": "wasps",
}
BENCH = [
    "Queen",
    "Line",
    "Emerged",
    "Date",
    "Time",
    "Who",
    "Dose ul",
    "Tries",
    "Remark",
]
ROUND = [
    "Date",
    "Who",
    "Queen",
    "Q",
    "Eggs",
    "Larvae",
    "Sealed",
    "Drones",
    "%",
    "Remark",
]


def short(day: date) -> str:
    return f"{day.day}.{day.month}.{day:%y}"


class _Above:
    """Writes a ditto mark, often, where the value above is the same."""

    def __init__(self, rng: random.Random, share: float = 0.8) -> None:
        self.rng, self.share = rng, share
        self.last: str | None = None

    def __call__(self, meant: str, written: str) -> str:
        if meant == self.last and self.rng.random() < self.share:
            return pick(self.rng, DITTO)
        self.last = meant
        return written


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    rng = random.Random(10_002)
    plan = Plan(
        seed=10_001, count=50, starts=date(2025, 5, 15), look_days=(7, 14, 21, 38)
    )
    queens = lives(plan)
    station.table("bench.csv", _bench(station, queens, rng))
    station.table("yard round.csv", _round(station, queens, rng))
    gone = [["Queen", "Date", "Why"]]
    for life in queens:
        if life.left:
            gone.append([f"W{life.n}", short(life.left), ENDS[life.reason]])
            station.true(
                "exits", queen_id=f"W{life.n}", left_on=life.left, reason=life.reason
            )
    station.table("gone.csv", gone)
    for meant, said in ENDS.items():
        station.word("Why", said, reason=meant)
    for meant, said in DRONE.items():
        if said:
            station.word("Drones", said, drone_in_worker=meant)
    for person, spelled in zip(PEOPLE, SPELLED, strict=True):
        for said in spelled:
            station.word("Who", " ".join(said.split()), person=person)
    station.finish()


def _bench(station: Station, queens: list[Life], rng) -> list[list[str]]:
    rows = [BENCH]
    line, emerged, day, who = (_Above(rng) for _ in range(4))
    for life in sorted(queens, key=lambda q: q.first):
        name, dose, on = f"W{life.n}", life.doses[0], life.first.date()
        stock, by = LINES[life.line], life.operator
        remark = {6: "sluggish", 43: "tip cleaned"}.get(life.n, "")
        amount, as_true = decimal(dose.ul), decimal(dose.ul)
        if life.n == 24:
            amount, as_true = "#", ""
            station.cannot_read("inseminations", f"{name} {on}", "dose_ul", amount)
        station.true("queens", queen_id=name, line=stock, emerged_on=life.emerged)
        station.true(
            "inseminations", queen_id=name, inseminated_at=dose.at, operator=PEOPLE[by],
            dose_ul=as_true, attempts=dose.attempts, note=remark,
        )  # fmt: skip
        rows.append(
            [
                name, line(stock, stock), emerged(short(life.emerged), short(life.emerged)),
                day(short(on), short(on)), dose.at.strftime("%H:%M"),
                who(PEOPLE[by], pick(rng, SPELLED[by])), amount, str(dose.attempts), remark,
            ]
        )  # fmt: skip
    return rows


def _round(station: Station, queens: list[Life], rng) -> list[list[str]]:
    looks = sorted(
        ((look.on, life.n, look) for life in queens for look in life.looks),
        key=lambda item: item[:2],
    )
    rows = [ROUND]
    day, who = _Above(rng, 0.9), _Above(rng)
    by = 0
    for k, (on, n, look) in enumerate(looks):
        if k == 90:
            rows.append(["carried over", "", "90 looks"] + [""] * 7)
            # a new page: the first line is written out
            day.last = who.last = None
        if k and on != looks[k - 1][0]:
            by = int(rng.random() * 2)
        row = [
            day(short(on), short(on)),
            who(PEOPLE[by], pick(rng, SPELLED[by])),
            f"W{n}",
        ]
        rows.append(row + _ticks(station, f"W{n}", by, look, rng))
    return rows


def _ticks(station: Station, name: str, by: int, look, rng) -> list[str]:
    initials = ("HK", "BS")[by]
    ticked = {
        "queen_seen": look.seen, "eggs": look.eggs, "larvae": look.larvae,
        "sealed": look.sealed,
    }  # fmt: skip
    remark = pick(rng, ("", "", "", "", "", "fed", "good temper"))
    station.true(
        "checks", queen_id=name, checked_on=look.on, checker=PEOPLE[by], **ticked,
        pattern_pct=look.pattern, drone_in_worker=look.drone, note=remark,
    )  # fmt: skip
    styles = (
        "\u2713",
        f"\u2713 {initials}",
        f"\u2713{initials.lower()}",
        "\u2714",
        "v",
    )
    cells = [
        pick(rng, styles, (5, 4, 1, 1, 1)) if value == "yes" else ""
        for value in ticked.values()
    ]
    pattern = "" if look.pattern is None else str(look.pattern)
    return [*cells, DRONE[look.drone], pattern, remark]
