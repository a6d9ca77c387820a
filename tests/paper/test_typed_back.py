"""A filled sheet, typed into a file under the headings that stand on it, is read as written."""

from __future__ import annotations

import csv
import datetime as dt
import shutil
from functools import reduce
from html.parser import HTMLParser
from pathlib import Path

import pytest
import xlsxwriter
from demo_station import run
from queen_outcomes.base.store import Store

pytestmark = pytest.mark.slow

INSEMINATIONS = """queen_id,inseminated_at,operator,tip,instrument,semen_batch,dose_ul,leak
Q1,2026-06-10 10:00,Ash,t1,b1,S1,8,none
Q2,2026-06-11 10:00,Ash,t1,b1,S1,8,some
Q10,2026-04-21 10:00,Elm,t2,b1,S1,8,none
"""
PLACEMENTS = """queen_id,colony_id,placed_on
Q1,N2,2026-06-10
Q2,N10,2026-06-11
"""
CHECKS = """queen_id,colony_id,checked_on,eggs,larvae
Q2,N10,2026-06-14,no,no
Q1,N2,2026-06-13,no,no
"""
STATIONS = {
    "en": "",
    "de": 'language = "de"\n[dates]\norder = "dmy"\n',
    "own": 'language = "fr"\n[columns.checks]\nsealed = "Capped"\n'
    '[words]\nno = ["x", "nope"]\n[words.queen_cells]\nnone = ["nada"]\n'
    '[columns.inseminations]\nleak = "Backflow"\n',
}


class Sheet(HTMLParser):
    """What stands on a printed page: each column's heading, the rows, the words to circle."""

    def __init__(self, page: str):
        super().__init__()
        self.heads: list[str] = []
        self.rows: list[list[str]] = []
        self._inside: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        if tag == "small":
            tag = "name" if ("class", "name") in attrs else "hint"
        if tag == "th":
            self.heads.append("")
        elif tag == "tr":
            self.rows.append([])
        elif tag == "td":
            self.rows[-1].append("")
        if tag not in ("col", "meta", "link", "br"):
            self._inside.append(tag)

    def handle_endtag(self, tag):
        self._inside.pop()

    def handle_data(self, data):
        inside = (
            self._inside[self._inside.index("table") :]
            if "table" in self._inside
            else []
        )
        if "th" in inside and "hint" not in inside:
            self.heads[-1] = data if "name" in inside else self.heads[-1] + data
        elif "td" in inside and "tbody" in inside:
            self.rows[-1][-1] += data + " " * ("span" in inside)

    @property
    def lines(self) -> list[dict[str, str]]:
        """The rows below the headings, by heading."""
        whole = [row for row in self.rows if len(row) == len(self.heads)]
        return [dict(zip(self.heads, row, strict=True)) for row in whole]


def printed(station: Path, name: str) -> Sheet:
    page = station / "build" / "sheets" / f"{name}.html"
    return Sheet(page.read_text(encoding="utf-8"))


def type_in(path: Path, heads: list[str], rows: list[dict[str, str]]) -> None:
    """Type rows into a CSV file or a workbook, each cell as a text."""
    lines = [heads, *([row.get(head, "") for head in heads] for row in rows)]
    if path.suffix == ".csv":
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(lines)
        return
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("checks")
        for at, line in enumerate(lines):
            for place, cell in enumerate(line):
                sheet.write_string(at, place, cell)


def heading(sheet: Sheet, name: str) -> str:
    (found,) = (
        head for head in sheet.heads if head.replace(" ", "_").casefold() == name
    )
    return found


@pytest.fixture(scope="module", params=STATIONS)
def printed_station(request, tmp_path_factory) -> tuple[str, Path]:
    """A small station with its sheets, and its habit's name."""
    folder = tmp_path_factory.mktemp(request.param) / "station"
    (folder / "records").mkdir(parents=True)
    settings = f'name = "Test"\nas_of = 2026-06-20\n{STATIONS[request.param]}'
    (folder / "station.toml").write_text(settings, encoding="utf-8")
    files = {"inseminations": INSEMINATIONS, "placements": PLACEMENTS, "checks": CHECKS}
    theirs = {"larvae": "Capped", "leak": "Backflow"} if request.param == "own" else {}
    for name, text in files.items():
        written = reduce(lambda told, pair: told.replace(*pair), theirs.items(), text)
        (folder / "records" / f"{name}.csv").write_text(written, encoding="utf-8")
    for words in (("build", folder), ("sheets", folder)):
        done = run(*words)
        assert done.returncode == 0, done.stderr
    return request.param, folder


@pytest.fixture
def station(printed_station, tmp_path) -> tuple[str, Path]:
    """A copy of it to write into."""
    habit, folder = printed_station
    return habit, shutil.copytree(folder, tmp_path / "station", symlinks=True)


def accepted(station: Path, table: str) -> list[dict]:
    """Read the records again as far as they are accepted."""
    done = run("build", station, "--until", "derive")
    assert done.returncode == 0, done.stderr
    files = station.glob("build/*/station.duckdb")
    file = max(files, key=lambda path: path.stat().st_mtime_ns)
    with Store(file, read_only=True) as store:
        assert store.rows("SELECT * FROM quarantine") == []
        return store.records(f"SELECT * FROM accepted_{table}")


def test_the_yard_list_typed_in_is_read_as_written(station):
    habit, folder = station
    sheet = printed(folder, "yard")
    yes, no = ("1" if habit == "own" else "x"), "0"
    day = "19.06.2026" if habit == "de" else "2026-06-19"
    sealed = heading(sheet, "capped" if habit == "own" else "sealed")
    none = "nada" if habit == "own" else "none"
    written = {
        heading(sheet, "checked_on"): day,
        heading(sheet, "checker"): "Ash",
        heading(sheet, "queen_seen"): no,
        heading(sheet, "eggs"): yes,
        sealed: yes,
        heading(sheet, "brood_given"): no,
        heading(sheet, "multiple_eggs"): yes,
        heading(sheet, "pattern_pct"): "85",
        heading(sheet, "drone_in_worker"): "few",
        heading(sheet, "queen_cells"): none,
        heading(sheet, "note"): "calm",
    }
    assert none in sheet.lines[0][heading(sheet, "queen_cells")].split()
    rows = [line | written for line in sheet.lines]
    assert [row[heading(sheet, "colony_id")] for row in rows] == ["N2", "N10", ""]
    for ending in ("csv", "xlsx"):
        file = folder / "records" / f"checks_19.{ending}"
        type_in(file, sheet.heads, rows)
        read = [row for row in accepted(folder, "checks") if row["checker"] == "Ash"]
        file.unlink()
        assert [(row["colony_id"], row["queen_id"]) for row in read] == [
            ("N2", "Q1"),
            ("N10", "Q2"),
            (None, "Q10"),
        ]
        expected = {
            "checked_on": dt.date(2026, 6, 19),
            **dict.fromkeys(("eggs", "sealed", "multiple_eggs"), True),
            **dict.fromkeys(("queen_seen", "brood_given"), False),
            **dict.fromkeys(("mark_seen", "larvae")),
            "pattern_pct": 85,
            "drone_in_worker": "few",
            "queen_cells": "none",
            "note": "calm",
        }
        for row in read:
            assert {name: row[name] for name in expected} == expected


def test_the_bench_sheet_typed_in_is_read_as_written(station):
    habit, folder = station
    sheet = printed(folder, "bench")
    day = "19.06.2026" if habit == "de" else "2026-06-19"
    written = {
        "queen_id": "Q3",
        "inseminated_at": f"{day} 10:30",
        "operator": "Elm",
        "instrument": "b2",
        "tip": "t9",
        "semen_batch": "S2",
        "dose_ul": "8",
        "leak": "most",
        "note": "calm",
    }
    assert len(sheet.heads) == len(written)  # what the records never fill is left out
    own = {"leak": "backflow"} if habit == "own" else {}
    row = {heading(sheet, own.get(name, name)): cell for name, cell in written.items()}
    type_in(folder / "records" / "inseminations_19.csv", sheet.heads, [row])
    (read,) = (
        row for row in accepted(folder, "inseminations") if row["queen_id"] == "Q3"
    )
    expected = written | {
        "inseminated_at": dt.datetime.fromisoformat("2026-06-19 10:30"),
        "dose_ul": 8,
    }
    assert {name: read[name] for name in expected} == expected
