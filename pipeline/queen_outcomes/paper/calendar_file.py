"""The checks due as a calendar file (RFC 5545): all-day entries, the same bytes always.

Writes text only; it knows neither the store nor the clock.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Mapping
from typing import Any

from queen_outcomes.base.text_layout import clean

LONGEST = 75
"""Bytes of a line before it must be folded."""


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
