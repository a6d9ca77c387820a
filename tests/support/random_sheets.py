"""Invented stations written in random layouts, with the truth beside them.

The headings are what a person of that language would write, chosen by hand here and
not taken from the files of words; the truth is kept in our own columns and units.
"""

import datetime as dt
import random
from dataclasses import dataclass, field
from pathlib import Path

# our column -> a heading, for each language; "date" and "who" stand for the generic ones
HEADINGS = {
    "en": {
        "queen_id": ("Queen", "Queen no", "Queen ID", "No."),
        "line": ("Line", "Stock", "Dam line"),
        "emerged_on": ("Emerged", "Hatched", "Born"),
        "inseminated_at": ("Inseminated", "Insemination date", "Date of insemination"),
        "operator": ("Operator", "Inseminator", "By", "Who"),
        "dose_ul": ("Dose", "Dose ul", "Volume (µl)"),
        "attempts": ("Attempts", "Tries"),
        "checked_on": ("Date", "Checked on", "Inspected"),
        "checker": ("Who", "Checked by", "Inspector"),
        "queen_seen": ("Queen seen", "Q seen"),
        "eggs": ("Eggs",),
        "larvae": ("Larvae", "Open brood"),
        "sealed": ("Sealed", "Capped brood", "Sealed brood"),
        "pattern_pct": ("Pattern %", "Brood pattern"),
        "left_on": ("Gone on", "Date", "Date lost"),
        "reason": ("Reason", "Why", "What happened"),
        "files": ("inseminations", "checks", "losses"),
        "yes_no": ("yes", "no"),
        "reasons": {
            "dead": "dead",
            "missing": "missing",
            "sold": "sold",
            "superseded": "superseded",
        },
    },
    "de": {
        "queen_id": ("Königin", "Königin Nr.", "Kö-Nr."),
        "line": ("Linie", "Herkunft"),
        "emerged_on": ("geschlüpft am", "Schlupf", "Schlupfdatum"),
        "inseminated_at": ("besamt am", "Besamungsdatum", "Besamung"),
        "operator": ("Besamer", "besamt von", "Wer"),
        "dose_ul": ("Dosis", "Menge µl", "Dosis (µl)"),
        "attempts": ("Versuche", "Anzahl Versuche"),
        "checked_on": ("Datum", "Kontrolldatum", "kontrolliert am"),
        "checker": ("Wer", "Kontrolleur", "kontrolliert von"),
        "queen_seen": ("Königin gesehen", "Kö gesehen"),
        "eggs": ("Eier", "Stifte"),
        "larvae": ("Larven", "offene Brut"),
        "sealed": ("verdeckelt", "verdeckelte Brut"),
        "pattern_pct": ("Brutbild %", "Brutbild"),
        "left_on": ("Datum", "Abgang am", "Abgangsdatum"),
        "reason": ("Grund", "Ursache", "Abgangsgrund"),
        "files": ("Besamungen", "Kontrollen", "Abgänge"),
        "yes_no": ("ja", "nein"),
        "reasons": {
            "dead": "tot",
            "missing": "verschollen",
            "sold": "verkauft",
            "superseded": "umgeweiselt",
        },
    },
    "pl": {
        "queen_id": ("Nr matki", "Matka", "Numer matki"),
        "line": ("Linia", "Pochodzenie"),
        "emerged_on": ("Wygryzienie", "Data wygryzienia"),
        "inseminated_at": ("Data inseminacji", "Inseminowana", "Data unasieniania"),
        "operator": ("Inseminator", "Wykonał", "Kto"),
        "dose_ul": ("Dawka", "Dawka µl"),
        "attempts": ("Próby", "Liczba prób"),
        "checked_on": ("Data przeglądu", "Data"),
        "checker": ("Kto", "Sprawdził"),
        "queen_seen": ("Matka widziana",),
        "eggs": ("Jaja", "Jajeczka"),
        "larvae": ("Larwy", "Czerw otwarty"),
        "sealed": ("Czerw kryty", "Czerw zasklepiony"),
        "pattern_pct": ("Zwartość czerwiu", "Zwartość %"),
        "left_on": ("Data", "Data ubycia", "Data utraty"),
        "reason": ("Powód", "Przyczyna"),
        "files": ("inseminacje", "przeglądy", "straty"),
        "yes_no": ("tak", "nie"),
        "reasons": {
            "dead": "padła",
            "missing": "zaginęła",
            "sold": "sprzedana",
            "superseded": "cicha wymiana",
        },
    },
    "fr": {
        "queen_id": ("Reine", "N° reine", "Numéro de reine"),
        "line": ("Lignée", "Souche"),
        "emerged_on": ("Naissance", "Née le"),
        "inseminated_at": ("Inséminée le", "Date d'insémination"),
        "operator": ("Opérateur", "Inséminateur", "Par"),
        "dose_ul": ("Dose", "Dose µl"),
        "attempts": ("Essais", "Tentatives"),
        "checked_on": ("Date", "Date de visite", "Visitée le"),
        "checker": ("Qui", "Contrôleur"),
        "queen_seen": ("Reine vue",),
        "eggs": ("Œufs", "Oeufs"),
        "larvae": ("Larves", "Couvain ouvert"),
        "sealed": ("Couvain operculé", "Operculé"),
        "pattern_pct": ("Couvain %", "Compacité"),
        "left_on": ("Date", "Date de perte"),
        "reason": ("Cause", "Motif", "Raison"),
        "files": ("inséminations", "visites", "pertes"),
        "yes_no": ("oui", "non"),
        "reasons": {
            "dead": "morte",
            "missing": "disparue",
            "sold": "vendue",
            "superseded": "supersédure",
        },
    },
    "es": {
        "queen_id": ("Reina", "Nº reina", "Número de reina"),
        "line": ("Línea", "Estirpe"),
        "emerged_on": ("Nacimiento", "Fecha de nacimiento"),
        "inseminated_at": ("Fecha de inseminación", "Inseminada"),
        "operator": ("Operador", "Inseminador", "Quién"),
        "dose_ul": ("Dosis", "Dosis µl"),
        "attempts": ("Intentos",),
        "checked_on": ("Fecha", "Fecha de revisión"),
        "checker": ("Quién", "Revisor"),
        "queen_seen": ("Reina vista",),
        "eggs": ("Huevos",),
        "larvae": ("Larvas", "Cría abierta"),
        "sealed": ("Cría operculada", "Operculada"),
        "pattern_pct": ("Patrón de cría", "Compacidad %"),
        "left_on": ("Fecha", "Fecha de baja"),
        "reason": ("Motivo", "Causa"),
        "files": ("inseminaciones", "revisiones", "bajas"),
        "yes_no": ("sí", "no"),
        "reasons": {
            "dead": "muerta",
            "missing": "desaparecida",
            "sold": "vendida",
            "superseded": "reemplazada",
        },
    },
    "it": {
        "queen_id": ("Regina", "N. regina", "Numero regina"),
        "line": ("Linea", "Ceppo"),
        "emerged_on": ("Nascita", "Nata il", "Sfarfallamento"),
        "inseminated_at": ("Inseminata il", "Data inseminazione"),
        "operator": ("Operatore", "Inseminatore", "Chi"),
        "dose_ul": ("Dose", "Dose µl"),
        "attempts": ("Tentativi",),
        "checked_on": ("Data", "Data controllo", "Data visita"),
        "checker": ("Chi", "Controllore"),
        "queen_seen": ("Regina vista",),
        "eggs": ("Uova",),
        "larvae": ("Larve", "Covata aperta"),
        "sealed": ("Covata opercolata", "Opercolata"),
        "pattern_pct": ("Compattezza", "Compattezza %"),
        "left_on": ("Data", "Data perdita"),
        "reason": ("Motivo", "Causa"),
        "files": ("inseminazioni", "controlli", "perdite"),
        "yes_no": ("sì", "no"),
        "reasons": {
            "dead": "morta",
            "missing": "scomparsa",
            "sold": "venduta",
            "superseded": "sostituita",
        },
    },
    "cs": {
        "queen_id": ("Matka", "Číslo matky", "Matka č."),
        "line": ("Linie", "Původ"),
        "emerged_on": ("Vylíhnutí", "Datum líhnutí"),
        "inseminated_at": ("Datum inseminace", "Inseminována"),
        "operator": ("Inseminátor", "Provedl", "Kdo"),
        "dose_ul": ("Dávka", "Dávka µl"),
        "attempts": ("Pokusy", "Počet pokusů"),
        "checked_on": ("Datum", "Datum prohlídky", "Datum kontroly"),
        "checker": ("Kdo", "Kontroloval"),
        "queen_seen": ("Matka viděna",),
        "eggs": ("Vajíčka",),
        "larvae": ("Larvy", "Otevřený plod"),
        "sealed": ("Zavíčkovaný plod", "Zavíčkovaný"),
        "pattern_pct": ("Ucelenost plodu", "Plodování %"),
        "left_on": ("Datum", "Datum úhynu"),
        "reason": ("Důvod", "Příčina"),
        "files": ("inseminace", "prohlídky", "ztráty"),
        "yes_no": ("ano", "ne"),
        "reasons": {
            "dead": "uhynula",
            "missing": "zmizela",
            "sold": "prodána",
            "superseded": "tichá výměna",
        },
    },
}
TABLES = {
    "inseminations": (
        "queen_id",
        "line",
        "emerged_on",
        "inseminated_at",
        "operator",
        "dose_ul",
        "attempts",
    ),
    "checks": (
        "queen_id",
        "checked_on",
        "checker",
        "queen_seen",
        "eggs",
        "larvae",
        "sealed",
        "pattern_pct",
    ),
    "exits": ("queen_id", "left_on", "reason"),
}
YES_NO = ("queen_seen", "eggs", "larvae", "sealed")
DAYS = ("emerged_on", "inseminated_at", "checked_on", "left_on")
PEOPLE = ("Ada Brun", "Milo Katz")


@dataclass
class Layout:
    """How a station writes."""

    language: str
    order: str
    """iso, dmy, mdy or ymd."""
    mark: str
    """The sign between the parts of a day."""
    short_year: bool
    comma: bool
    units: bool
    """Units beside the numbers in the cells."""
    spelling: str
    """How checks and exits write a queen: as, lower, blank or zeros."""
    title: bool
    total: bool
    flat: bool
    """Exits stand in the queens' sheet."""
    separator: str
    headings: dict[str, str] = field(default_factory=dict)


@dataclass
class Written:
    """The truth of a station: table -> rows of our columns."""

    tables: dict[str, list[dict[str, str]]]
    layout: Layout


def layout(rng: random.Random) -> Layout:
    language = rng.choice(sorted(HEADINGS))
    order = rng.choice(
        ["iso", "dmy", "mdy", "ymd"] if language == "en" else ["iso", "dmy", "ymd"]
    )
    comma = language != "en" and rng.random() < 0.6
    chosen = Layout(
        language,
        order,
        "-"
        if order == "iso"
        else rng.choice("./")
        if order == "ymd"
        else "/"
        if order == "mdy"
        else rng.choice("./-"),
        order in ("dmy", "mdy") and rng.random() < 0.3,
        comma,
        rng.random() < 0.4,
        rng.choice(["as", "as", "lower", "blank", "zeros"]),
        rng.random() < 0.3,
        rng.random() < 0.4,
        rng.random() < 0.3,
        ";" if comma else rng.choice(",;\t"),
    )
    told = HEADINGS[language]
    chosen.headings = {
        name: rng.choice(choices)
        for name, choices in told.items()
        if isinstance(choices, tuple)
    }
    return chosen


def day_text(day: dt.date, chosen: Layout) -> str:
    year = f"{day.year % 100:02}" if chosen.short_year else str(day.year)
    if chosen.order == "iso":
        return day.isoformat()
    if chosen.order == "ymd":
        return f"{day.year}{chosen.mark}{day.month}{chosen.mark}{day.day}"
    first, second = (
        (day.day, day.month) if chosen.order == "dmy" else (day.month, day.day)
    )
    return f"{first}{chosen.mark}{second}{chosen.mark}{year}"


def _label(number: int, spelling: str) -> str:
    return {
        "as": f"K-{number}",
        "lower": f"k{number}",
        "blank": f"K {number}",
        "zeros": f"K-{number:03}",
    }[spelling]


def truth(rng: random.Random, queens: int = 24) -> dict[str, list[dict[str, str]]]:
    tables: dict[str, list[dict[str, str]]] = {name: [] for name in TABLES}
    for number in range(1, queens + 1):
        queen = f"K-{number}"
        done = dt.date(2025, 5, 12) + dt.timedelta(days=rng.randrange(45))
        tables["inseminations"].append(
            {
                "queen_id": queen,
                "line": rng.choice(["Birke", "Olm", "Ash 4"]),
                "emerged_on": str(done - dt.timedelta(days=rng.randrange(6, 12))),
                "inseminated_at": str(done),
                "operator": rng.choice(PEOPLE),
                "dose_ul": rng.choice(["8", "7.5", "8.5", "9"]),
                "attempts": rng.choice("123"),
            }
        )
        for gap in (8, 15, 40):
            if rng.random() < 0.8:
                eggs = rng.choice(["yes", "no"])
                tables["checks"].append(
                    {
                        "queen_id": queen,
                        "checked_on": str(
                            done + dt.timedelta(days=gap + rng.randrange(3))
                        ),
                        "checker": rng.choice(PEOPLE),
                        "queen_seen": rng.choice(["yes", "no", ""]),
                        "eggs": eggs,
                        "larvae": rng.choice(["yes", "no"]),
                        "sealed": rng.choice(["yes", "no"]),
                        "pattern_pct": str(rng.randrange(40, 100)) if gap == 40 else "",
                    }
                )
        if rng.random() < 0.4:
            tables["exits"].append(
                {
                    "queen_id": queen,
                    "left_on": str(done + dt.timedelta(days=rng.randrange(10, 70))),
                    "reason": rng.choice(["dead", "missing", "sold", "superseded"]),
                }
            )
    return tables


def cell(name: str, value: str, chosen: Layout) -> str:
    """One value as the station writes it."""
    if not value:
        return ""
    told = HEADINGS[chosen.language]
    if name in DAYS:
        return day_text(dt.date.fromisoformat(value), chosen)
    if name in YES_NO:
        return told["yes_no"][0 if value == "yes" else 1]
    if name == "reason":
        return told["reasons"][value]
    unit = {"dose_ul": " µl", "pattern_pct": " %"}.get(name, "") if chosen.units else ""
    text = value.replace(".", ",") if chosen.comma and name == "dose_ul" else value
    return text + unit


def write(records: Path, seed: int) -> Written:
    """Write a station's files into a folder, and give the truth."""
    rng = random.Random(seed)
    chosen, tables = layout(rng), truth(rng)
    records.mkdir(parents=True, exist_ok=True)
    names = HEADINGS[chosen.language]["files"]
    exits = {row["queen_id"]: row for row in tables["exits"]}
    for table, file in zip(TABLES, names, strict=True):
        columns = list(TABLES[table])
        if chosen.flat and table == "exits":
            continue
        heads = [chosen.headings[name] for name in columns]
        lines = [[cell(n, row[n], chosen) for n in columns] for row in tables[table]]
        if table != "inseminations":
            for line, row in zip(lines, tables[table], strict=True):
                line[0] = _label(int(row["queen_id"][2:]), chosen.spelling)
        if chosen.flat and table == "inseminations":
            # a heading such as "Date" alone would say nothing of what it is the day of
            heads += [
                HEADINGS[chosen.language]["left_on"][
                    1 if chosen.language != "en" else 0
                ],
                chosen.headings["reason"],
            ]
            for line, row in zip(lines, tables[table], strict=True):
                gone = exits.get(row["queen_id"], {})
                line += [
                    cell(n, gone.get(n, ""), chosen) for n in ("left_on", "reason")
                ]
        _write(records / f"{file}.csv", chosen, heads, lines, table)
    return Written(tables, chosen)


def _write(path: Path, chosen: Layout, heads, lines, table) -> None:
    out = [[f"Station 2025 {table}"], []] if chosen.title else []
    out += [heads, *lines]
    if chosen.total:
        out += [
            [],
            [
                {
                    "en": "Total",
                    "de": "Summe",
                    "pl": "Razem",
                    "fr": "Total",
                    "es": "Total",
                    "it": "Totale",
                    "cs": "Celkem",
                }[chosen.language],
                str(len(lines)),
            ],
        ]
    text = "\n".join(chosen.separator.join(row) for row in out) + "\n"
    path.write_text(text, encoding="utf-8", newline="")
