"""`check`: what is wrong with the records, where, and what to do; no build is made."""

from __future__ import annotations

import datetime as dt
import tempfile
from itertools import groupby
from pathlib import Path
from typing import Any

import click

from queen_outcomes.base import resources
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.commands.failures import DONE, QUARANTINED
from queen_outcomes.commands.options import Day, shared, station_argument

EXAMPLES = 3
"""Examples shown of each kind of problem; --json gives all."""

HEADINGS = {
    "quarantined": "quarantined: these rows are not used until they are mended",
    "set_aside": "set aside: the row is used, this cell is not",
    "look": "worth a second look: used as it stands",
}


@click.command()
@station_argument
@click.option("--as-of", type=Day(), help="The day to check against, as 2026-07-05.")
@click.option("--mapping", is_flag=True, help="Say how each sheet is read, and stop.")
@shared
@click.make_pass_decorator(Console, ensure=True)
def check(
    console: Console, station: Path, as_of: dt.date | None, *, mapping: bool
) -> int:
    """Read and check the records; say what is wrong and what to do."""
    if mapping:
        return tell_mapping(station, console)
    found, refusal = check_records(station, console, as_of=as_of)
    tell(found, console)
    if refusal is not None:
        raise refusal
    return ending(found)


def ending(found: dict[str, Any]) -> int:
    """Give the exit code of a check that ran to its end."""
    rows = sum(row["quarantined"] for row in found["summary"])
    return QUARANTINED if rows or found["unread"] else DONE


def check_records(
    station: Path, console: Console, *, as_of: dt.date | None = None
) -> tuple[dict[str, Any], RecordsError | None]:
    """Read and check the records in a throw-away store.

    Returns
    -------
    found : dict
        as_of, notes, unread, summary, quarantine, listed and expectations.
    refusal : RecordsError or None
        Why a build would be refused.
    """
    from queen_outcomes.base.store import Store
    from queen_outcomes.build import steps, weekly
    from queen_outcomes.facts import settings as station_settings

    settings = station_settings.load(station)
    now = dt.datetime.now().astimezone()
    day = weekly.pick_day(as_of, settings, now)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Store(folder / "check.duckdb") as store:
            records = station / "records"
            work = steps.Work(store, records, folder, settings, day, refuses=False)
            steps.run_steps(work, console, until="check")
            if not store.has("listed"):
                # what later steps would add to it concerns courses, not records
                store.table("listed", "SELECT * FROM listed_records")
            found = {
                "as_of": day.isoformat(),
                "notes": work.notes,
                "unread": list(work.staged.unread) if work.staged else [],
                "summary": store.records(_sql("check_summary")),
                "problems": store.records(_sql("check_problems")),
                **{
                    table: store.records(f"SELECT * FROM {table} ORDER BY ALL")
                    for table in ("quarantine", "listed", "expectations")
                },
            }
            return found, work.refusal


def tell_mapping(station: Path, console: Console) -> int:
    """Print how each sheet is read; no row is."""
    from queen_outcomes.base.store import Store
    from queen_outcomes.facts import settings as station_settings
    from queen_outcomes.records import staging

    settings = station_settings.load(station)
    with Store() as store:
        mapped, taken = staging.map_records(store, station / "records", settings)
    rows = [row for source in mapped.sources for row in source.told(settings.reading)]
    if console.json:
        console.emit_json({"mapping": rows, "unread": taken.unread})
        return QUARANTINED if taken.unread else DONE
    for note in (*taken.notes, *mapped.notes):
        console.note(f"note: {note}")
    for (source, table, slot), columns in groupby(
        rows, lambda row: (row["source"], row["table"], row["slot"])
    ):
        part = f", record {slot} of each row" if slot else ""
        console.emit(f"\n{source} -> {table}{part}")
        for row in columns:
            how = f"  ({row['how']})" if row["how"] else ""
            console.tell(f"  {row['column']} = {row['from']}{how}")
    for name in taken.unread:
        console.emit(f"\n{name}: not read")
    return QUARANTINED if taken.unread else DONE


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


def _sql(name: str) -> str:
    return resources.read("sql", "01_records", f"{name}.sql")
