"""`due`: the checks due and missed, as a table, CSV, or a calendar file.

The calendar (RFC 5545) has an all-day entry for each day in the yard, and the same bytes
always: the build's day stamps them.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import click

from queen_outcomes.base.console import Console
from queen_outcomes.base.outputs import refuse_kept_places, write_files
from queen_outcomes.base.text_layout import clean, csv_text
from queen_outcomes.commands.options import (
    FILE,
    csv_option,
    shared,
    station_argument,
    tell_files,
)
from queen_outcomes.paper.order import by_colony

DROPS = ("course_id", "settles", "day")
"""Columns that a narrow terminal does without, in this order."""
LONGEST = 75
"""Bytes of a line before it must be folded."""


@click.command()
@station_argument
@click.option("--ics", type=FILE, help="Write them as calendar entries.")
@csv_option("them")
@click.option(
    "--overdue",
    is_flag=True,
    help="In the calendar, leave checks on the days gone by that they were planned for, "
    "with those missed.",
)
@shared
@click.make_pass_decorator(Console, ensure=True)
def due(
    console: Console,
    station: Path,
    ics: Path | None,
    csv_file: Path | None,
    overdue: bool,
) -> None:
    """List the checks due, and those missed that a look can still make good."""
    from queen_outcomes.build.latest_build import DUE, open_latest

    refuse_kept_places(station, ics, csv_file)
    with open_latest(station, console) as last:
        rows = last.store.records(DUE)
        columns = list(last.store.columns("due"))
        files: dict[Path, str] = {}
        if ics:
            name = last.journal["settings"]["name"]
            files[ics] = calendar(rows, last.as_of, name, overdue=overdue)
        if csv_file:
            files[csv_file] = csv_text(columns, (row.values() for row in rows))
    if files:
        tell_files(console, write_files(files))
        return
    if console.json:
        console.emit_json(rows)
    elif rows:
        cells = [list(row.values()) for row in rows]
        console.emit_table(columns, cells, drops=DROPS)
    else:
        console.note("no check is due")


def calendar(
    rows: Iterable[Mapping[str, Any]],
    as_of: dt.date,
    name: str,
    *,
    overdue: bool = False,
) -> str:
    """Give the calendar's text: one entry a day in the yard.

    Parameters
    ----------
    rows : iterable of mappings
        Rows of the table ``due``.
    as_of : date
        The build's day: it stamps the entries, and what was planned earlier and is still
        due stands on it.
    name : str
        The station's name.
    overdue : bool
        Whether checks stand on the days that they were planned for, gone by or not, with
        those missed.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//queen-outcomes//checks due//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{escaped(f'Checks due, {name}')}",
    ]
    days: dict[dt.date, list[Mapping[str, Any]]] = {}
    for row in sorted(rows, key=by_colony):
        if overdue or row["status"] == "due":
            days.setdefault(row["on"] if overdue else max(row["on"], as_of), []).append(
                row
            )
    for day, checks in sorted(days.items()):
        lines += _entry(day, checks, as_of, name)
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines)


def _entry(
    day: dt.date, checks: list[Mapping[str, Any]], as_of: dt.date, name: str
) -> list[str]:
    key = f"{name}\n{day}"
    many = "1 check" if len(checks) == 1 else f"{len(checks)} checks"
    return [
        "BEGIN:VEVENT",
        f"UID:{hashlib.sha256(key.encode()).hexdigest()[:32]}@queen-outcomes",
        f"DTSTAMP:{as_of:%Y%m%d}T000000Z",
        f"DTSTART;VALUE=DATE:{day:%Y%m%d}",
        f"DTEND;VALUE=DATE:{day + dt.timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{many} in the yard",
        f"DESCRIPTION:{escaped(chr(10).join(map(_told, checks)))}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def _told(row: Mapping[str, Any]) -> str:
    place = f"{row['colony_id']}: " if row["colony_id"] else ""
    return (
        f"{place}{row['queen_id']}, day {row['day']}, useful until "
        f"{row['useful_until']}. Look for: {row['look_for']}"
    )


def escaped(text: str) -> str:
    """Escape a text value; control characters are spelt out."""
    for sign in ("\\", ";", ","):
        text = text.replace(sign, f"\\{sign}")
    return "\\n".join(clean(line) for line in text.split("\n"))


def folded(line: str) -> str:
    """Fold a line so that no part is longer than 75 bytes, characters kept whole."""
    parts, part, size = [], "", 0
    for sign in line:
        wide = len(sign.encode())
        if size + wide > LONGEST:
            parts.append(part)
            part, size = " ", 1
        part += sign
        size += wide
    return "\r\n".join([*parts, part])
