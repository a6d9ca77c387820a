"""The one door to the terminal: stdout for what was asked, stderr for the rest.

Text from records is made harmless before it is shown: no control character of
theirs reaches a terminal. Nothing here decides what to say.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TextIO

import click

from queen_outcomes.base.text_layout import aligned, clean_lines, folded


def plain(value: Any) -> Any:
    """Give a value that JSON has no form for as text; sets and tuples as lists."""
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    if isinstance(value, set | frozenset | tuple):
        return list(value)
    return str(value)


@dataclass
class Console:
    """What a command says, and how loudly.

    Parameters
    ----------
    json : bool
        Tables are given as JSON.
    quiet : bool
        Nothing on stderr but errors.
    verbose : bool
        Details on stderr as well.
    debug : bool
        Errors come with their traceback.
    """

    json: bool = False
    quiet: bool = False
    verbose: bool = False
    debug: bool = False

    def emit(self, text: str) -> None:
        """Write a line that was asked for to stdout, as it is."""
        click.echo(clean_lines(text))

    def tell(self, text: str) -> None:
        """Write sentences that were asked for, folded to the terminal's width.

        For words only: a path that holds blanks would be cut in two.
        """
        live = is_live(sys.stdout)
        width = shutil.get_terminal_size().columns if live else None
        click.echo(folded(clean_lines(text), width))

    def emit_json(self, value: Any) -> None:
        """Write a value as JSON; ASCII only, so nothing in it acts on a terminal."""
        click.echo(json.dumps(value, default=plain, indent=2))

    def emit_table(self, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
        """Write a table to stdout, within the terminal's width where it is one."""
        width = shutil.get_terminal_size().columns if is_live(sys.stdout) else None
        heading, *lines = aligned(columns, rows, width=width) or [""]
        bold = is_live(sys.stdout) and allows_colour()
        click.echo(click.style(heading, bold=True) if bold else heading)
        for line in lines:
            click.echo(line)

    def note(self, text: str) -> None:
        """Write a line about the work to stderr, unless quiet."""
        if not self.quiet:
            sys.stdout.flush()
            click.echo(clean_lines(text), err=True)

    def detail(self, text: str) -> None:
        """Write a line to stderr for those who asked for details."""
        if self.verbose:
            self.note(text)

    def error(self, text: str) -> None:
        """Write an error to stderr, quiet or not."""
        sys.stdout.flush()
        text = clean_lines(text)
        red = is_live(sys.stderr) and allows_colour()
        click.echo(click.style(text, fg="red") if red else text, err=True)

    def started(self, step: str) -> None:
        """Show on a terminal which step is under way; it is overwritten at its end."""
        if not self.quiet and is_live(sys.stderr):
            click.echo(f"\r{step} ...", err=True, nl=False)

    def finished(self, step: str, rows: int, seconds: float) -> None:
        """Say what a step did, in one line."""
        if not self.quiet:
            start = "\r\x1b[K" if is_live(sys.stderr) else ""
            click.echo(f"{start}{step:<8}{rows:>12,} rows{seconds:>9.2f} s", err=True)


def is_live(stream: TextIO) -> bool:
    """Tell whether somebody looks at the stream."""
    return stream.isatty() and os.environ.get("TERM") != "dumb"


def allows_colour() -> bool:
    """Tell whether colours are wanted; see no-color.org."""
    return not os.environ.get("NO_COLOR")
