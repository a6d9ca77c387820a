"""`explain`: one queen's trail and what settled it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from queen_outcomes.base.console import Console
from queen_outcomes.base.outputs import refuse_kept_places
from queen_outcomes.commands.options import (
    csv_option,
    one_or_two,
    shared,
    tell_files,
    write_csv,
)

DROPS = (
    *("course_id", "co2_schedule", "drone_age_days", "queen_age_days", "doses"),
    *("protocol", "graft_batch", "table", "hers"),
)
"""Columns that a narrow terminal does without, in this order."""


@click.command()
@click.argument("words", metavar="[DIR] QUEEN", nargs=-1)
@csv_option("all of it, a part's title before each row,")
@shared
@click.make_pass_decorator(Console, ensure=True)
def explain(console: Console, words: tuple[str, ...], csv_file: Path | None) -> None:
    """Tell one queen's trail and what settled it.

    Every record about her with its file and line, what each look implies, and the rule
    that settled each outcome.
    """
    from queen_outcomes.build.latest_build import open_latest
    from queen_outcomes.facts import settings
    from queen_outcomes.outcomes import explain as trail

    station, queen_id = one_or_two(words, "QUEEN")
    refuse_kept_places(station, csv_file)
    choices = settings.load(station)
    with open_latest(station, console) as last:
        told = trail.explain(last.store, queen_id, settings=choices, as_of=last.as_of)
    if csv_file:
        tell_files(console, write_csv(csv_file, *stacked(told["sections"])))
        return
    if console.json:
        console.emit_json(told)
        return
    for at, section in enumerate(told["sections"]):
        console.emit(("\n" if at else "") + section["title"])
        if section["rows"]:
            console.emit_table(section["columns"], section["rows"], drops=DROPS)
        else:
            console.emit("nothing recorded")


def stacked(sections: Sequence[dict[str, Any]]) -> tuple[list[str], list[list[Any]]]:
    """Put tables one below the other, under the columns of all, each row with its title."""
    columns = list(dict.fromkeys(name for one in sections for name in one["columns"]))
    rows = []
    for one in sections:
        for row in one["rows"]:
            cells = dict(zip(one["columns"], row, strict=True))
            rows.append([one["title"], *(cells.get(name) for name in columns)])
    return ["part", *columns], rows
