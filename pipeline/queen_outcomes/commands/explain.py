"""`explain`: one queen's trail and what settled it."""

from __future__ import annotations

import click

from queen_outcomes.base.console import Console
from queen_outcomes.commands.options import one_or_two, shared

DROPS = (
    *("course_id", "co2_schedule", "drone_age_days", "queen_age_days", "doses"),
    *("protocol", "graft_batch", "table", "hers"),
)
"""Columns that a narrow terminal does without, in this order."""


@click.command()
@click.argument("words", metavar="[DIR] QUEEN", nargs=-1)
@shared
@click.make_pass_decorator(Console, ensure=True)
def explain(console: Console, words: tuple[str, ...]) -> None:
    """Tell one queen's trail and what settled it.

    Every record about her with its file and line, what each look implies, and the rule
    that settled each outcome.
    """
    from queen_outcomes.build.latest_build import open_latest
    from queen_outcomes.facts import settings
    from queen_outcomes.outcomes import explain as trail

    station, queen_id = one_or_two(words, "QUEEN")
    choices = settings.load(station)
    with open_latest(station, console) as last:
        told = trail.explain(last.store, queen_id, settings=choices, as_of=last.as_of)
    if console.json:
        console.emit_json(told)
        return
    for at, section in enumerate(told["sections"]):
        console.emit(("\n" if at else "") + section["title"])
        if section["rows"]:
            console.emit_table(section["columns"], section["rows"], drops=DROPS)
        else:
            console.emit("nothing recorded")
