"""What the commands share: options that may stand anywhere, days, folders, files told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import write_files
from queen_outcomes.base.text_layout import csv_text
from queen_outcomes.commands.failures import BadValue
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
        "wide": ("--wide", "Give tables with all columns, however wide."),
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
            expected = "a day as year, month and day, such as 2026-07-05"
            raise BadValue(str(value), expected, "write it so") from None
        if not FIRST_DAY <= day <= LAST_DAY:
            raise BadValue(str(value), f"a day from {FIRST_DAY} to {LAST_DAY}")
        return day


class Share(click.ParamType):
    """A share of the whole, written as 0.1 or as 10%."""

    name = "share"

    def __init__(self, low: float | None = None, high: float | None = None) -> None:
        """Take the limits, themselves left out; None: judged later."""
        self.low, self.high = low, high

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the share, or refuse it with how it is written."""
        if isinstance(value, float):
            return value
        text = str(value).strip()
        number = text.removesuffix("%").rstrip()
        try:
            share = float(number)
        except ValueError:
            raise BadValue(text, "a share such as 0.1 or 10%", "write it so") from None
        if number != text:
            share = round(share / 100, 10)
        if self.low is None or self.high is None or self.low < share < self.high:
            return share
        meant = f"write {share / 100:g} or {share:g}%" if 1 <= share < 100 else ""
        expected = f"a share between {self.low:g} and {self.high:g}"
        raise BadValue(text, expected, meant)


def csv_option(what: str) -> Callable[[Command], Command]:
    """Give a command `--csv FILE`: a table goes there whole, and is not printed.

    Parameters
    ----------
    what : str
        The table, as the help names it.
    """
    return click.option(
        "--csv", "csv_file", type=FILE, metavar="FILE", help=f"Write {what} as CSV."
    )


def write_csv(
    path: Path, columns: Sequence[str], rows: Iterable[Sequence[Any]]
) -> list[Path]:
    """Write a table as CSV, whole or not at all; `refuse_kept_places` comes before."""
    return write_files({path: csv_text(columns, rows)})


def one_or_two(words: Sequence[str], last: str) -> tuple[Path, str]:
    """Tell `[DIR] LAST` apart: the folder may be left out.

    Raises
    ------
    UsageError
        LAST was forgotten, or there are too many words.
    """
    if len(words) > 2:
        raise UsageError(
            f"there are {len(words)} words where [DIR] {last} stand",
            found=" ".join(words),
            hint=f'put quotation marks around a {last} with blanks in it, as in "Q 12"',
        )
    is_station = len(words) == 1 and (Path(words[0]) / "station.toml").is_file()
    if not words or is_station:
        place = f"{words[0]} " if words else "[DIR] "
        raise UsageError(
            f"{last} is missing",
            found=f"the station's folder {words[0]} alone" if words else "nothing",
            expected=f"{place}{last}",
            hint=f"say {SAID[last]} after the folder",
        )
    return (Path(words[0]) if len(words) == 2 else Path()), words[-1]


SAID = {"QUEEN": "which queen, such as Q26-0156,", "DEST": "where to, such as tables,"}
"""What the last word of a command is, by its name."""


def tell_files(console: Console, files: Sequence[Path]) -> None:
    """Print the places of the files that a command wrote."""
    if console.json:
        console.emit_json([str(path) for path in files])
        return
    for path in files:
        console.emit(str(path))
