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
@shared
@click.make_pass_decorator(Console, ensure=True)
def check(console: Console, station: Path, as_of: dt.date | None) -> int:
    """Read and check the records; say what is wrong and what to do."""
    found = check_records(station, console, as_of=as_of)
    tell(found, console)
    rows = sum(row["quarantined"] for row in found["summary"])
    return QUARANTINED if rows else DONE


def check_records(
    station: Path, console: Console, *, as_of: dt.date | None = None
) -> dict[str, Any]:
    """Read and check the records in a throw-away store.

    Returns
    -------
    dict
        as_of, notes, summary, quarantine, listed and expectations.
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
            work = steps.Work(
                store, station / "records", folder, settings, day, looking=True
            )
            steps.run_steps(work, console, until="check")
            if not store.has("listed"):
                # what later steps would add to it concerns courses, not records
                store.table("listed", "SELECT * FROM listed_records")
            return {
                "as_of": day.isoformat(),
                "notes": work.notes,
                "summary": store.records(_sql("check_summary")),
                "problems": store.records(_sql("check_problems")),
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


def _sql(name: str) -> str:
    return resources.read("sql", "01_records", f"{name}.sql")
