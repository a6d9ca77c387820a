"""`sheets`: paper to write on, for the bench's day and the yard's checks."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from queen_outcomes.base.console import Console
from queen_outcomes.commands.options import shared, station_argument, tell_files


@click.command()
@station_argument
@click.option(
    "--by",
    type=click.Choice(["colony", "yard"]),
    default="colony",
    help="Order the yard list by colony, or by the last round in the yard.",
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4")
@shared
@click.make_pass_decorator(Console, ensure=True)
def sheets(console: Console, station: Path, by: str, paper: str) -> None:
    """Print sheets to write on: the bench's day, the yard's checks."""
    from queen_outcomes.base import folders
    from queen_outcomes.build.latest_build import open_latest
    from queen_outcomes.facts import settings
    from queen_outcomes.paper import printing
    from queen_outcomes.paper import sheets as paper_sheets

    choices, asked = settings.load(station), {"by": by, "paper": paper}
    if folders.latest(station / "build") is None:
        console.note("note: there is no build yet, so there is no list of checks due")
        today = choices.as_of or dt.datetime.now().astimezone().date()
        files = paper_sheets.write(station, choices, today, None, **asked)
    else:
        with open_latest(station, console) as last:
            files = paper_sheets.write(
                station, choices, last.as_of, last.store, **asked
            )
    if not printing.prints():
        console.note(printing.NO_PDF)
    tell_files(console, files)
