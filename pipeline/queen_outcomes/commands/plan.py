"""The command `plan`: the next trial of dose protocols, with the station's own figures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from queen_outcomes.base.console import Console
from queen_outcomes.base.outputs import refuse_kept_places
from queen_outcomes.commands.options import (
    FILE,
    Share,
    csv_option,
    shared,
    station_argument,
)


@click.command()
@station_argument
@click.option(
    "--arm",
    "arms",
    multiple=True,
    metavar="NAME=UL",
    help='An arm and its doses, such as "6 and 6=6+6"; twice or more.',
)
@click.option("--reference", help="The arm to compare with; else the first.")
@click.option("--outcome", help="Else the outcome of [plan].")
@click.option("--days", type=int, help="Its window; else that of [plan].")
@click.option("--difference", type=Share(), help="Arm minus reference, to be found.")
@click.option("--margin", type=Share(), help="Loss to be ruled out; else [plan]'s.")
@click.option("--power", type=Share(), help="0.8 (or 80%) unless given.")
@click.option(
    "--by",
    type=click.Choice(["queen", "batch"]),
    help="Draw queens within graft batches (usual), or whole graft batches.",
)
@click.option("--block-size", type=int, help="Twice the number of arms unless given.")
@click.option("--seed", type=int, help="Else from the trial's name.")
@click.option("--name", help="The trial's name in the records.")
@click.option("--share", type=Share(), help="Successes expected; else the station's.")
@click.option("--icc", type=float, help="Alikeness in a batch; else the station's.")
@click.option("--queens-per-graft", type=int, help="Else the station's mean.")
@click.option("--queens-per-load", type=int, help="Else the station's mean.")
@csv_option("the bench list")
@click.option("--sheet", type=FILE, help="Write it as a page to print.")
@shared
@click.make_pass_decorator(Console, ensure=True)
def plan(
    console: Console,
    station: Path,
    csv_file: Path | None,
    sheet: Path | None,
    **asked: Any,
) -> None:
    """Plan the next trial of doses from the station's own figures."""
    from queen_outcomes.build.latest_build import open_latest
    from queen_outcomes.facts import settings
    from queen_outcomes.trial import plan as planning
    from queen_outcomes.trial import plan_report

    refuse_kept_places(station, csv_file, sheet)
    choices = settings.load(station)
    with open_latest(station, console) as last:
        trial = planning.make(last.store, choices, last.as_of, asked)
    files = plan_report.write(trial, csv_file, sheet)
    plan_report.tell(trial, files, console)
