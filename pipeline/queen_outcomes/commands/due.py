"""`due`: the checks due and missed, as a table, CSV, or a calendar file.

The calendar (RFC 5545) has all-day entries and the same bytes always: the build's day
stamps them.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from queen_outcomes.base.console import Console
from queen_outcomes.base.outputs import refuse_kept_places
from queen_outcomes.base.text_layout import clean
from queen_outcomes.commands.options import FILE, shared, station_argument

if TYPE_CHECKING:
    from queen_outcomes.build.latest_build import LatestBuild

LONGEST = 75
"""Bytes of a line before it must be folded."""


@click.command()
@station_argument
@click.option("--ics", type=FILE, help="Write them as calendar entries.")
@click.option("--csv", "csv_file", type=FILE, help="Write them as CSV.")
@shared
@click.make_pass_decorator(Console, ensure=True)
def due(
    console: Console, station: Path, ics: Path | None, csv_file: Path | None
) -> None:
    """List the checks due, and those missed."""
    from queen_outcomes.build.latest_build import DUE, open_latest

    refuse_kept_places(station, ics, csv_file)
    with open_latest(station, console) as last:
        rows = last.store.records(DUE)
        columns = list(last.store.columns("due"))
        if ics:
            _write(ics, _calendar(last, rows))
            console.emit(str(ics))
        if csv_file:
            _write(csv_file, _csv(columns, rows))
            console.emit(str(csv_file))
    if ics or csv_file:
        return
    if console.json:
        console.emit_json(rows)
    elif rows:
        console.emit_table(columns, [list(row.values()) for row in rows])
    else:
        console.note("no check is due")


def _calendar(last: LatestBuild, rows: list[dict[str, Any]]) -> str:
    name = last.journal["settings"]["name"]
    open_ones = [row for row in rows if row["status"] == "due"]
    return calendar(open_ones, last.as_of, name)


def _csv(columns: list[str], rows: list[dict[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(row.values() for row in rows)
    return text.getvalue()


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")


def calendar(rows: Iterable[Mapping[str, Any]], as_of: dt.date, name: str) -> str:
    """Give the calendar's text.

    Parameters
    ----------
    rows : iterable of mappings
        Rows of the table ``due``.
    as_of : date
        The build's day; it stamps the entries.
    name : str
        The station's name.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//queen-outcomes//checks due//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{escaped(f'Checks due, {name}')}",
    ]
    for row in rows:
        lines += _entry(row, as_of)
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines)


def _entry(row: Mapping[str, Any], as_of: dt.date) -> list[str]:
    key = f"{row['course_id']}\n{row['day']}"
    place = f" in {row['colony_id']}" if row["colony_id"] else ""
    told = f"Look for: {row['look_for']}\nSettles: {row['settles']}"
    return [
        "BEGIN:VEVENT",
        f"UID:{hashlib.sha256(key.encode()).hexdigest()[:32]}@queen-outcomes",
        f"DTSTAMP:{as_of:%Y%m%d}T000000Z",
        f"DTSTART;VALUE=DATE:{row['on']:%Y%m%d}",
        f"DTEND;VALUE=DATE:{row['on'] + dt.timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{escaped(_summary(row, place))}",
        f"DESCRIPTION:{escaped(told)}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def _summary(row: Mapping[str, Any], place: str) -> str:
    return f"Check queen {row['queen_id']}{place}, day {row['day']}"


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
