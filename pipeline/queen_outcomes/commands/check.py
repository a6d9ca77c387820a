"""`check`: what is wrong with the records, where, and what to do; no build is made."""

from __future__ import annotations

import datetime as dt
import tempfile
from itertools import groupby
from pathlib import Path
from typing import Any

from queen_outcomes.base.console import Console
from queen_outcomes.build import steps
from queen_outcomes.build import weekly as build
from queen_outcomes.facts import settings as station_settings

EXAMPLES = 3
"""Examples shown of each kind of problem; --json gives all."""

SUMMARY = """
    SELECT
        source, "table", rows_read AS read, accepted, quarantined,
        (
            SELECT count(*) FROM listed
            WHERE listed.source = sources.source
                AND listed."table" = sources."table"
                AND severity = 'set_aside'
        ) AS "set aside",
        (
            SELECT count(*) FROM listed
            WHERE listed.source = sources.source
                AND listed."table" = sources."table"
                AND severity = 'look'
        ) AS look
    FROM sources
    ORDER BY source, "table"
"""
PROBLEMS = """
    SELECT
        'quarantined' AS severity, reason, "table", source, line, message
    FROM quarantine
    UNION ALL
    SELECT severity, reason, "table", source, line, message
    FROM listed
    ORDER BY
        list_position(['quarantined', 'set_aside', 'look'], severity),
        reason, "table", source, line, message
"""
HEADINGS = {
    "quarantined": "quarantined: these rows are not used until they are mended",
    "set_aside": "set aside: the row is used, this cell is not",
    "look": "worth a second look: used as it stands",
}


def check(
    station: Path, console: Console, *, as_of: dt.date | None = None
) -> dict[str, Any]:
    """Read and check the records in a throw-away store.

    Returns
    -------
    dict
        as_of, notes, summary, quarantine, listed and expectations.
    """
    from queen_outcomes.base.store import Store

    settings = station_settings.load(station)
    now = dt.datetime.now().astimezone()
    day = build.pick_day(as_of, settings, now)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Store(folder / "check.duckdb") as store:
            work = steps.Work(store, station / "records", folder, settings, day)
            steps.run_steps(work, console, until="check")
            if not store.has("listed"):
                # what later steps would add to it concerns courses, not records
                store.table("listed", "SELECT * FROM listed_records")
            return {
                "as_of": day.isoformat(),
                "notes": work.notes,
                "summary": store.records(SUMMARY),
                "problems": store.records(PROBLEMS),
                **{
                    table: store.records(f"SELECT * FROM {table} ORDER BY ALL")
                    for table in ("quarantine", "listed", "expectations")
                },
            }


def tell(found: dict[str, Any], console: Console) -> None:
    """Print a check's findings, as JSON where that was asked for."""
    if console.json:
        kept = {name: part for name, part in found.items() if name != "problems"}
        console.emit_json(kept)
        return
    console.note(f"as of {found['as_of']}")
    for note in found["notes"]:
        console.note(f"note: {note}")
    summary = found["summary"]
    if summary:
        console.emit_table(list(summary[0]), [list(row.values()) for row in summary])
    for severity, problems in groupby(found["problems"], lambda row: row["severity"]):
        console.emit(f"\n{HEADINGS[severity]}")
        _tell_groups(list(problems), console)
    if not found["problems"]:
        console.emit("\nnothing to mend")


def _tell_groups(problems: list[dict[str, Any]], console: Console) -> None:
    def kind(row: dict[str, Any]) -> tuple[str, str]:
        return row["reason"], row["table"]

    for (reason, table), rows in groupby(problems, kind):
        listed = list(rows)
        console.emit(f"  {reason} in {table}: {len(listed)}")
        for row in listed[:EXAMPLES]:
            message = " ".join((row["message"] or "").split())
            console.tell(f"    {row['source']}:{row['line']}  {message}")
        if len(listed) > EXAMPLES:
            console.emit(f"    and {len(listed) - EXAMPLES} more; --json gives all")


def quarantined(found: dict[str, Any]) -> int:
    """Count the quarantined rows."""
    return sum(row["quarantined"] for row in found["summary"])
