"""What the commands share: options that may stand anywhere, days, folders, files told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from queen_outcomes.base.console import Console
from queen_outcomes.facts.dictionary import FIRST_DAY, LAST_DAY

Command = TypeVar("Command", bound=Callable[..., Any])


def _choose(name: str) -> Callable[[click.Context, click.Parameter, bool], None]:
    def remember(ctx: click.Context, _: click.Parameter, value: bool) -> None:
        if value:
            setattr(ctx.ensure_object(Console), name, True)

    return remember


def shared(command: Command) -> Command:
    """Give a command the options that may stand before or after its name."""
    options = {
        "json": ("--json", "Give tables as JSON."),
        "quiet": ("--quiet", "Say nothing but errors on stderr."),
        "verbose": ("-v", "Say more on stderr."),
        "debug": ("--debug", "Show the traceback of an error."),
    }
    for name, (flag, told) in reversed(options.items()):
        names = [flag, "--verbose"] if flag == "-v" else [flag]
        command = click.option(
            *names,
            is_flag=True,
            expose_value=False,
            callback=_choose(name),
            help=told,
        )(command)
    return command


FOLDER = click.Path(path_type=Path, file_okay=False)
FILE = click.Path(path_type=Path, dir_okay=False)
station_argument = click.argument(
    "station", metavar="[DIR]", type=FOLDER, default=Path(), required=False
)


class Day(click.ParamType):
    """An ISO day, such as 2026-07-05."""

    name = "day"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> dt.date:
        """Read the day, or refuse it with what was expected."""
        try:
            day = value if isinstance(value, dt.date) else dt.date.fromisoformat(value)
        except ValueError:
            return self.fail(f"{value!r} is not a day such as 2026-07-05", param, ctx)
        if not FIRST_DAY <= day <= LAST_DAY:
            words = f"{value} lies outside {FIRST_DAY} to {LAST_DAY}"
            return self.fail(words, param, ctx)
        return day


def one_or_two(words: Sequence[str], last: str) -> tuple[Path, str]:
    """Tell `[DIR] LAST` apart: the folder may be left out."""
    if len(words) > 2:
        raise click.UsageError(f"expected [DIR] {last}, got {len(words)} words")
    return (Path(words[0]) if len(words) == 2 else Path()), words[-1]


def tell_files(console: Console, files: Sequence[Path]) -> None:
    """Print the places of the files that a command wrote."""
    if console.json:
        console.emit_json([str(path) for path in files])
        return
    for path in files:
        console.emit(str(path))
