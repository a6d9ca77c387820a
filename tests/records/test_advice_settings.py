"""What `check` suggests: written into `station.toml` it is accepted, and nothing is left to say.

The suggestions are put in as a person would: into the section that is there, in the place
of a line that is there. That the result is TOML is held by tomlkit, an independent reader.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import MutableMapping

import pytest
import tomlkit
import xlsxwriter
from queen_outcomes.base.console import Console
from queen_outcomes.base.store import Store
from queen_outcomes.commands.check import check_records
from queen_outcomes.facts.settings import load
from queen_outcomes.records.staging import stage_records

DAYS = range(1, 9)
BENCH = "queen_id,inseminated_at,operator,dose_ul\n" + "".join(
    f"Q-{n},2025-06-0{n},Ada Brun,8\n" for n in DAYS
)
LOOKS = "queen_id,checked_on,eggs\n" + "".join(
    f"Q-{n},2025-06-{20 + n},yes\n" for n in DAYS
)
START = 'name = "Test"\nas_of = 2025-12-31\n'


def write(station, files, settings=""):
    records = station / "records"
    records.mkdir(exist_ok=True)
    given = {"inseminations.csv": BENCH, "checks.csv": LOOKS} | files
    for name, text in given.items():
        if text is not None:
            (records / name).write_text(text, "utf-8")
    (station / "station.toml").write_text(START + settings, "utf-8")


def looked_at(station):
    return check_records(station, Console(quiet=True))


def advice(checked, kind):
    return [piece for piece in checked.found["advice"] if piece["kind"] == kind]


def paste(station, setting):
    """Put a suggestion where it belongs."""
    path = station / "station.toml"
    document = tomlkit.parse(path.read_text("utf-8"))
    found = tomlkit.parse(setting)
    into = re.match(r"# in \[\[read\]\] no\. (\d+) ", setting)
    if into:
        merge(document["read"][int(into[1]) - 1]["columns"], found)
    else:
        for rule in found.pop("read", []):
            document.setdefault("read", tomlkit.aot()).append(rule)
        merge(document, found)
    path.write_text(tomlkit.dumps(document), "utf-8")


def merge(into, found):
    for name, value in found.items():
        inner = into.get(name)
        if isinstance(inner, MutableMapping) and isinstance(value, MutableMapping):
            merge(inner, value)
        elif isinstance(inner, list) and isinstance(value, list):
            inner.extend(one for one in value if one not in inner)
        else:
            into[name] = value


def rows(head, line, numbers=DAYS):
    return f"{head}\n" + "".join(line.format(n=n, m=n + 12) + "\n" for n in numbers)


LOOK = "queen_id,checked_on,eggs"
TICKS = rows(LOOK, "Q-{n},2025-06-2{n},x", range(1, 5)) + "Q-5,2025-06-25,\n"
SPELLED = {
    "inseminations.csv": rows(
        "queen_id,inseminated_at,operator,semen_batch", "Q-{n},2025-06-0{n},Ada Brun,s1"
    )
    + "Q-9,2025-06-09,A. Brun,s1\nQ-10,2025-06-10,Bo Lind,s1\n"
    + "Q-11,2025-06-11,bo lind.,s1\nQ-12,2025-06-12,do.,s1\n",
    "checks.csv": rows("queen_id,colony_id,checked_on,eggs", "q 0{n},,2025-06-2{n},yes")
    + rows("", ",n{n},2025-07-0{n},yes").lstrip(),
    "placements.csv": rows("queen_id,colony_id,placed_on", "Q-{n},N {n},2025-06-0{n}"),
    "semen.csv": "semen_batch,collected_at\nS-1,2025-06-01\n",
    "queens.csv": rows("queen_id,line,graft_batch", "Q-{n},Line 7,G 7")
    + "Q-9,line7,g7\nQ-10,LINE-07,G 7\n",
    "to do.txt.bak": "buy sugar",
    "b.pdf": "y",
}
CELLS = {
    "inseminations.csv": rows(
        "queen_id;inseminated_at;dose_ul;minutes", "Q-{n};2025-06-0{n};8,5;5"
    )
    + "Q-9;2025-06-09;8,5;unknown\n",
    "checks a.csv": rows(LOOK, "Q-{n},6/{m}/2025,ja"),
    "checks b.csv": rows(LOOK, "Q-{n},{m}.9.,yes"),
    "checks c.csv": rows(LOOK, "Q-{n},{n}/7/2025,yes", [1, 2, 3, 4]),
    "checks d.csv": rows("queen_id,checked_on,pattern_pct", "Q-{n},2025-08-0{n},0.{n}"),
    "checks e.csv": rows("queen_id,checked_on,pattern_pct", "Q-{n},2025-09-0{n},80")
    + "Q-1,2025-10-01,dunno\nQ-2,2025-10-01,none\n",
    "exits.csv": rows("queen_id,left_on,reason", "Q-{n},2025-11-0{n},verkauft"),
    "checks.csv": None,
}
YEARS = {
    **{
        f"inseminations {y}.csv": rows(
            "queen_id,inseminated_at,emerged_on", f"{{n}},{y}-06-1{{n}},{y}-06-0{{n}}"
        )
        for y in (2024, 2025)
    },
    **{f"checks {y}.csv": rows(LOOK, f"{{n}},{y}-07-0{{n}},yes") for y in (2024, 2025)},
    "inseminations.csv": None,
    "checks.csv": None,
}
ASKED = {
    "inseminations.csv": rows("queen_id,inseminated_at", "Q-{n},2025-06-0{n} 10:00"),
    "checks.csv": TICKS,
    "book.csv": TICKS.replace(LOOK, "Q,Day,E").replace("06-2", "07-2"),
    "exits.csv": rows("queen_id,left_on,reason", "Q-{n},2025-11-0{n},sold"),
    "exits (2).csv": rows("queen_id,left_on,reason", "Q-{n},2025-11-0{n},sold"),
    "co2.csv": rows("queen_id,given_at", "Q-{n},2025-06-0{n} 18:00"),
}
STATIONS = {
    "spelled": (
        SPELLED,
        '[records]\nignore = ["b.pdf"]\nfold = ["colony_id"]\n'
        'same.operator = { "Ada Brun" = ["AB"] }\n',
        ["ditto", *["labels_alike"] * 2, "not_read", "people", "spelled_otherwise"],
    ),
    "cells": (
        CELLS,
        '[dates]\norder = "dmy"\n[files."checks a.csv"]\ndates = "dmy"\n'
        '[files."checks e.csv"]\nempty = ["none"]\n'
        '[words.reason]\nsold = ["gone to market"]\n',
        ["date_order", "shares", *["unread_cells"] * 7],
    ),
    "years": (YEARS, "", ["numbers_start_again"]),
    "asked": (
        ASKED,
        '[[read]]\nfrom = "book.csv"\ntable = "checks"\n[read.columns]\n'
        'queen_id = "Q"\nchecked_on = "Day"\neggs = "E"\n',
        ["blanks", "blanks", "co2", "copy"],
    ),
}
"""Files and settings, and the kinds of advice with a setting that `check` must give."""


@pytest.mark.slow
@pytest.mark.parametrize("answer", [0, -1], ids=["first answers", "last answers"])
@pytest.mark.parametrize("name", STATIONS)
def test_what_is_suggested_is_accepted_and_leaves_nothing_to_say(
    tmp_path, name, answer
):
    files, settings, kinds = STATIONS[name]
    write(tmp_path, files, settings)
    before = looked_at(tmp_path)
    told = [
        p for p in before.found["advice"] if p["settings"] and p["weight"] != "look"
    ]
    assert sorted(piece["kind"] for piece in told) == kinds
    for piece in told:
        paste(tmp_path, piece["settings"][answer])
    after = looked_at(tmp_path)
    assert [p for p in after.found["advice"] if p["settings"]] == []
    assert not any(piece["fails"] for piece in after.found["advice"])
    assert after.code == 0


LOOKED = [dt.date(2025, 6, 1) + dt.timedelta(2 * n) for n in range(20)]
"""The days as they were typed, month first, into a spreadsheet that takes the day first."""


def turned_book(path):
    """Write what that spreadsheet keeps: real days up to the 12th, turned, and texts."""
    book = xlsxwriter.Workbook(path)
    sheet, form = book.add_worksheet(), book.add_format({"num_format": "dd/mm/yyyy"})
    sheet.write_row(0, 0, LOOK.split(","))
    for row, day in enumerate(LOOKED, start=1):
        sheet.write_row(row, 0, [f"Q-{1 + row % 8}", None, "yes"])
        if day.day <= 12:
            sheet.write_datetime(
                row, 1, day.replace(month=day.day, day=day.month), form
            )
        else:
            sheet.write(row, 1, f"{day.month}/{day.day}/{day.year}")
    book.close()


def days_read(station):
    with Store() as store:
        stage_records(store, station / "records", load(station))
        rows = store.rows("SELECT checked_on FROM staged_checks ORDER BY ref")
    return [day for (day,) in rows]


@pytest.mark.parametrize("settings", ["", '[files."checks.xlsx"]\ndates = "mdy"\n'])
def test_days_that_a_spreadsheet_turned_read_right_as_suggested(tmp_path, settings):
    write(tmp_path, {"checks.csv": None}, settings)
    turned_book(tmp_path / "records" / "checks.xlsx")
    assert days_read(tmp_path) != LOOKED
    pieces = [
        piece
        for piece in looked_at(tmp_path).found["advice"]
        if "spreadsheet of another country" in piece["says"]
    ]
    (piece,) = pieces
    assert piece["settings"][0].endswith('\ndates = "mixed:mdy"')
    paste(tmp_path, piece["settings"][0])
    assert days_read(tmp_path) == LOOKED
    assert [p for p in looked_at(tmp_path).found["advice"] if p["settings"]] == []


def test_where_the_real_days_are_right_that_can_be_said_once(tmp_path):
    write(tmp_path, {"checks.csv": None})
    turned_book(tmp_path / "records" / "checks.xlsx")
    (piece,) = advice(looked_at(tmp_path), "unread_cells")
    paste(tmp_path, piece["settings"][1])
    assert [p for p in looked_at(tmp_path).found["advice"] if p["settings"]] == []
    stands = [d.replace(month=d.day, day=d.month) if d.day <= 12 else d for d in LOOKED]
    assert days_read(tmp_path) == stands


def test_a_whole_page_in_a_cell_is_told_by_its_beginning(tmp_path):
    checks = rows(LOOK, "Q-{n},2025-06-2{n},yes") + f'Q-1,2025-07-01,"{"note " * 8000}"\n'
    write(tmp_path, {"checks.csv": checks})
    (piece,) = advice(looked_at(tmp_path), "unread_cells")
    assert '"note note ' in piece["says"]
    assert max(map(len, [piece["says"], *piece["settings"]])) < 700


def test_a_suggestion_alone_is_valid_toml_for_a_blank_station(tmp_path):
    checks = rows(LOOK, "q 0{n},2025-06-2{n},yes")
    write(tmp_path, {"checks.csv": checks})
    before = looked_at(tmp_path)
    (piece,) = advice(before, "spelled_otherwise")
    (setting,) = piece["settings"]
    assert before.code == 1
    assert setting == '[records]\nfold = ["queen_id"]'
    with (tmp_path / "station.toml").open("a", encoding="utf-8") as file:
        file.write(setting)
    assert load(tmp_path).reading.fold == ("queen_id",)
    assert looked_at(tmp_path).code == 0
