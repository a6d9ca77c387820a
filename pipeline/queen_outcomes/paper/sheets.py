"""Sheets to write on: the bench's record of a day, and the yard's list of checks due."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.paper.printing import letterhead, set_html, set_pdf

FOLDER = "sheets"
BENCH_ROWS = 25
BENCH = {
    "queen_id": 1.2,
    "inseminated_at": 1.0,
    "dose_meant_ul": 0.8,
    "dose_ul": 0.8,
    "semen_batch": 1.0,
    "protocol": 1.0,
    "attempts": 0.7,
    "leak": 0.9,
    "minutes": 0.7,
    "note": 2.4,
}
"""Columns of the bench sheet, and how wide each is."""
EXPOSURES = {"CO2 first": 0.8, "CO2 second": 0.8}
BLANKS = (
    *("Seen", "Mark", "Eggs", "Larvae", "Sealed", "Pattern %", "Drone cells"),
    "Note",
)
CAUTIONS = (
    "CO2 displaces air: ventilate, shut the valve between queens, secure the cylinder, keep "
    "an alarm at breathing height. Glass tips break: eye shield, sharps box, no mouth "
    "suction. Stings can kill: an emergency plan within reach. Drugs in diluent, the gas and "
    "moving bees are matters of local codes and of those licensed. (Common practice.)"
)

Row = dict[str, Any]


def write(
    due: list[Row] | None, settings: Settings, as_of: dt.date, station: Path
) -> list[Path]:
    """Write the sheets as PDF and HTML into ``build/sheets``; give their paths.

    Parameters
    ----------
    due : list of dict or None
        Rows of ``due``, in the order of the list; None without a build: then only the
        bench sheet is made.
    settings : Settings
        Its own headings stand on the bench sheet.
    as_of : date
    station : Path
    """
    folder = station / "build" / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    made = [("bench", bench(settings, as_of))]
    if due is not None:
        made.append(("yard", yard(due, settings, as_of)))
    written = []
    for name, data in made:
        paper, page = folder / f"{name}.pdf", folder / f"{name}.html"
        paper.write_bytes(set_pdf(f"{name}.typ", data, as_of))
        html = set_html(f"{name}_sheet.html", {**data, "blanks": BLANKS})
        page.write_text(html, encoding="utf-8", newline="\n")
        written += [paper, page]
    return written


def bench(settings: Settings, as_of: dt.date) -> Row:
    """Give the blank record of a day at the bench, under the station's own headings."""
    theirs = settings.reading.columns.get("inseminations", {})
    heads, widths = [], []
    for name, width in BENCH.items():
        unit = TABLES["inseminations"].column(name).unit
        own = theirs.get(name, name.removesuffix("_ul").replace("_", " "))
        heads.append(own if not unit or name in theirs else f"{own} ({unit})")
        widths.append(width)
    heads[6:6], widths[6:6] = list(EXPOSURES), list(EXPOSURES.values())
    return {
        **letterhead(settings.name, as_of, "Bench sheet"),
        "columns": heads,
        "widths": widths,
        "rows": BENCH_ROWS,
        "cautions": CAUTIONS,
    }


def yard(listed: list[Row], settings: Settings, as_of: dt.date) -> Row:
    """Give the checks due, with room to write what is seen."""
    due = [row for row in listed if row["status"] == "due"]
    many = "one check" if len(due) == 1 else f"{len(due)} checks"
    return {
        **letterhead(settings.name, as_of, f"Yard list: {many} due"),
        "due": [due_cells(row) for row in due],
    }


def due_cells(row: Row) -> list[str]:
    """Give a check due as the cells of its line: where, whom, when, and what to look for."""
    keys = ("colony_id", "queen_id", "day", "on", "look_for")
    return [str(row[key] or "") for key in keys]
