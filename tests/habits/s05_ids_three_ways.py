"""Queen labels spelled in one way in each file: "Q-12", "q12", "Q 012"."""

import random
from datetime import date
from pathlib import Path

from lives import Plan, lives, pick
from paper import Station, decimal

FOLDER = "05_ids_three_ways"
WORDS = """
# Quarry Bank: three people, three ways to write a queen

- "Q-12", "q12" and "Q 012" are one queen. The bench's way ("Q-12") is the label.
- Q-61 and Q-62 were mated naturally; they are checked with the others and are not in the
  bench list.
- Dates are year-month-day. An empty field means not looked for.
- The file "shopping.txt" is not about queens.
- The words are in `truth/words.csv`.
"""
BY = ("Ines", "Corbin")
LINES = ("QB", "Slate")
YN = {"yes": "yes", "no": "no", "": ""}
ENDS = {
    "dead": "died",
    "missing": "disappeared",
    "superseded": "superseded",
    "drone_layer": "turned drone layer",
    "culled_fault": "culled - poor",
    "culled_other": "culled - spare",
    "sold": "sold",
    "moved": "given away",
    "colony_lost": "colony starved",
}
BENCH = [
    "Queen", "Line", "Graft", "Emerged", "Marked", "Inseminated", "Time", "Operator",
    "Syringe tip", "Dose uL", "Attempts", "Note",
]  # fmt: skip
YARD = [
    "queen", "date", "who", "queen seen", "mark seen", "eggs", "larvae", "sealed brood",
    "pattern %", "drone brood in worker cells", "queen cells", "notes",
]  # fmt: skip


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    rng = random.Random(5502)
    plan = Plan(seed=5501, count=45, starts=date(2025, 5, 17), lines=2)
    bench, ends = [BENCH], [["QUEEN", "GONE ON", "WHAT HAPPENED"]]
    yard: list[list[str]] = []
    for life in lives(plan):
        bench.append(_bench(station, life))
        label = f"Q-{life.n}"
        yard.extend(
            _yard(station, label, f"q{life.n}", look, rng) for look in life.looks
        )
        if life.left:
            ends.append([f"Q {life.n:03d}", life.left.isoformat(), ENDS[life.reason]])
            station.true("exits", queen_id=label, left_on=life.left, reason=life.reason)
    natural = Plan(seed=5503, count=2, starts=date(2025, 5, 20), first_number=61)
    for life in lives(natural):
        # the label that the yard book alone knows
        yard.extend(
            _yard(station, f"q{life.n}", f"q{life.n}", look, rng) for look in life.looks
        )
    yard.sort(key=lambda row: (row[1], row[0]))
    typo = ["q17", "2025-0?-11", "Ines", "yes", "", "yes", "", "", "", "", "", ""]
    yard.insert(60, typo)
    station.cannot_read("checks", "Q-17", "checked_on", "2025-0?-11")
    for reason, said in ENDS.items():
        station.word("WHAT HAPPENED", said, reason=reason)
    station.table("bench 2025.csv", bench)
    station.table("yard book.csv", [YARD, *yard], sep=",", eol="\n")
    station.table("gone.csv", ends)
    station.record("shopping.txt").write_bytes(b"CO2 refill, 2 kg\nrubber bands\n")
    station.finish()


def _bench(station: Station, life) -> list[str]:
    dose, label = life.doses[0], f"Q-{life.n}"
    tip = f"tip {1 + life.graft % 3}"
    note = {12: "restless", 39: "tip changed halfway"}.get(life.n, "")
    station.true(
        "queens", queen_id=label, line=LINES[life.line], graft_batch=f"G{life.graft}",
        emerged_on=life.emerged, marked="yes" if life.marked else "no",
    )  # fmt: skip
    station.true(
        "inseminations", queen_id=label, inseminated_at=dose.at,
        operator=BY[life.operator], tip=tip, dose_ul=dose.ul, attempts=dose.attempts,
        note=note,
    )  # fmt: skip
    return [
        label, LINES[life.line], f"G{life.graft}", life.emerged.isoformat(),
        "yes" if life.marked else "no", dose.at.date().isoformat(),
        dose.at.strftime("%H:%M"), BY[life.operator], tip, decimal(dose.ul),
        str(dose.attempts), note,
    ]  # fmt: skip


def _yard(station: Station, label: str, written: str, look, rng) -> list[str]:
    who = pick(rng, (*BY, "Petra"))
    note = pick(rng, ("", "", "", "", "fed", "moved to shade"))
    station.true(
        "checks", queen_id=label, checked_on=look.on, checker=who, queen_seen=look.seen,
        mark_seen=look.mark, eggs=look.eggs, larvae=look.larvae, sealed=look.sealed,
        pattern_pct=look.pattern, drone_in_worker=look.drone, queen_cells=look.cells,
        note=note,
    )  # fmt: skip
    return [
        written, look.on.isoformat(), who, look.seen, look.mark, look.eggs, look.larvae,
        look.sealed, "" if look.pattern is None else str(look.pattern), look.drone,
        look.cells, note,
    ]  # fmt: skip
