"""`audit`: operators' technique, batches first."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from queen_outcomes.base.console import Console
from queen_outcomes.base.outputs import refuse_kept_places
from queen_outcomes.commands.options import (
    Day,
    csv_option,
    shared,
    station_argument,
    tell_files,
    write_csv,
)


@click.command()
@station_argument
@click.option("--operator", help="One operator's sheet, to sit down with.")
@click.option("--outcome", help="Else the outcome of [plan].")
@click.option("--days", type=int, help="Its window, where there are several.")
@click.option("--from", "since", type=Day(), help="First day 0.")
@click.option("--to", "until", type=Day(), help="Last day 0.")
@click.option("--pseudonyms", is_flag=True, help="Codes in the place of names.")
@csv_option("the operators, or the operator's failed queens,")
@shared
@click.make_pass_decorator(Console, ensure=True)
def audit(
    console: Console,
    station: Path,
    since: dt.date | None,
    until: dt.date | None,
    operator: str | None,
    csv_file: Path | None,
    *,
    pseudonyms: bool,
    **asked,
) -> None:
    """Audit operators' technique, batches first; write a page."""
    from queen_outcomes.audit import report as auditing
    from queen_outcomes.build.latest_build import open_latest
    from queen_outcomes.facts import settings
    from queen_outcomes.facts.pseudonyms import mask_of, station_key
    from queen_outcomes.paper import audit_sheet, printing

    refuse_kept_places(station, csv_file)
    choices = settings.load(station)
    with open_latest(station, console) as last:
        mask, name = None, choices.name
        if pseudonyms:
            mask = mask_of(last.store, station_key(station), choices)
            name = mask.label(name)
        request = auditing.AuditRequest(operator, since=since, until=until, **asked)
        found = auditing.audit(last.store, choices, request, mask)
    files = audit_sheet.write(found, station, name, last.as_of)
    if found.sheet is not None and not printing.prints():
        has_picture = printing.pictures() or not found.points
        console.note(printing.NO_PDF if has_picture else printing.NO_PICTURE)
    if csv_file:
        tell_files(console, [*write_csv(csv_file, *found.table), *files])
        return
    auditing.tell(found, console, [str(path) for path in files])
