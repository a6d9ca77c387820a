"""German, semicolons, Windows-1252, decimal comma, DD.MM.YYYY; two seasons."""

import random
from datetime import date, datetime, time, timedelta
from pathlib import Path

from lives import Life, Plan, lives, pick, whole
from paper import Station, decimal

FOLDER = "03_german_cp1252"
WORDS = """
# Lindengrund: a German station, a file a table

- Dates are day.month.year, commas are decimal signs, an empty field means not recorded.
- The list of CO2 holds only the other exposure, the day before or after; the one on the bench
  is not written down.
- "Stifte" are eggs, "verdeckelt" is sealed brood, "Brutbild" the pattern in per cent.
- The line "Summe" is a count. German words are in `truth/words.csv`.
"""
BY = ("Wiebke", "Arndt", "Sönke")
LINES = ("Heide 4", "Bergholz", "Ünner")
YN = {"yes": "ja", "no": "nein", "": ""}
LEAK = {"none": "keiner", "some": "etwas", "most": "das meiste"}
DRONE = {"none": "keine", "few": "wenige", "many": "viele", "": ""}
CELLS = {"none": "keine", "supersedure": "stille Umweiselung"}
ENDS = {
    "dead": "tot",
    "missing": "verschollen",
    "superseded": "umgeweiselt",
    "drone_layer": "drohnenbrütig",
    "culled_fault": "abgedrückt (schlechte Brut)",
    "culled_other": "abgedrückt (überzählig)",
    "sold": "verkauft",
    "moved": "abgegeben",
    "colony_lost": "Volk eingegangen",
}
FILES = {
    "Besamung.csv": [
        "Königin", "Linie", "Serie", "geschlüpft am", "gezeichnet", "besamt am",
        "Uhrzeit", "Besamer", "Gerät", "Spermacharge", "Menge µl", "Versuche",
        "Rückfluss", "Dauer (min)", "Bemerkung",
    ],
    "Sperma.csv": [
        "Charge", "gewonnen am", "Uhrzeit", "Drohnenlinie", "Drohnen abgenommen",
        "davon ergiebig", "Menge µl", "Lagertemperatur °C", "Verdünner",
        "Beweglichkeit %",
    ],
    "CO2.csv": ["Königin", "Datum", "Uhrzeit", "Minuten"],
    "Zusetzen.csv": ["Königin", "Volk", "zugesetzt am", "entnommen am", "Art", "Brut vorhanden"],
    "Kontrollen.csv": [
        "Königin", "Datum", "Kontrolleur", "Königin gesehen", "Zeichen gesehen", "Stifte",
        "Larven", "verdeckelt", "Brutbild %", "Drohnenbrut in Arbeiterzellen",
        "Weiselzellen", "Notiz",
    ],
    "Abgang.csv": ["Königin", "Datum", "Grund"],
}  # fmt: skip


def de(day: date) -> str:
    return day.strftime("%d.%m.%Y")


def hour(at: datetime) -> str:
    return at.strftime("%H:%M")


def make(folder: Path) -> None:
    station = Station(folder, WORDS)
    rng = random.Random(3302)
    files = {name: [head] for name, head in FILES.items()}
    for year, seed, count in ((2024, 3301, 38), (2025, 3303, 34)):
        plan = Plan(
            seed=seed, count=count, starts=date(year, 5, 11), operators=3, twice=0.12,
            look_days=(7, 12, 20, 38),
        )  # fmt: skip
        _season(station, files, plan, year % 100, rng)
    files["Besamung.csv"].append([])
    files["Besamung.csv"].append(["Summe", "72 Königinnen"] + [""] * 13)
    for column, words in (
        ("Rückfluss", ("leak", LEAK)),
        ("Drohnenbrut in Arbeiterzellen", ("drone_in_worker", DRONE)),
        ("Weiselzellen", ("queen_cells", CELLS)),
        ("Grund", ("reason", ENDS)),
    ):
        for meant, said in words[1].items():
            if said:
                station.word(column, said, **{words[0]: meant})
    for name, rows in files.items():
        station.table(name, rows, sep=";", encoding="cp1252")
    station.finish()


def _season(station: Station, files, plan: Plan, year: int, rng) -> None:
    batches: dict[date, str] = {}
    for life in lives(plan):
        name = f"{year}/{life.n:03d}"
        for k, dose in enumerate(life.doses):
            on = dose.at.date()
            if on not in batches:
                batches[on] = f"S{year}-{len(batches) + 1}"
                files["Sperma.csv"].append(_semen(station, batches[on], on, life, rng))
            row = _inseminated(station, name, life, k, batches[on], year)
            files["Besamung.csv"].append(row)
        _co2(station, files, name, life, rng)
        _placed(station, files, name, life, year, rng)
        for look in life.looks:
            files["Kontrollen.csv"].append(_checked(station, name, look, rng))
        if life.left:
            files["Abgang.csv"].append([name, de(life.left), ENDS[life.reason]])
            station.true("exits", queen_id=name, left_on=life.left, reason=life.reason)


def _semen(station: Station, batch: str, on: date, life: Life, rng) -> list[str]:
    at = datetime.combine(on, time(16, 0)) - timedelta(
        days=1, minutes=whole(rng, 0, 90)
    )
    handled = whole(rng, 120, 190)
    good = handled - whole(rng, 30, 60)
    volume = round(good * 0.9 + whole(rng, 0, 9) / 2, 1)
    stored = pick(rng, (14.5, 15.0, 16.0, 16.5))
    motile = whole(rng, 70, 95)
    line = pick(rng, LINES)
    station.true(
        "semen", semen_batch=batch, collected_at=at, drone_line=line,
        drones_handled=handled, drones_yielding=good, volume_ul=volume,
        storage_c=stored, diluent="Salzlösung", motility_pct=motile,
    )  # fmt: skip
    return [
        batch, de(at), hour(at), line, str(handled), str(good), decimal(volume, ","),
        decimal(stored, ","), "Salzlösung", str(motile),
    ]  # fmt: skip


def _inseminated(station, name, life: Life, k: int, batch: str, year: int) -> list[str]:
    dose, by = life.doses[k], BY[life.operator]
    amount = decimal(dose.ul, ",")
    line, graft, bench = (
        LINES[life.line],
        f"{year}-{life.graft}",
        f"Tisch {1 + life.n % 2}",
    )
    note = "Zweitbesamung" if k else {9: "Königin klein; träge"}.get(life.n, "")
    as_true: object = dose.ul
    if (year, life.n, k) == (25, 13, 0):
        amount, as_true = "?,5x", ""
        station.cannot_read(
            "inseminations", f"{name} {dose.at.date()}", "dose_ul", amount
        )
    if not k:
        station.true(
            "queens", queen_id=name, line=line, graft_batch=graft,
            emerged_on=life.emerged, marked="yes" if life.marked else "no",
        )  # fmt: skip
    station.true(
        "inseminations", queen_id=name, inseminated_at=dose.at, operator=by,
        instrument=bench, semen_batch=batch, dose_ul=as_true, attempts=dose.attempts,
        leak=dose.leak, minutes=dose.minutes, note=note,
    )  # fmt: skip
    return [
        name, line, graft, de(life.emerged), "ja" if life.marked else "nein",
        de(dose.at), hour(dose.at), by, bench, batch, amount, str(dose.attempts),
        LEAK[dose.leak], str(dose.minutes), note,
    ]  # fmt: skip


def _co2(station, files, name: str, life: Life, rng) -> None:
    if life.n % 9 == 5:
        return
    minutes = pick(rng, (3, 4, 4, 5, 4.5))
    files["CO2.csv"].append(
        [name, de(life.co2_at), hour(life.co2_at), decimal(minutes, ",")]
    )
    station.true("co2", queen_id=name, given_at=life.co2_at, minutes=minutes)


def _placed(station, files, name: str, life: Life, year: int, rng) -> None:
    on = life.doses[-1].at.date() + timedelta(days=1)
    if life.left and life.left <= on:
        return
    colony = f"MK{year}-{life.n}"
    how = pick(rng, ("Zusetzkäfig", "Kunstschwarm"))
    brood = "ja" if how == "Zusetzkäfig" and rng.random() < 0.3 else "nein"
    out = life.left if life.reason in ("sold", "moved") else None
    files["Zusetzen.csv"].append(
        [name, colony, de(on), de(out) if out else "", how, brood]
    )
    station.true(
        "placements", queen_id=name, colony_id=colony, placed_on=on, removed_on=out,
        method=how, brood_present="yes" if brood == "ja" else "no",
    )  # fmt: skip


def _checked(station, name: str, look, rng) -> list[str]:
    who = pick(rng, BY)
    note = pick(rng, ("", "", "", "", "", "gefüttert", "sanftmütig", "Kalkbrut; wenig"))
    looked_cells = look.day > 15
    station.true(
        "checks", queen_id=name, checked_on=look.on, checker=who, queen_seen=look.seen,
        mark_seen=look.mark, eggs=look.eggs, larvae=look.larvae, sealed=look.sealed,
        pattern_pct=look.pattern, drone_in_worker=look.drone,
        queen_cells=look.cells if looked_cells else "", note=note,
    )  # fmt: skip
    return [
        name, de(look.on), who, YN[look.seen], YN[look.mark], YN[look.eggs],
        YN[look.larvae], YN[look.sealed],
        "" if look.pattern is None else str(look.pattern), DRONE[look.drone],
        CELLS[look.cells] if looked_cells else "", note,
    ]  # fmt: skip
