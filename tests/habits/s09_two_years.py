"""Two years in two layouts with other headings; numbers that start again."""

import random
from datetime import date, timedelta
from pathlib import Path

from lives import Life, Plan, lives, pick
from paper import Station, decimal, sheet_of_rows, workbook

FOLDER = "09_two_years"
WORDS = """
# Birkbeck Combe: a new keeper, a new layout, the numbers from 1 again

- Queen 7 of 2024 and queen 7 of 2025 are two queens: put 24- and 25- before the numbers.
  The spring column of the 2024 workbook is about queens of 2024.
- 2024 is kept in a workbook with real dates, 2025 in files with day.month.year.
- "Brood" of 2024: open means larvae, sealed is sealed, both is both; none is neither.
- An empty field means not looked for.
- AF and Alba Fenn are one person, and so are JR and Joren Ruyt.
- The words are in `truth/words.csv`.
"""
PEOPLE = ("Alba Fenn", "Joren Ruyt")
SHORT = ("AF", "JR")
LINES = ("Combe", "Fell")
BROOD = {
    "none": {"larvae": "no", "sealed": "no"},
    "open": {"larvae": "yes"},
    "both": {"larvae": "yes", "sealed": "yes"},
}
SLOTS = ("Check 1", "Check 2", "Check 3", "Spring")
ENDS_24 = {
    "dead": "dead",
    "missing": "missing",
    "superseded": "superseded",
    "drone_layer": "DL",
    "culled_fault": "killed (poor)",
    "culled_other": "killed (spare)",
    "sold": "sold",
    "moved": "moved",
    "colony_lost": "colony lost",
}
ENDS_25 = {
    "dead": "Died",
    "missing": "Not found",
    "superseded": "Superseded",
    "drone_layer": "Drone layer",
    "culled_fault": "Culled - poor",
    "culled_other": "Culled - spare",
    "sold": "Sold",
    "moved": "Transferred",
    "colony_lost": "Colony failed",
}


def dotted(day: date) -> str:
    return day.strftime("%d.%m.%Y")


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    _first_year(station)
    _second_year(station)
    for column, words in (("Gone why", ENDS_24), ("Outcome", ENDS_25)):
        for meant, said in words.items():
            station.word(column, said, reason=meant)
    for said, sets in BROOD.items():
        station.word("brood", said, **sets)
    station.finish()


def _first_year(station: Station) -> None:
    plan = Plan(
        seed=9901, count=36, starts=date(2024, 5, 18), lines=2, look_days=(9, 18, 40)
    )
    head = ["Queen no", "Dam line", "Born", "Insem. date", "Inseminator", "Dose (ul)"]
    for slot in SLOTS:
        head += [f"{slot} date", f"{slot} queen", f"{slot} eggs", f"{slot} brood"]
    rows: list[list[object]] = [[*head, "Gone date", "Gone why"]]
    rows.extend(_queen_24(station, life) for life in lives(plan))
    rows += [[], ["36 queens"]]
    with workbook(station.record("Insemination book 2024.xlsx")) as book:
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        sheet_of_rows(book, "2024", rows, day)


def _queen_24(station: Station, life: Life) -> list[object]:
    name, dose, on = f"24-{life.n}", life.doses[0].ul, life.first.date()
    line, by = LINES[life.line], life.operator
    station.true("queens", queen_id=name, line=line, emerged_on=life.emerged)
    station.true(
        "inseminations",
        queen_id=name,
        inseminated_at=on,
        operator=PEOPLE[by],
        dose_ul=dose,
    )
    row: list[object] = [life.n, line, life.emerged, on, SHORT[by], dose]
    slots: list[object] = []
    for look in life.looks:
        brood = "none"
        if look.larvae == "yes":
            brood = "both" if look.sealed == "yes" else "open"
        slots += _slot(station, name, look.on, look.seen, look.eggs, brood)
    slots += [""] * (12 - len(slots))
    if life.left is None and life.n % 3:
        spring = date(2025, 4, 6) + timedelta(days=life.n % 9)
        there = "no" if life.n % 7 == 1 else "yes"
        brood = "both" if there == "yes" else "none"
        slots += _slot(station, name, spring, there, there, brood)
    row += slots + [""] * (16 - len(slots))
    if life.left:
        row += [life.left, ENDS_24[life.reason]]
        station.true("exits", queen_id=name, left_on=life.left, reason=life.reason)
    return row


def _slot(station: Station, name: str, on, seen, eggs, brood) -> list[object]:
    station.true(
        "checks",
        queen_id=name,
        checked_on=on,
        queen_seen=seen,
        eggs=eggs,
        **BROOD[brood],
    )
    return [on, seen, eggs, brood]


def _second_year(station: Station) -> None:
    rng = random.Random(9904)
    plan = Plan(
        seed=9903,
        count=40,
        starts=date(2025, 5, 14),
        lines=2,
        look_days=(7, 14, 21, 42),
    )
    done = [
        ["ID", "Stock", "Emergence", "Marked?", "Procedure day", "Start", "Technician",
         "Volume uL", "Attempts", "Comment"]
    ]  # fmt: skip
    seen = [
        ["ID", "Inspected", "Inspector", "Queen", "Eggs", "Larvae", "Capped brood",
         "Pattern %", "Drone brood", "Comment"]
    ]  # fmt: skip
    out = [["ID", "Date", "Outcome"]]
    for life in lives(plan):
        done.append(_queen_25(station, life))
        seen += [_look_25(station, life.n, look, rng) for look in life.looks]
        if life.left:
            out.append([str(life.n), dotted(life.left), ENDS_25[life.reason]])
            station.true(
                "exits", queen_id=f"25-{life.n}", left_on=life.left, reason=life.reason
            )
    station.table("inseminated 2025.csv", done, sep=";")
    station.table("inspections 2025.csv", seen, sep=";")
    station.table("outcomes 2025.csv", out, sep=";")


def _queen_25(station: Station, life: Life) -> list[str]:
    name, dose = f"25-{life.n}", life.doses[0]
    line, by = LINES[life.line], PEOPLE[life.operator]
    comment = {8: "nervous", 22: "repeat of a failed start"}.get(life.n, "")
    volume, as_true = decimal(dose.ul), decimal(dose.ul)
    if life.n == 19:
        volume, as_true = "see Joren", ""
        station.cannot_read(
            "inseminations", f"{name} {dose.at.date()}", "dose_ul", volume
        )
    station.true(
        "queens", queen_id=name, line=line, emerged_on=life.emerged,
        marked="yes" if life.marked else "no",
    )  # fmt: skip
    station.true(
        "inseminations", queen_id=name, inseminated_at=dose.at, operator=by,
        dose_ul=as_true, attempts=dose.attempts, note=comment,
    )  # fmt: skip
    return [
        str(life.n), line, dotted(life.emerged), "yes" if life.marked else "no",
        dotted(dose.at), dose.at.strftime("%H.%M"), by, volume, str(dose.attempts), comment,
    ]  # fmt: skip


def _look_25(station: Station, n: int, look, rng) -> list[str]:
    who = int(rng.random() * 2)
    written = pick(rng, (PEOPLE[who], PEOPLE[who], SHORT[who]))
    station.true(
        "checks", queen_id=f"25-{n}", checked_on=look.on, checker=PEOPLE[who],
        queen_seen=look.seen, eggs=look.eggs, larvae=look.larvae, sealed=look.sealed,
        pattern_pct=look.pattern, drone_in_worker=look.drone,
    )  # fmt: skip
    return [
        str(n), dotted(look.on), written, look.seen, look.eggs, look.larvae, look.sealed,
        "" if look.pattern is None else str(look.pattern), look.drone, "",
    ]  # fmt: skip
