"""`export`: all tables as files, with a machine-readable description."""

from __future__ import annotations

from pathlib import Path

import click

from queen_outcomes.base.console import Console
from queen_outcomes.base.outputs import refuse_kept_places
from queen_outcomes.commands.options import one_or_two, shared, tell_files


@click.command()
@click.argument("words", metavar="[DIR] DEST", nargs=-1)
@click.option(
    "--format",
    "form",
    type=click.Choice(["parquet", "csv"]),
    default="parquet",
    show_default=True,
    help="The files' format.",
)
@click.option(
    "--pseudonyms", is_flag=True, help="Codes in the place of operators' names."
)
@shared
@click.make_pass_decorator(Console, ensure=True)
def export(
    console: Console, words: tuple[str, ...], form: str, *, pseudonyms: bool
) -> None:
    """Write all tables with a machine-readable description."""
    from queen_outcomes.build import export as exporting
    from queen_outcomes.build.latest_build import open_latest
    from queen_outcomes.facts import settings
    from queen_outcomes.facts.pseudonyms import hide_names, mask_of, station_key

    station, dest = one_or_two(words, "DEST")
    refuse_kept_places(station, Path(dest))
    with open_latest(station, console) as last:
        day = last.journal["as_of"]
        if pseudonyms:
            choices = settings.load(station)
            hide_names(last.store, mask_of(last.store, station_key(station), choices))
        written = exporting.export(last.store, Path(dest), form, as_of=day)
    tell_files(console, written)
