"""`map`: look at a station's own sheets, ask what they leave open, write the settings."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from queen_outcomes.base.console import Console, is_live
from queen_outcomes.base.errors import AppError, UsageError
from queen_outcomes.base.outputs import write_files
from queen_outcomes.commands.failures import DONE, QUARANTINED, exit_code
from queen_outcomes.commands.options import FILE, shared, station_argument

if TYPE_CHECKING:
    from queen_outcomes.records.map.asked.questions import Question
    from queen_outcomes.records.map.asked.wordlist import Word
    from queen_outcomes.records.map.running import Run

STATION_FILE = "station.toml"
_ALL_RIGHT = ""


@click.command(name="map")
@station_argument
@click.option(
    "--answers", type=FILE, help="Answers in TOML: a question's id = its answer."
)
@click.option(
    "--accept", is_flag=True, help="Take every default that the data support."
)
@shared
@click.make_pass_decorator(Console, ensure=True)
def map_(console: Console, station: Path, answers: Path | None, *, accept: bool) -> int:
    """Find out how the station's own sheets are to be read, and write it down."""
    from queen_outcomes.records.map import running
    from queen_outcomes.records.map.asked.questions import read_answers

    run = running.begin(station)
    if answers:
        run.answer(read_answers(answers))
    if accept:
        run.accept()
    elif is_live(sys.stdin) and not console.json:
        _interview(run, console)
    path = station / STATION_FILE
    settings = run.settings()
    changed = not path.exists() or settings != run.text
    written = run.written()
    if changed:
        write_files({path: settings})
    checked, shown = _check(station)
    if console.json:
        console.emit_json(
            {
                "settings": str(path),
                "new": sorted(run.new),
                "questions": [question.as_dict() for question in run.asked],
                "open": [question.id for question in run.open],
                "notes": written.notes,
                "tables": shown,
                "check": checked,
            }
        )
    else:
        _tell(run, written.notes, shown, console)
        console.note(
            f"written: {path}" if changed else "nothing new: the settings stay"
        )
        _tell_check(checked, console)
    return QUARANTINED if run.open or checked["code"] else DONE


# -- asking -----------------------------------------------------------------------------


def _interview(run: Run, console: Console) -> None:
    """Ask one question at a time; first what the rest hangs on."""
    _ask_first(run, console)
    waiting = run.open
    for number, question in enumerate(waiting, start=1):
        if question not in run.open:  # an answer before has left its sheet out
            continue
        console.emit(f"\n{number} of {len(waiting)}")
        console.tell(question.text)
        if question.kind == "words":
            _correct_words(run, console)
            question.answer = "yes"
            continue
        _tell_of(question, console)
        question.answer = _ask(question)
        question.spread()


def _ask_first(run: Run, console: Console) -> None:
    """Ask what the rows of diaries and some headings are, and look again with that known."""
    from queen_outcomes.records.map.running import FIRST

    done = [question for question in run.open if question.kind in FIRST]
    for number, question in enumerate(done, start=1):
        console.emit(f"\n{number} of {len(done)}, before the rest")
        console.tell(question.text)
        _tell_of(question, console)
        question.answer = _ask(question)
        question.spread()
    if done:
        run.look_again()


def _ask(question: Question) -> Any:
    """Ask until the answer fits; an empty one leaves a question without default open."""
    while True:
        hint = "Enter leaves it open" if question.default is None else None
        given = click.prompt(
            hint or "answer",
            default=question.default or "",
            show_default=bool(question.default),
        )
        if not str(given).strip():
            return None
        try:
            return _checked(question, given)
        except UsageError as problem:
            click.echo(problem.text())


def _checked(question: Question, given: Any) -> Any:
    """Read an answer; a table in TOML's own form is one too."""
    import tomllib

    from queen_outcomes.records.map.asked.questions import checked
    from queen_outcomes.records.map.asked.wordlist import meaning_of

    if str(given).strip().startswith("{"):
        try:
            given = tomllib.loads(f"answer = {given}")["answer"]
        except tomllib.TOMLDecodeError as problem:
            raise UsageError(
                "the table cannot be read", where=question.id, found=str(problem)
            ) from None
        return checked(question, given)
    if question.kind == "word":
        column = question.id.split(":")[1]
        meaning_of(column, given, question.id)
        return given
    return checked(question, given)


def _correct_words(run: Run, console: Console) -> None:
    """Show the list of words once; every number given corrects one of them."""
    from queen_outcomes.records.map.asked.wordlist import meaning_of

    words = [word for word in run.proposal.words if word.means is not None]
    _tell_words(words, console)
    while True:
        given = click.prompt(
            "number of a word to correct; Enter when the list is right",
            default=_ALL_RIGHT,
            show_default=False,
        )
        if not str(given).strip():
            return
        if not str(given).isdigit() or not 1 <= int(given) <= len(words):
            click.echo(f"a number from 1 to {len(words)}")
            continue
        word = words[int(given) - 1]
        meant = click.prompt(f'"{word.text}" means', default="", show_default=False)
        try:
            word.means = meaning_of(word.column, meant, word.id)
        except UsageError as problem:
            click.echo(problem.text())


def _tell_words(words: list[Word], console: Console) -> None:
    console.emit_table(
        ["no", "column", "word", "cells", "means"],
        [[n, w.column, w.text, w.count, w.told] for n, w in enumerate(words, start=1)],
    )


# -- telling ----------------------------------------------------------------------------


def _tell(
    run: Run, notes: list[str], shown: dict[str, list[dict[str, Any]]], console: Console
) -> None:
    """Say what was understood, what is open, and how the first rows are read."""
    for note in notes:
        console.note(f"note: {note}")
    for needed in ("inseminations", "checks"):
        if run.new and not run.proposal.station.of(needed):
            console.note(f"note: no sheet was found that holds {needed}")
    for table, rows in shown.items():
        columns = list(dict.fromkeys(name for row in rows for name in row))
        console.emit(f"\n{table}, as read")
        console.emit_table(
            columns, [[row.get(name, "") for name in columns] for row in rows]
        )
    for question in run.asked:
        if question.answer is not None and question.answer == question.default:
            console.emit(f"\ntaken: {question.id} = {question.answer}")
            for line in question.evidence:
                console.tell(f"  {line}")
    for question in run.open:
        console.emit(f"\nopen: {question.id}")
        console.tell(f"  {question.text}")
        # a yes holds for every word of the list, so that all of it has to be seen
        _tell_of(question, console, most=None if question.kind == "words" else 5)


def _tell_of(question: Question, console: Console, most: int | None = None) -> None:
    """Tell what a question stands on, and what it may be answered with."""
    for line in question.evidence[:most]:
        console.tell(f"  {line}")
    for option, meaning in question.options.items():
        console.tell(f"  {option}: {meaning}")


def _check(station: Path) -> tuple[dict[str, Any], dict[str, list[dict[str, Any]]]]:
    """Read the records by the settings as they now are: what `check` says, and rows."""
    from queen_outcomes.commands import check as checking

    try:
        checked = checking.check_records(station, Console(quiet=True))
    except AppError as problem:
        return {"code": exit_code(problem), "says": problem.text()}, {}
    told = {"code": checked.code}
    if checked.refusal is not None:
        told["refused"] = checked.refusal.text()
    kept = ("summary", "notes", "advice", "closing")
    return told | {name: checked.found[name] for name in kept}, checked.first_rows


def _tell_check(checked: dict[str, Any], console: Console) -> None:
    from queen_outcomes.commands.check import tell_advice

    if "says" in checked:
        console.emit("\ncheck says")
        console.emit(checked["says"])
        return
    for note in checked["notes"]:
        console.note(f"note: {note}")
    rows = checked["summary"]
    if rows:
        console.emit("\ncheck says")
        console.emit_table(list(rows[0]), [list(row.values()) for row in rows])
        tell_advice(checked, console)
    if "refused" in checked:
        console.emit(checked["refused"])
