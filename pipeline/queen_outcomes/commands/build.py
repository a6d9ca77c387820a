"""`build`: the weekly rebuild."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from queen_outcomes.base.console import Console
from queen_outcomes.commands.failures import DONE, QUARANTINED
from queen_outcomes.commands.options import FOLDER, Day, shared, station_argument


@click.command()
@station_argument
@click.option(
    "--as-of", type=Day(), help="The day the figures stand for, as 2026-07-05."
)
@click.option(
    "--until",
    metavar="STEP",
    help="Stop after a step, such as check or derive; the build in use stays.",
)
@click.option(
    "--pseudonyms",
    "leaving",
    metavar="DEST",
    type=FOLDER,
    help="Write a dashboard and tables to pass on there, with codes in the place of "
    "names; the build in use stays.",
)
@click.option("--pdf", is_flag=True, help="Print the week on a sheet of A4 too.")
@click.option(
    "--strict",
    is_flag=True,
    help="End with 1 when rows were quarantined or files were not read.",
)
@shared
@click.make_pass_decorator(Console, ensure=True)
def build(
    console: Console,
    station: Path,
    as_of: dt.date | None,
    until: str | None,
    leaving: Path | None,
    **flags,
) -> int:
    """Read, check, link, derive and draw: the weekly rebuild."""
    from queen_outcomes.build import weekly

    if flags["pdf"]:
        from queen_outcomes.paper.printing import refuse_without_pdf

        refuse_without_pdf("--pdf")
    built = weekly.build(
        station, console, as_of=as_of, until=until, pdf=flags["pdf"], leaving=leaving
    )
    if any(not step["rows"] for step in built.journal.get("steps", ())[:1]):
        console.note(f"note: there are no rows yet; fill in {station / 'records'}")
    if built.quarantined:
        console.note(
            f"note: {built.quarantined} rows were quarantined; "
            "queen-outcomes check tells which and why"
        )
    if console.json:
        console.emit_json({"folder": str(built.folder), **built.journal})
    else:
        page = "dashboard/index.html" if built.complete else "station.duckdb"
        console.emit(str(built.folder / page))
    told = built.quarantined or built.unread
    return QUARANTINED if flags["strict"] and told else DONE
