"""A Polish workbook: headings, words and a few text dates in Polish."""

import random
from datetime import date
from pathlib import Path

from lives import Plan, lives, pick
from paper import Station, sheet_of_rows, workbook

FOLDER = "04_polish_xlsx"
WORDS = """
# Zielona Dolina: a Polish workbook

- Dates are day.month.year; "r." after a date only means "year".
- "Wygryzienie" is the day she left her cell; "Seria" is the graft.
- An empty cell means not looked for; "nie" and "brak" were looked for.
- The pattern ("zwartość czerwiu") is a share, shown as per cent by the sheet.
- The row "Razem" is a count. Polish words are in `truth/words.csv`.
"""
BY = ("Bożena", "Łukasz")
LINES = ("Niwa", "Wrzos", "Jesion")
YN = {"yes": "tak", "no": "nie", "": ""}
DRONE = {"none": "brak", "few": "mało", "many": "dużo", "": ""}
CELLS = {"none": "brak", "supersedure": "cicha wymiana"}
LEAK = {"none": "brak", "some": "trochę", "most": "większość"}
ENDS = {
    "dead": "padła",
    "missing": "zaginęła",
    "superseded": "wymieniona przez pszczoły",
    "drone_layer": "strutowiała",
    "culled_fault": "usunięta - zły czerw",
    "culled_other": "usunięta - nadmiar",
    "sold": "sprzedana",
    "moved": "przeniesiona",
    "colony_lost": "rodzina padła",
}
QUEENS = [
    "Nr matki", "Linia", "Seria", "Wygryzienie", "Znakowana", "Data inseminacji",
    "Inseminator", "Dawka µl", "Próby", "Wypływ nasienia", "Trutnie - linia",
    "Wiek trutni (dni)", "Uwagi",
]  # fmt: skip
CHECKS = [
    "Nr matki", "Data przeglądu", "Kto", "Matka widziana", "Jajeczka", "Larwy",
    "Czerw kryty", "Zwartość czerwiu", "Czerw trutowy w komórkach pszczelich",
    "Mateczniki", "Uwagi",
]  # fmt: skip


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    rng = random.Random(4402)
    plan = Plan(
        seed=4401, count=44, starts=date(2025, 5, 22), look_days=(7, 13, 21, 40)
    )
    queens: list[list[object]] = [QUEENS]
    checks: list[list[object]] = []
    exits: list[list[object]] = [["Nr matki", "Data ubycia", "Powód"]]
    for life in lives(plan):
        name = f"M{life.n}/25"
        queens.append(_queen(station, name, life, rng))
        checks.extend(_check(station, name, look, rng) for look in life.looks)
        if life.left:
            # this sheet is typed at home, as text
            exits.append([name, life.left.strftime("%d.%m.%Y r."), ENDS[life.reason]])
            station.true("exits", queen_id=name, left_on=life.left, reason=life.reason)
    queens += [[], ["Razem", "44 matki"]]
    checks.sort(key=lambda row: row[1])
    checks.insert(0, CHECKS)
    for column, field, words in (
        ("Wypływ nasienia", "leak", LEAK),
        ("Czerw trutowy w komórkach pszczelich", "drone_in_worker", DRONE),
        ("Mateczniki", "queen_cells", CELLS),
        ("Powód", "reason", ENDS),
    ):
        for meant, said in words.items():
            if said:
                station.word(column, said, **{field: meant})
    with workbook(station.record("Matki_2025.xlsx")) as book:
        day = book.add_format({"num_format": "dd.mm.yyyy"})
        per_cent = book.add_format({"num_format": "0%"})
        sheet_of_rows(book, "Matki", queens, day)
        sheet_of_rows(book, "Przeglądy", checks, day)
        sheet = book.get_worksheet_by_name("Przeglądy")
        for i, row in enumerate(checks[1:], start=1):
            if row[7] != "":
                sheet.write_number(i, 7, row[7], per_cent)
        sheet_of_rows(book, "Ubytki", exits, day)
    station.finish()


def _queen(station: Station, name: str, life, rng) -> list[object]:
    dose = life.doses[0]
    line, graft, by = LINES[life.line], f"S{life.graft}", BY[life.operator]
    drones, age = pick(rng, LINES), pick(rng, (14, 15, 16, 18, 21))
    note = {5: "mała", 26: "ciężko uśpić"}.get(life.n, "")
    amount: object = dose.ul
    if life.n == 30:
        amount = "b/d 8 albo 9"
        station.cannot_read(
            "inseminations", f"{name} {dose.at.date()}", "dose_ul", amount
        )
    station.true(
        "queens", queen_id=name, line=line, graft_batch=graft, emerged_on=life.emerged,
        marked="yes" if life.marked else "no",
    )  # fmt: skip
    station.true(
        "inseminations", queen_id=name, inseminated_at=dose.at.date(), operator=by,
        dose_ul=dose.ul if life.n != 30 else "", attempts=dose.attempts, leak=dose.leak,
        drone_line=drones, drone_age_days=age, note=note,
    )  # fmt: skip
    return [
        name, line, graft, life.emerged, "tak" if life.marked else "nie",
        dose.at.date(), by, amount, dose.attempts, LEAK[dose.leak], drones, age, note,
    ]  # fmt: skip


def _check(station: Station, name: str, look, rng) -> list[object]:
    who = pick(rng, BY)
    note = pick(rng, ("", "", "", "", "podano syrop", "łagodne"))
    station.true(
        "checks", queen_id=name, checked_on=look.on, checker=who, queen_seen=look.seen,
        eggs=look.eggs, larvae=look.larvae, sealed=look.sealed,
        pattern_pct=look.pattern, drone_in_worker=look.drone, queen_cells=look.cells,
        note=note,
    )  # fmt: skip
    return [
        name, look.on, who, YN[look.seen], YN[look.eggs], YN[look.larvae],
        YN[look.sealed], "" if look.pattern is None else look.pattern / 100,
        DRONE[look.drone], CELLS[look.cells], note,
    ]  # fmt: skip
