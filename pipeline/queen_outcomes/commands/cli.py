"""The command line: what there is, and how a run of it ends.

Each command stands in a module of its own name. Work is done elsewhere and imported by
the command that needs it, so that help and the short commands start at once.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import traceback
from collections.abc import Sequence
from importlib.machinery import ExtensionFileLoader
from pathlib import Path
from types import FrameType
from typing import Any

import click

from queen_outcomes import __version__
from queen_outcomes.base.console import Console
from queen_outcomes.base.workers import one_thread_each
from queen_outcomes.commands.audit import audit
from queen_outcomes.commands.build import build
from queen_outcomes.commands.check import check
from queen_outcomes.commands.compare import compare
from queen_outcomes.commands.due import due
from queen_outcomes.commands.explain import explain
from queen_outcomes.commands.export import export
from queen_outcomes.commands.failures import (
    DONE,
    ENDINGS,
    FAULT,
    INTERRUPTED,
    STOPPED,
    exit_code,
    message,
)
from queen_outcomes.commands.map import map_
from queen_outcomes.commands.new import demo, new
from queen_outcomes.commands.options import shared
from queen_outcomes.commands.plan import plan
from queen_outcomes.commands.sheets import sheets

COMMANDS = (
    *(new, demo, map_, build, check, due, explain),
    *(export, audit, sheets, compare, plan),
)

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
    f"Exit codes: {'; '.join(f'{code} {what}' for code, what in ENDINGS.items())}."
)


@click.group(invoke_without_command=True, epilog=EPILOG)
@click.version_option(__version__, message="queen-outcomes %(version)s")
@shared
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Count fairly what became of each inseminated queen."""
    console = ctx.ensure_object(Console)
    if ctx.invoked_subcommand is None:
        console.emit(WELCOME)
        return
    command = cli.commands.get(ctx.invoked_subcommand)
    if command and any("--csv" in one.opts for one in command.params):
        console.more = "--wide, --json, --csv FILE"
    if ctx.invoked_subcommand in DOING:
        console.doing(DOING[ctx.invoked_subcommand])


EXAMPLES = {
    "new": ("new my-station", "new ../stations/north"),
    "demo": ("demo my-demo", "demo my-demo --quiet"),
    "map": ("map my-station", "map my-station --accept"),
    "build": ("build my-station", "build my-station --as-of 2026-07-05 --pdf"),
    "check": ("check my-station", "check my-station --mapping"),
    "due": ("due my-station", "due my-station --ics due.ics --csv due.csv"),
    "explain": ("explain my-station Q26-0156", "explain Q26-0156 --csv her.csv"),
    "export": ("export my-station tables", "export my-station tables --format csv"),
    "audit": (
        "audit my-station --csv operators.csv",
        'audit my-station --operator "Birch"',
    ),
    "sheets": ("sheets my-station", "sheets my-station --by yard --paper letter"),
    "compare": (
        "compare my-station --margin 10%",
        'compare my-station --arms "single 8,6 and 6" --reference "single 8"',
    ),
    "plan": (
        'plan my-station --arm "single 8=8" --arm "6 and 6=6+6" --margin 10%',
        'plan my-station --arm "8=8" --arm "10=10" --difference 0.1 --csv bench.csv',
    ),
}
"""Two lines to copy for each command, at the end of its help."""
DOING = {
    "audit": "auditing technique",
    "check": "reading and checking the records",
    "compare": "comparing",
    "due": "looking up the checks due",
    "explain": "gathering her trail",
    "export": "writing the tables",
    "new": "making the station's folder",
    "plan": "reckoning the trial",
    "sheets": "setting the sheets",
}
"""What a command does, for who waits; `build` tells its steps, `map` asks."""

for command in COMMANDS:
    shown = "\n".join(f"  queen-outcomes {line}" for line in EXAMPLES[command.name])
    command.epilog = f"\b\nExamples:\n{shown}"
    cli.add_command(command)


class _Interrupt:
    """Whether somebody pressed Ctrl-C, whatever became of the exception on its way.

    A query that is cut short says so by an error of its own.
    """

    def __init__(self) -> None:
        self.came = False

    def __call__(self, _: int, frame: FrameType | None) -> None:
        """Take the signal."""
        self.came = True
        while frame is not None:
            if isinstance(frame.f_locals.get("self"), ExtensionFileLoader):
                # a compiled module that meets an exception as it loads may abort the process
                os.write(2, f"{STOPPED}\n".encode())
                os._exit(INTERRUPTED)
            frame = frame.f_back
        raise KeyboardInterrupt

    def lost(self, unraised: Any) -> None:
        """Raise it once more, where it came while nobody could take it.

        So it is where a library calls back from its own code; the command would go on. A
        moment later, as in here nobody can take it either.
        """
        if unraised.exc_type is KeyboardInterrupt:
            whom = threading.main_thread().ident, signal.SIGINT
            again = threading.Timer(0.05, signal.pthread_kill, whom)
            again.daemon = True
            again.start()
        else:
            sys.__unraisablehook__(unraised)


def run(argv: Sequence[str] | None = None) -> int:
    """Run a command line and give its exit code."""
    one_thread_each()
    console = Console()
    interrupt, usual = _Interrupt(), sys.unraisablehook
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, interrupt)
        sys.unraisablehook = interrupt.lost
    try:
        code = cli.main(argv, "queen-outcomes", standalone_mode=False, obj=console)
    except BrokenPipeError:
        # whoever read stdout has seen enough; keep Python's own flush from failing
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except (Exception, KeyboardInterrupt) as problem:
        code = INTERRUPTED if interrupt.came else exit_code(problem)
        if console.debug or code == FAULT:
            console.trace("".join(traceback.format_exception(problem)).rstrip())
        words = sys.argv[1:] if argv is None else argv
        named = next((word for word in words if word in cli.commands), "")
        console.error(message(problem, code, cli.commands.get(named)))
        return code
    finally:
        sys.unraisablehook = usual
        console.done()
    return code if isinstance(code, int) else DONE


def main() -> None:
    """Run the command line and end the process."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # whoever started it has closed it: nobody is there
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115
    code = run()
    # what is done is done: a signal that comes now would end the process as if it were not
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.exit(code)
