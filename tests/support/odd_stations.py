"""Small stations with many habits at once, and all that is seen, asked, written, read and advised.

Each sheet is one that a station might keep; together they raise nearly every kind of
question, many of them just so: a column less, a row less, and it would not be asked. What
came of them stands in `tests/records/kept/`, read through by hand; after a change that is
meant, `PYTHONPATH=tests/habits python tests/support/odd_stations.py` writes it anew, and the
difference is what changes for stations.
"""

from __future__ import annotations

import datetime as dt
import json
import sys
import tempfile
import tomllib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import xlsxwriter
from queen_outcomes.base.console import Console
from queen_outcomes.commands.check import check_records
from queen_outcomes.records.map.asked.questions import Question
from queen_outcomes.records.map.running import Run, begin
from queen_outcomes.records.map.seen import feeds
from queen_outcomes.records.map.seen.sheet import Sheet
from reading import accepted

KEPT = Path(__file__).parents[1] / "records" / "kept"
AS_OF = dt.date(2025, 12, 31)
LEFT_OPEN = ("word", "day", "exposures", "which", "colours", "percent")
"""Kinds of questions that nobody answers here, so that their cells stay unread."""
ANSWERS = ("dmy", "swapped", "no record", "graft_batch")
"""Of questions without a default these are answered, else what is offered first."""


def table(*lines: str) -> str:
    return "\n".join(lines) + "\n"


ENGLISH = {
    # two persons in three spellings, a second dose in a row of its own, a void row
    "bench.csv": table(
        "Insemination 2025,,,,,,,,",
        "Queen,Date,By,Dose,Line,Emerged,Batch,CO2,Remarks",
        "Q-01,12/5/2025,Ada Brun,8,Birch,3/5/2025,S1,4,",
        "Q-02,12/5/2025,A. Brun,8,Birch,3/5/2025,S1,4,calm",
        "Q-03,13/5/2025,ada brun,8.5,Olm,3/5/2025,S1,4,superseded in July",
        "2nd,15/5/2025,Milo Katz,4,,,S2,,",
        "Q-04,13/5/2025,Milo Katz,9,Olm,4/5/2025,S2,3,sold 12/7",
        "Q-05,14/5/2025,Milo Katz,9,Olm,4/5/2025,S2,3,sold 14/7",
        "Q-06,14/5/2025,Milo Katz,,Olm,4/5/2025,S2,3,Void: wrong row",
        "Q-07,14/5/2025,MK,8,birch,4/5/2025,S2,3,",
        "Total,,,55,,,,,",
    ),
    "checks.csv": table(
        "Queen,Hive,Date,Who,Q seen,Eggs,Larvae,Brood pattern,Found",
        "q 1,H1,21/5/2025,Ada Brun,x,x,,0.8,ELV 4",
        "q 2,H2,21/5/2025,Ada Brun,x,,,0.9,EL",
        "q 3,H3,22/5/2025,Ada Brun,,x,x,1,LV 3",
        "q 4,H4,22/5/2025,Milo Katz,x,x,,0.7,E",
        "q 5,H5,23/5/2025,Milo Katz,,x,x,0.5,ELV 5",
        "q 7,H7,23/5/2025,Milo Katz,x,,,0.6,V 2",
        "q 7,H7,,Milo Katz,x,,,0.6,zork",
    ),
    "gone.csv": table(
        "Queen,Gone on,What happened",
        "Q-01,1/7/2025,sold",
        "Q-02,2/7/2025,zapped",
        "Q-03,3/7/2025,superseded",
        '"Q-04, Q-05",4/7/2025,sold',
        '"Q-06, Q-07",4/7/2025,dead',
    ),
    "copy of checks.csv": table(
        "Queen,Hive,Date,Who,Q seen,Eggs,Larvae,Brood pattern,Found",
        "q 1,H1,21/5/2025,Ada Brun,x,x,,0.8,ELV 4",
        "q 2,H2,21/5/2025,Ada Brun,x,,,0.9,EL",
        "q 3,H3,22/5/2025,Ada Brun,,x,x,1,LV 3",
        "q 4,H4,22/5/2025,Milo Katz,x,x,,0.7,E",
    ),
    "shopping.csv": table("What,Price", "Sugar,4.50", "Frames,12.00"),
    "legend.csv": table("Sign,Meaning", "E,eggs", "L,larvae", "V,sealed brood", "zork,queen not seen"),
}
GERMAN = {
    "Besamung 2024.csv": table(
        "Nr.;Linie;besamt am;Besamer;Dosis µl;Spermacharge;geschlüpft",
        "1;Heide;14.5.;Wiebke;8,0;L1;4.5.",
        "2;Heide;14.5.;Wiebke;8,5;L1;4.5.",
        "3;Moor;16.5.;Arndt;8,0;L1;6.5.",
        "4;Moor;16.5.;Arndt;;L2;6.5.",
        "5;Moor;17.5.;Arndt;9,0;L2;",
    ),
    "Besamung 2025.csv": table(
        "Nr.;Linie;besamt am;Besamer;Dosis µl;Spermacharge;geschlüpft",
        "1;Heide;13.5.;Wiebke;8,0;L1;3.5.",
        "2;Heide;13.5.;Wiebke;8,5;L1;3.5.",
        "3;Moor;15.5.;W.;8,0;L2;5.5.",
        "6;Moor;15.5.;Arndt;7,5;L2;5.5.",
    ),
    "Kontrollen.csv": table(
        "Jahr;Nr.;Datum;Kö gesehen;Stifte;Brutbild;Bemerkung",
        "2024;1;20.5.;ja;ja;4;",
        ";2;20.5.;ja;nein;3;drohnenbrütig",
        ";3;24.5.;nein;ja;5;stiftet",
        ";4;24.5.;ja;ja;2;",
        "2025;1;20.5.;ja;nein;4;",
        ";2;20.5.;ja;ja;5;",
        ";3;25.5.;-;?;1;tot 27.5.",
    ),
    "Zeichen.csv": table(
        "Nr.;Zeichen;Volk;zugesetzt am",
        "1;rot 12;Volk 3;14.5.2025",
        "2;rot 13;Volk 4;14.5.2025",
        "3;ohne;5;15.5.2025",
        "6;rot 15;6;15.5.2025",
    ),
    "Sperma.csv": table(
        "Charge;gewonnen am;Drohnen Anzahl;Menge µl;Temperatur",
        "L1;12.5.2025;160;60;59",
        "L2;14.5.2025;120?;55;61",
        "L 3;15.5.2025;90;40;60",
    ),
}
WIDE = {
    # days over the columns of looks, one of them out of order; a colour's words beside the list
    "round.csv": table(
        "Queen,Hive,2025-05-20,2025-05-28,2025-05-02,2025-06-10,Mark",
        "D1,17,eggs,eggs larvae,sealed,\"all stages, 85 %\",red",
        "D2,4,no eggs,eggs,sealed,\"all stages, 80 %\",blue",
        "D3,23,eggs,eggs,eggs,\"eggs, 60 %, queen seen\",",
        "D4,9,Q eggs,,zork,\"all stages, 70 %, queen seen\",?",
        "D5,31,Q,eggs larvae,Q,\"eggs, queen seen wet\",none",
        "D6,2,Q,eggs,Q,\"eggs, 90 %, queen seen\",red",
        "D7,12,Q,eggs,Q,\"all stages, 65 %\",red",
    ),
    "inseminations.csv": table(
        "Queen,1st insemination,µl,2nd insemination,µl,Instrument,Lot,Tray,Zorb,Anaesthesia",
        "D1,2025-05-10,8,2025-05-12,4,K1,1,17,Ada,4:30",
        "D2,2025-05-10,8,,,K1,1,4,Eve,4:00",
        "D3,2025-05-10,8,2025-05-12,4,K1,1,23,Ada,3:30",
        "D4,2025-05-11,8,,,K2,2,9,Eve,4:30",
        "D5,2025-05-11,8,2025-05-13,4,K2,2,31,Ada,5:00",
        "D6,2025-05-11,8,,,K2,2,2,Eve,4:30",
        "D7,2025-05-11,8,,,K2,2,12,Ada,4:30",
    ),
    "co2.csv": table(
        "Queen,Date,Minutes",
        "D1,2025-05-09,4",
        "D2,2025-05-09,4",
        "D3,2025-05-09,4",
        "D4,2025-05-10,4",
        "D5,2025-05-10,4",
    ),
    "weights.csv": table("Hive,Day,kg", "17,1,41.2", "4,1,38.8", "23,2,40.1"),
    "form.csv": table("Queen,Date,Eggs,Larvae"),
}
DIARY = {
    "diary.csv": table(
        "Diary of 2025,,,,",
        "Day,Happening,Queen,Value,Who",
        "2025-05-10,insemination,A1,8 ul,Ada",
        ",insemination,A2,8 ul,Ada",
        ",insemination,A3,9 ul,Eve",
        ",introduction,A1,nuc 1,",
        ",introduction,A2,nuc 2,",
        "2025-05-20,visit,A1,eggs,Eve",
        ",visit,A2,eggs and larvae,Eve",
        ",visit,A3,no brood,Ada",
        "2025-05-27,visit,A1,sealed,Ada",
        ",visit,A2,sealed,Ada",
        "2025-06-20,gone,A1,sold,",
        ",gone,A2,dead,",
        ",treated,A3,strips,",
        ",treated,A1,strips,",
        ",,A3,,rain",
        "total: 3,,,,",
    ),
    "two doses.csv": table(
        "Queen,Inseminated,Dose,Who",
        "B1,2/6/2025+4/6/2025,5+4,Ada",
        "B2,2/6/2025+4/6/2025,5+4,Ada",
        "B3,2/6/2025,8,Eve",
        "B4,13/6/2025,8,Eve",
        "B5,2025-06-14,8,Eve",
    ),
    "cards.csv": table(
        "Queen,Looked,E,L,S,Temper",
        "B1,16/6/2025,x,,,calm",
        ",18/6/2025,x,x,,calm",
        ",25/6/2025,x,x,x,calm",
        "B2,16/6/2025,x,,,hot",
        ",18/6/2025,x,x,,calm",
        "B3,18/6/2025,,,,calm",
        ",25/6/2025,x,,,calm",
    ),
    "sales.csv": table("Queen,Date,Customer,Price", "B1,1/8/2025,Olm,40", "B2,2/8/2025,Heath,40"),
    "lab.csv": table(
        "Queen,Dissected,Sperm (mill.),Viability %",
        "B3,2025-08-01,4.5,0.85",
        "B4,2025-08-01,3.9,0.9",
        "B5,2025-08-02,5.1,1",
    ),
}
YEARS = {
    "queens 24-25.csv": table(
        "Queen,Emerged,Inseminated,Dose,Checked,Eggs,Left,Why",
        "7,20 Oct,31 Oct,8,10 Nov,yes,,",
        "8,21 Oct,2 Nov,8,12 Nov,yes,3 Feb,dead",
        "9,20 Nov,1 Dec,8,12 Dec,no,7 Jan,missing",
        "10,21 Dec,2 Jan,8,14 Jan,yes,,",
        "11,22 Dec,3 Jan,8,15 Jan,yes,,",
    ),
    "spring.csv": table(
        "Day of May 2025,,,",
        "Queen,Day,Eggs,Queen seen",
        "7,3,yes,yes",
        "8,3,no,yes",
        "10,17,yes,no",
        "11,29,,",
    ),
    "hives.csv": table(
        "Queen,Hive,Introduced,Removed",
        "7,hive 3,2024-11-02,",
        "8,hive 4,2024-11-04,2025-02-03",
        "9,hive 5,2024-12-02,",
        "10,6,2025-01-04,",
        "11,7,2025-01-05,",
    ),
    "hive looks.csv": table(
        "Hive,Date,Eggs,Drone brood",
        "3,2024-11-20,yes,none",
        "4,2024-11-20,yes,few",
        "5,2024-12-20,no,-",
        "6,2025-01-20,yes,none",
        "7,2025-01-20,yes,many",
    ),
}
DUTCH = {
    # letters for the stages of brood, weeks over columns, a fact in the title, days of remarks
    "serie 1.csv": table(
        "Serie 1 / 2025,,,,",
        "overgelarfd 6.5. - uitgelopen 18.5. - moeder DE 17,,,,",
        ",,,,",
        "Moer,geïnsemineerd,dosis (µl),duur CO2,Opmerkingen",
        "E-01-25,26.5.2025,8,4:30,verkocht 9.7.",
        "E-02-25,26.5.2025,8,5:00,12.7. dood",
        "E-03-25,26.5.2025,9,4:00,dood 20.7.",
        "E-04-25,27.5.2025,9,4:30,rustig",
        'E-05-25,27.5.2025,8,4:30,"verkocht, 10.7. aan Ada"',
        "E-06-25,27.5.2025,8,,",
    ),
    "serie 2.csv": table(
        "Serie 2 / 2025,,,,",
        "overgelarfd 16.5. - uitgelopen 28.5. - moeder DE 27,,,,",
        ",,,,",
        "Moer,geïnsemineerd,dosis (µl),duur CO2,Opmerkingen",
        "E-07-25,6.6.2025,8,4:30,",
        "E-08-25,6.6.2025,8,4:30,dood 30.7.",
    ),
    "controles.csv": table(
        "moer,datum controle,e,l,g,darrenbroed",
        "1,9.6.2025,+,-,-,weinig",
        "2,9.6.2025,+,+,-,geen",
        "3,10.6.2025,-,+,+,veel",
        "4,10.6.2025,+,+,+,geen",
        "5,11.6.2025,+,-,?,geen",
        "6,11.6.2025,-,-,-,geen",
        "7,19.6.2025,+,-,-,geen",
    ),
    "weken.csv": table(
        "moer,Week 26,Week 27,Week 29",
        "1,eitjes,eitjes larven,broed",
        "2,eitjes,,broed",
        "3,larven,eitjes,",
        "4,,larven,broed",
    ),
    "larven.csv": table(
        "moer,overlarfdatum,lijn",
        "E-01-25,6.5.2025,Berk",
        "E-02-25,6.5.2025,Berk",
        "E-03-25,6.5.2025,Olm",
        "E-04-25,7.5.2025,Olm",
    ),
    "geboren.csv": table(
        "moer,geboren,lijn",
        "E-05-25,14.5.2025,Berk",
        "E-06-25,14.5.2025,Berk",
    ),
}
SHORT = {
    # signs that a legend explains; hives with and without their word; a load that is no number
    "list.csv": table(
        "No,Mother,Done on,µl,Semen,Emerged,By",
        "1,M1,2025-05-20,8,A,2025-05-04,AB",
        "2,M1,2025-05-20,8,A,2025-05-04,AB",
        "4,M1,2025-05-20,8,A,2025-05-04,EK",
        "5,M2,2025-05-21,8,B,2025-05-05,EK",
        "7,M2,2025-05-21,8,B,2025-05-05,AB",
        "8,M2,2025-05-21,8,B,2025-05-05,AB",
    ),
    "looks.csv": table(
        "No,Day,Seen,Score,Checked by,Note",
        "1,2025-06-01,EL,4/5,AB,ok",
        "2,2025-06-01,E,3/5,AB,gone 3/7",
        "4,2025-06-01,ELS,5/5,EK,dead 4/7",
        "5,2025-06-02,LS,2/5,EK,sold 5/7 to Olm",
        "7,2025-06-02,zk,1/5,EK,",
        "8,2025-06-02,ES q,4/5,AB,",
        "1,2025-06-09,ELS,4/5,AB,",
        "2,2025-06-09,zk,,AB,",
    ),
    "moves.csv": table(
        "No,Hive,Put in,Taken out",
        "1,hive 1,2025-05-21,",
        "2,hive 2,2025-05-21,2025-07-03",
        "4,hive 30,2025-05-21,",
        "5,hive 31,2025-05-22,",
    ),
    "hives.csv": table(
        "Hive,Day,Eggs,Drone brood",
        "1,2025-06-20,yes,none",
        "2,2025-06-20,no,few",
        "30,2025-06-20,yes,-",
        "30,2025-06-27,yes,none",
    ),
    "signs.csv": table(
        "signs,,",
        "E,eggs,",
        "L = larvae,S = sealed brood; q = queen seen,",
        "zk,\"nobody looked, it rained\",",
    ),
    "loads.csv": table(
        "Load,Collected,Drones,µl,Storage,Moved %",
        "A,2025-05-19,120,60,61 F,80 %",
        "B,2025-05-20,\"130\",55,60,0.85",
        "C,2025-05-20,90,40,62,0.9",
    ),
}


def _garbage(path: Path) -> None:
    path.write_bytes(b"PK\x03\x04 no workbook")


LEFT = {
    # what is no record, or may be one: labels, days, texts like days, names of tables
    "inseminations.csv": table(
        "Queen,Inseminated,Dose,Batch,Drone line,Graft",
        *(f"S-{n},2025-05-{9 + n % 3:02},8,{1 + n % 2},Heath,{1 + n // 4}" for n in range(1, 9)),
    ),
    "labels.csv": table("Zork,Plonk", "S-1,a", "S-2,b", "x,c"),
    "one label.csv": table("Zork,Plonk", "S-1,a", "x,c"),
    "one day.csv": table("Zork,Plonk", "2025-05-10,a", "x,c"),
    "like days.csv": table("Zork,Plonk", "Mo 5/6,a", "Di 6/6,b", "Mi 7/6,c"),
    "less like days.csv": table("Zork,Plonk", "Mo 5/6,a", "Di 6/6,b", "nothing,c"),
    "broken.xlsx": _garbage,
    "photo.jpg": _garbage,
    "wide.csv": table(
        "Queen," + ",".join(f"2025-{5 + n // 28:02}-{1 + n % 28:02}" for n in range(64)),
        *(f"D{n}" + ",eggs" * 64 for n in (1, 2)),
    ),
    # so many rows of a queen as exits may have, and one more
    "gone.csv": table("Queen,Left,Why", *(f"S-{1 + n % 5},2025-07-{10 + n},dead" for n in range(6))),
    "went.csv": table("Queen,Left,Why", *(f"S-{1 + n % 5},2025-08-{10 + n},sold" for n in range(7))),
    # a copy of nine rows in ten, and of fewer
    "list.csv": table("Queen,Date,Eggs", *(f"S-{1 + n % 8},2025-06-{10 + n},yes" for n in range(10))),
    "list (2).csv": table("Queen,Date,Eggs", *(f"S-{1 + n % 8},2025-06-{10 + n},yes" for n in range(1, 11))),
    "list new.csv": table("Queen,Date,Eggs", *(f"S-{1 + n % 8},2025-06-{10 + n},yes" for n in range(5, 15))),
    "untold.csv": table("Queen,Date", "S-1,2025-06-20", "S-2,2025-06-21"),
    "lots.csv": table("Lot,Collected,Drones,Stored at", "1,2025-05-08,120,15", "2,2025-05-09,110,16"),
    "moved.csv": table(
        "Queen,Hive,In,Out,Card",
        "s1,Nuc 1,10/5,1/7,A",
        "s2,nuc 2,11/5,,B",
        "s3,NUC 3,9/5,4/7,C",
        "s 4,nuc 4,10/5/25,,D",
    ),
}


def _book(path: Path) -> None:
    """Write a workbook with fills, a hidden row, one struck through, and days turned round."""
    with xlsxwriter.Workbook(path) as book:
        yellow, red = (book.add_format({"bg_color": fill}) for fill in ("#FFFF00", "#FF8080"))
        struck = book.add_format({"font_strikeout": True})
        day, share = (book.add_format({"num_format": f}) for f in ("dd/mm/yyyy", "0%"))
        sheet = book.add_worksheet("Queens 2025")
        sheet.merge_range(0, 2, 0, 4, "Insemination")
        sheet.write_row(0, 0, ["Queen", "Line"])
        sheet.write_row(1, 2, ["Date", "By", "µl"])
        for row in range(2, 12):
            form = {4: yellow, 5: yellow, 7: red, 9: struck}.get(row)
            sheet.write_row(row, 0, [f"K{row - 1}", "Birch" if row < 7 else "Olm"], form)
            sheet.write_datetime(row, 2, dt.datetime(2025, 5, 8 + row), day)  # noqa: DTZ001
            sheet.write_row(row, 3, ["Ada" if row % 3 else "Eve", 8 + row % 2 / 2], form)
        sheet.set_row(8, None, None, {"hidden": True})
        sheet.write_row(12, 0, ["yellow = marked", "red = weak"])
        looks = book.add_worksheet("Looks")
        looks.write_row(0, 0, ["Queen", "Date", "Eggs", "Pattern", "Sealed"])
        days = [dt.datetime(2025, 6, number) for number in (2, 5, 8, 11, 12, 13, 17, 20, 24, 28)]  # noqa: DTZ001
        for row, seen_on in enumerate(days, start=1):
            looks.write_row(row, 0, [f"K{row}", None, "yes" if row % 3 else "no"])
            if seen_on.day <= 12:
                looks.write_datetime(row, 1, seen_on.replace(month=seen_on.day, day=6), day)
            else:
                looks.write_string(row, 1, f"{seen_on.month}/{seen_on.day}/{seen_on.year}")
            looks.write_number(row, 3, 0.5 + row / 20, share)
            looks.write_row(row, 4, ["✓" if row > 4 else ""])


BOOK = {
    "book.xlsx": _book,
    "ends.csv": table("Queen;Out;Why", "K1;1.7.2025;verkauft", "K2;2.7.2025;tot", "K3;3.7.2025;"),
}
STATIONS: dict[str, dict[str, str | Callable[[Path], None]]] = {
    "english": ENGLISH,
    "german": GERMAN,
    "wide": WIDE,
    "diary": DIARY,
    "years": YEARS,
    "dutch": DUTCH,
    "short": SHORT,
    "book": BOOK,
    "left": LEFT,
}


@contextmanager
def laid(name: str, settings: str = "") -> Iterator[Path]:
    """Lay a station's records into a folder, beside its settings where there are any."""
    with tempfile.TemporaryDirectory() as place:
        station = Path(place)
        (station / "records").mkdir()
        for file, content in STATIONS[name].items():
            path = station / "records" / file
            if isinstance(content, str):
                path.write_text(content, "utf-8")
            else:
                content(path)
        if settings:
            (station / "station.toml").write_text(settings, "utf-8")
        yield station


@cache
def begun(name: str) -> Run:
    """Give a station as `map` begins with it."""
    with laid(name) as station:
        return begin(station)


@cache
def answered(name: str) -> str:
    """Give the settings with all defaults and the first answer to nearly every question."""
    with laid(name) as station:
        told = begin(station)
        told.accept()
        told.answer({q.id: _answer(q) for q in told.open if q.kind not in LEFT_OPEN})
        return told.settings()


def _answer(question: Question) -> str:
    return next((one for one in ANSWERS if one in question.options), next(iter(question.options)))


def seen(name: str) -> str:
    """Give what every sheet is taken for: its rows, its columns, and the tables that it feeds."""
    station = begun(name).proposal.station
    return _text(line for sheet in station.sheets for line in _sheet(sheet))


def _sheet(sheet: Sheet) -> Iterator[str]:
    yield f"== {sheet.source}: {sheet.language or '-'}, headings in {sheet.header}"
    for what in ("rows", "passed", "groups"):
        yield f"   {what}: {' '.join(str(row.line) for row in getattr(sheet, what))}"
    for column in sheet.columns:
        labels = " + ".join("/".join(sorted(one)) for one in column.heading.phrases)
        said = column.heading
        more = [f"unit {said.unit}"] * bool(said.unit) + [f"unknown {said.unknown}"] * bool(said.unknown)
        more += [f"slot {said.slot}"] * bool(said.slot)
        yield f'   "{column.name}": {"; ".join([labels, *more])}'
    for feed in feeds.find(sheet):
        yield f"   -> {feed.table}"
        for ours, use in feed.uses.items():
            yield f"      {ours}: {use.names} {use.worth:.3f} {use.unit}{use.value} {use.rival}".rstrip()
        for slot, roles in feed.slots.items():
            yield f"      [{slot}] {feed.days.get(slot, '')} {json.dumps(roles, ensure_ascii=False)}"


def asked(name: str) -> str:
    """Give every question with what speaks for its answers, and every word with its meaning."""
    run = begun(name)
    questions = [line for question in run.asked for line in _question(question)]
    words = [
        f"{word.id}: {word.count} in {len(word.sources)} sheets, {json.dumps(word.means)}"
        for word in run.proposal.words
    ]
    return _text([*questions, "", "== words", *words])


def _question(question: Question) -> Iterator[str]:
    yield f"== {question.id}"
    yield f"   {question.text}"
    yield from (f"   - {line}" for line in question.evidence)
    for answer, meaning in question.options.items():
        yield f"   {'*' if answer == question.default else ' '} {answer}: {meaning}"
    yield f"   of {', '.join(question.sources) or 'all'}"
    yield from (f"   with {one.id}" for one in question.members)


def written(name: str) -> str:
    """Give what the settings say, with every default taken and without any."""
    done = begun.__wrapped__(name)  # one of its own, since defaults are taken in it
    before = tomllib.loads(done.settings())
    done.accept()
    lines = [f"note: {note}" for note in done.written().notes]
    left = dict(_flat(before))
    for key, value in _flat(tomllib.loads(done.settings())):
        lines.append(f"{key} = {value}" + (" (by default alone)" if left.pop(key, None) != value else ""))
    lines += [f"{key} = {value} (before defaults alone)" for key, value in left.items()]
    return _text(lines)


def _flat(value: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Give the parts of the settings that `map` writes, a line each."""
    if isinstance(value, dict) and (value or not path):
        for key, inner in value.items():
            if path or key in ("records", "files", "words", "read", "dates"):
                yield from _flat(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list) and any(isinstance(one, dict) for one in value):
        for at, inner in enumerate(value):
            yield from _flat(inner, f"{path}[{at}]")
    else:
        yield path, json.dumps(value, ensure_ascii=False, default=str)


def _text(lines: Iterable[str]) -> str:
    return "".join(f"{line.rstrip()}\n" for line in lines)


def read(name: str) -> str:
    """Give the rows that count."""
    with laid(name, answered(name)) as station:
        tables = accepted(station, AS_OF)
    return _text(
        line
        for table_of, rows in tables.items()
        for line in (f"== {table_of}", *sorted(map(_row, rows)))
    )


def _row(row: dict) -> str:
    return "   " + "; ".join(f"{key} {value}" for key, value in row.items() if value not in (None, "") and key != "ref")


def advised(name: str) -> str:
    """Give what a check says of the records, what is set aside with its reason, and what counts."""
    with laid(name, answered(name)) as station:
        found = check_records(station, Console(quiet=True), as_of=AS_OF).found
    lines = [f"note: {note}" for note in found["notes"]]
    for piece in found["advice"]:
        lines.append(f"== {piece['weight']} {piece['kind']}{' fails' * piece['fails']}: {piece['says']}")
        lines.append(f"   {piece['count']} at {', '.join(piece['places'])} of {piece['table']}.{piece['column']}")
        lines.append(f"   {piece['do']}")
        lines += [f"   | {line}" for setting in piece["settings"] for line in setting.split("\n")]
    for kind in ("quarantine", "listed"):
        lines += [f"{kind}: {_row(row)}" for row in found[kind]]
    return _text([*lines, f"counted: {json.dumps(found['counted'])}", found["closing"]])


CHECKED = ("english", "german", "short", "left")
"""Stations that are checked too, which takes longest."""
LAYERS = {"seen": seen, "asked": asked, "written": written, "read": read, "advised": advised}


def kept(layer: str, name: str) -> str:
    """Give what is kept of a station."""
    return (KEPT / f"{name}.{layer}.txt").read_text("utf-8")


def main() -> None:
    """Write what `map` makes of all stations."""
    KEPT.mkdir(exist_ok=True)
    for layer, give in LAYERS.items():
        for name in CHECKED if layer == "advised" else STATIONS:
            (KEPT / f"{name}.{layer}.txt").write_text(give(name), "utf-8")


if __name__ == "__main__":
    sys.exit(main())
