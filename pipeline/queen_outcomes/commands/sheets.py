"""`sheets`: paper to write on, for the bench's day and the yard's checks."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from queen_outcomes.base.console import Console
from queen_outcomes.commands.options import shared, station_argument, tell_files


@click.command()
@station_argument
@shared
@click.make_pass_decorator(Console, ensure=True)
def sheets(console: Console, station: Path) -> None:
    """Print sheets to write on: the bench's day, the yard's checks."""
    from queen_outcomes.base import folders
    from queen_outcomes.build.latest_build import DUE, open_latest
    from queen_outcomes.facts import settings
    from queen_outcomes.paper import sheets as printing

    choices = settings.load(station)
    if folders.latest(station / "build") is None:
        console.note("note: there is no build yet, so there is no list of checks due")
        today = dt.datetime.now().astimezone().date()
        files = printing.write(None, choices, choices.as_of or today, station)
    else:
        with open_latest(station, console) as last:
            due = last.store.records(DUE)
            files = printing.write(due, choices, last.as_of, station)
    tell_files(console, files)
