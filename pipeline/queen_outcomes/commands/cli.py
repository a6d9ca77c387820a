"""Commands and options only; an error's class becomes an exit code.

Work is done elsewhere and imported by the command that needs it, so that help and
the short commands start at once.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from queen_outcomes import __version__
from queen_outcomes.base.console import Console
from queen_outcomes.commands.compare import compare
from queen_outcomes.commands.failures import (
    DONE,
    FAULT,
    QUARANTINED,
    exit_code,
    message,
)
from queen_outcomes.commands.finished import audit, sheets
from queen_outcomes.commands.map import map_
from queen_outcomes.commands.options import (
    FILE,
    FOLDER,
    Day,
    one_or_two,
    shared,
    station_argument,
)
from queen_outcomes.commands.plan import plan

if TYPE_CHECKING:
    from queen_outcomes.build.latest_build import Finished

WELCOME = """\
queen-outcomes: what became of each inseminated queen.

Try it on an invented station:
  queen-outcomes demo my-demo
  queen-outcomes build my-demo

Start your own:
  queen-outcomes new my-station
  queen-outcomes check my-station
  queen-outcomes build my-station

All commands: queen-outcomes --help"""

EPILOG = (
    "DIR is a station's folder; left out, it is the folder you are in. "
    "Exit codes: 0 done; 1 done, and records were quarantined (check, build --strict); "
    "2 usage or settings; 3 records unreadable or a required table missing; "
    "4 nothing could be fitted or compared (audit, compare); "
    "70 a fault of the tool; 130 interrupted."
)


@click.group(invoke_without_command=True, epilog=EPILOG)
@click.version_option(__version__, message="queen-outcomes %(version)s")
@shared
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Count fairly what became of each inseminated queen."""
    if ctx.invoked_subcommand is None:
        ctx.ensure_object(Console).emit(WELCOME)


@cli.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@shared
@click.make_pass_decorator(Console, ensure=True)
def new(console: Console, folder: Path) -> None:
    """Make a station's folder with blank records."""
    from queen_outcomes.commands import station

    _tell_files(console, station.new(folder))
    console.note(f"next: fill in {folder / 'records' / 'records.xlsx'}, then")
    console.note(f"      queen-outcomes build {folder}")


@cli.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@shared
@click.make_pass_decorator(Console, ensure=True)
def demo(console: Console, folder: Path) -> None:
    """Make an invented station's folder with two seasons of records."""
    from queen_outcomes.commands import station

    _tell_files(console, station.demo(folder))
    console.note(f"next: queen-outcomes build {folder}")


@cli.command()
@station_argument
@click.option(
    "--as-of", type=Day(), help="The day the figures stand for, as 2026-07-05."
)
@click.option(
    "--until",
    metavar="STEP",
    help="Stop after a step, such as check or derive; the build in use stays.",
)
@click.option("--pdf", is_flag=True, help="Print the week on a sheet of A4 too.")
@click.option("--strict", is_flag=True, help="End with 1 when rows were quarantined.")
@shared
@click.make_pass_decorator(Console, ensure=True)
def build(
    console: Console, station: Path, as_of: dt.date | None, until: str | None, **flags
) -> int:
    """Read, check, link, derive and draw: the weekly rebuild."""
    from queen_outcomes.build import weekly

    built = weekly.build(station, console, as_of=as_of, until=until, pdf=flags["pdf"])
    if not any(step["rows"] for step in built.journal["steps"][:1]):
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
    return QUARANTINED if flags["strict"] and built.quarantined else DONE


@cli.command()
@station_argument
@click.option("--as-of", type=Day(), help="The day to check against, as 2026-07-05.")
@shared
@click.make_pass_decorator(Console, ensure=True)
def check(console: Console, station: Path, as_of: dt.date | None) -> int:
    """Read and check the records; say what is wrong and what to do."""
    from queen_outcomes.commands import check as checking

    found = checking.check(station, console, as_of=as_of)
    checking.tell(found, console)
    return QUARANTINED if checking.quarantined(found) else DONE


@cli.command()
@station_argument
@click.option("--ics", type=FILE, help="Write them as calendar entries.")
@click.option("--csv", "csv_file", type=FILE, help="Write them as CSV.")
@shared
@click.make_pass_decorator(Console, ensure=True)
def due(
    console: Console, station: Path, ics: Path | None, csv_file: Path | None
) -> None:
    """List the checks due, and those missed."""
    from queen_outcomes.build.latest_build import DUE, open_latest

    with open_latest(station, console) as last:
        rows = last.store.records(DUE)
        columns = list(last.store.columns("due"))
        if ics:
            _write(ics, _calendar(last, rows))
            console.emit(str(ics))
        if csv_file:
            _write(csv_file, _csv(columns, rows))
            console.emit(str(csv_file))
    if ics or csv_file:
        return
    if console.json:
        console.emit_json(rows)
    elif rows:
        console.emit_table(columns, [list(row.values()) for row in rows])
    else:
        console.note("no check is due")


@cli.command()
@click.argument("words", metavar="[DIR] QUEEN", nargs=-1, required=True)
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
            console.emit_table(section["columns"], section["rows"])
        else:
            console.emit("nothing recorded")


@cli.command()
@click.argument("words", metavar="[DIR] DEST", nargs=-1, required=True)
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

    station, dest = one_or_two(words, "DEST")
    with open_latest(station, console) as last:
        day = last.journal["as_of"]
        store = last.store
        if pseudonyms:
            from queen_outcomes.facts.pseudonyms import masked

            store = masked(store)
        written = exporting.export(store, Path(dest), form, as_of=day)
    _tell_files(console, written)


cli.add_command(audit)
cli.add_command(sheets)
cli.add_command(compare)
cli.add_command(plan)
cli.add_command(map_)


def _tell_files(console: Console, files: Sequence[Path]) -> None:
    if console.json:
        console.emit_json([str(path) for path in files])
        return
    for path in files:
        console.emit(str(path))


def _calendar(last: Finished, rows: list[dict[str, Any]]) -> str:
    from queen_outcomes.paper.calendar_file import calendar

    name = last.journal["settings"]["name"]
    open_ones = [row for row in rows if row["status"] == "due"]
    return calendar(open_ones, last.as_of, name)


def _csv(columns: list[str], rows: list[dict[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(row.values() for row in rows)
    return text.getvalue()


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")


def run(argv: Sequence[str] | None = None) -> int:
    """Run a command line and give its exit code."""
    # numpy and scipy each bring threads that spin against each other and DuckDB's;
    # one is faster on a busy machine, and a user's own setting is left alone
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    console = Console()
    try:
        code = cli.main(argv, "queen-outcomes", standalone_mode=False, obj=console)
    except BrokenPipeError:
        # whoever read stdout has seen enough; keep Python's own flush from failing
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except (Exception, KeyboardInterrupt) as problem:
        code = exit_code(problem)
        if console.debug or code == FAULT:
            console.error("".join(traceback.format_exception(problem)).rstrip())
        console.error(message(problem, code))
        return code
    return code if isinstance(code, int) else DONE


def main() -> None:
    """Run the command line and end the process."""
    sys.exit(run())
