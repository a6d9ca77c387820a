"""`check`: what is wrong with the records, where, and what to do; no build is made."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

import click

from queen_outcomes.base import resources
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.outputs import scratch_folder
from queen_outcomes.commands.failures import DONE, QUARANTINED, exit_code
from queen_outcomes.commands.options import Day, shared, station_argument

SHOWN = 5
"""So many accepted rows of a table are shown by who asks for them."""


@click.command()
@station_argument
@click.option("--as-of", type=Day(), help="The day to check against, as 2026-07-05.")
@click.option("--mapping", is_flag=True, help="Say how each sheet is read, and stop.")
@click.option(
    "--verify",
    is_flag=True,
    help="Count failing rows a second time, as a build does; takes longer.",
)
@shared
@click.make_pass_decorator(Console, ensure=True)
def check(
    console: Console,
    station: Path,
    as_of: dt.date | None,
    *,
    mapping: bool,
    verify: bool,
) -> int:
    """Read and check the records; say what is wrong and what to do."""
    if mapping:
        return tell_mapping(station, console)
    checked = check_records(station, console, as_of=as_of, verify=verify)
    tell(checked.found, console)
    if checked.refusal is not None:
        raise checked.refusal
    return checked.code


@dataclass(frozen=True)
class Checked:
    """What a check found.

    Parameters
    ----------
    found : dict
        as_of, notes, unread, summary, advice, counted, closing, quarantine, listed and
        expectations.
    refusal : RecordsError or None
        Why a build would be refused.
    first_rows : dict
        Table -> its first accepted rows, without what is empty.
    """

    found: dict[str, Any]
    refusal: RecordsError | None
    first_rows: dict[str, list[dict[str, Any]]]

    @property
    def code(self) -> int:
        """The exit code: 3 where a build would be refused, 1 where something must be mended."""
        if self.refusal is not None:
            return exit_code(self.refusal)
        return QUARANTINED if any(a["fails"] for a in self.found["advice"]) else DONE


def check_records(
    station: Path,
    console: Console,
    *,
    as_of: dt.date | None = None,
    verify: bool = False,
) -> Checked:
    """Read and check the records in a throw-away store.

    Parameters
    ----------
    station : Path
    console : Console
        Told of each step.
    as_of : date or None
        The day to check against; else the settings', else today.
    verify : bool
        Have the expectations count too, which takes seconds.
    """
    from queen_outcomes.base.store import Store
    from queen_outcomes.build import steps, weekly
    from queen_outcomes.facts import settings as station_settings
    from queen_outcomes.records import advice

    settings = station_settings.load(station)
    now = dt.datetime.now().astimezone()
    day = weekly.pick_day(as_of, settings, now)
    with scratch_folder() as folder, Store(
        memory=weekly.memory_limit(settings), spill=folder / "spill"
    ) as store:
        work = steps.Work(
            store,
            station / "records",
            folder,
            settings,
            day,
            written=station_settings.text_of(station),
            looking=True,
            verified=verify,
        )
        steps.run_steps(work, console, until="check")
        # what later steps would add to it concerns courses, not records
        store.table("listed", "SELECT * FROM listed_records")
        looked = advice.Looked(
            store,
            settings,
            day,
            work.staged.sources,
            work.staged.unread,
            work.unread,
            work.open_questions,
            work.unanswered,
            station_settings.states(station, "records", "co2"),
        )
        fates = advice.counted(looked)
        found = {
            "as_of": day.isoformat(),
            "notes": work.notes,
            "unread": list(work.staged.unread),
            "summary": store.records(
                resources.read("sql", "01_records", "check_summary.sql")
            ),
            "advice": [piece.as_dict() for piece in advice.gather(looked)],
            "counted": fates,
            "closing": advice.closing(fates),
            **{
                table: store.records(f"SELECT * FROM {table} ORDER BY ALL")
                for table in ("quarantine", "listed", "expectations")
            },
        }
        return Checked(found, work.refusal, _first_rows(store))


def _first_rows(store: Any) -> dict[str, list[dict[str, Any]]]:
    """Give the first accepted rows of each table that has any."""
    from queen_outcomes.facts.dictionary import TABLES

    shown = {}
    filled = store.filled(f"accepted_{name}" for name in TABLES)
    for table in TABLES.values():
        if f"accepted_{table.name}" not in filled:
            continue
        names = ", ".join(f'"{name}"' for name in table.names)
        rows = store.records(
            f"SELECT {names} FROM accepted_{table.name} ORDER BY ref LIMIT {SHOWN}"
        )
        shown[table.name] = [
            {name: value for name, value in row.items() if value is not None}
            for row in rows
        ]
    return {table: rows for table, rows in shown.items() if rows}


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
        listed = list(columns)
        chosen = [row for row in listed if row["column"] is None]
        part = f", record {slot} of each row" if slot and not chosen else ""
        console.emit(f"\n{source} -> {table}{part}")
        for row in chosen:
            console.tell(f"  {row['how']} under {row['from']}")
        for row in listed[len(chosen) :]:
            how = f"  ({row['how']})" if row["how"] else ""
            console.tell(f"  {row['column']} = {row['from']}{how}")
    for name in taken.unread:
        console.emit(f"\n{name}: not read")
    return QUARANTINED if taken.unread else DONE


def tell(found: dict[str, Any], console: Console) -> None:
    """Print a check's findings, as JSON where that was asked for."""
    if console.json:
        console.emit_json(found)
        return
    console.note(f"as of {found['as_of']}")
    for note in found["notes"]:
        console.note(f"note: {note}")
    summary = found["summary"]
    if summary:
        console.emit_table(list(summary[0]), [list(row.values()) for row in summary])
    tell_advice(found, console)


def tell_advice(found: dict[str, Any], console: Console) -> None:
    """Print what there is to do, the gravest first, and what will count."""
    from queen_outcomes.records.advice import WEIGHTS

    number = 0
    for weight, pieces in groupby(found["advice"], lambda piece: piece["weight"]):
        console.emit(f"\n{WEIGHTS[weight]}")
        for piece in pieces:
            number += 1
            end = "" if piece["says"].endswith("?") else "."
            console.tell(f"{number:3}. {piece['says']}{end}")
            _tell_piece(piece, console)
    if not number:
        console.emit("\nnothing to mend")
    console.emit("")
    console.tell(found["closing"])


def _tell_piece(piece: dict[str, Any], console: Console) -> None:
    """Print where advice begins to apply, and what to write."""
    places = piece["places"]
    if places:
        more = " ..." if piece["count"] > len(places) else ""
        console.tell(f"     at {', '.join(places)}{more}")
    settings = piece["settings"]
    if piece["do"]:
        console.tell(f"     {piece['do']}" + (", in station.toml:" if settings else ""))
    elif settings:
        console.emit("     write in station.toml:")
    for at, setting in enumerate(settings):
        if at:
            console.emit("     or")
        for line in setting.split("\n"):
            # as it must be written, so never folded
            console.emit(f"       {line}")
