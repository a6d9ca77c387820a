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
import threading
import time
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
    wide : bool
        Tables keep all their columns, however wide the terminal.
    quiet : bool
        Nothing on stderr but errors.
    verbose : bool
        Details on stderr as well.
    debug : bool
        Errors come with their traceback.
    """

    json: bool = False
    wide: bool = False
    quiet: bool = False
    verbose: bool = False
    debug: bool = False

    def __post_init__(self) -> None:
        """Begin with nothing under way."""
        self._under_way: _UnderWay | None = None
        self.more = "--wide, --json"
        """Options that give what a table leaves out for width."""

    def doing(self, what: str) -> None:
        """Show on a terminal what is done and for how long, once it takes over 2 s."""
        self.done()
        if not self.quiet and is_live(sys.stderr):
            self._under_way = _UnderWay(what)

    def done(self) -> None:
        """Take away what `doing` shows."""
        if self._under_way:
            self._under_way.end()
            self._under_way = None

    def emit(self, text: str) -> None:
        """Write a line that was asked for to stdout, as it is."""
        self.done()
        click.echo(clean_lines(text))

    def tell(self, text: str) -> None:
        """Write sentences that were asked for, folded to the terminal's width.

        For words only: a path that holds blanks would be cut in two.
        """
        self.done()
        live = is_live(sys.stdout)
        width = shutil.get_terminal_size().columns if live else None
        click.echo(folded(clean_lines(text), width))

    def emit_json(self, value: Any) -> None:
        """Write a value as JSON; ASCII only, so nothing in it acts on a terminal."""
        self.done()
        click.echo(json.dumps(value, default=plain, indent=2))

    def emit_table(
        self,
        columns: Sequence[str],
        rows: Iterable[Sequence[Any]],
        *,
        drops: Sequence[str] = (),
    ) -> None:
        """Write a table to stdout, within the terminal's width where it is one.

        Parameters
        ----------
        columns : sequence of str
            The headings.
        rows : iterable of sequences
        drops : sequence of str
            Headings that a narrow terminal does without, the first first; said on
            stderr.
        """
        self.done()
        width = None
        if is_live(sys.stdout) and not self.wide:
            width = shutil.get_terminal_size().columns
        gone: list[str] = []
        lines = aligned(columns, rows, width=width, drops=drops, left_out=gone)
        heading, *lines = lines or [""]
        bold = is_live(sys.stdout) and allows_colour()
        click.echo(click.style(heading, bold=True) if bold else heading)
        for line in lines:
            click.echo(line)
        if gone:
            told = f"not shown for width: {'; '.join(gone)} ({self.more})"
            self.note(folded(told, width))

    def note(self, text: str) -> None:
        """Write a line about the work to stderr, unless quiet."""
        if not self.quiet:
            resumed = self._under_way.what if self._under_way else None
            self.done()
            sys.stdout.flush()
            click.echo(clean_lines(text), err=True)
            if resumed:
                self.doing(resumed)

    def detail(self, text: str) -> None:
        """Write a line to stderr for those who asked for details."""
        if self.verbose:
            self.note(text)

    def error(self, text: str) -> None:
        """Write an error to stderr, quiet or not, folded to the width of a terminal."""
        self.done()
        sys.stdout.flush()
        width = shutil.get_terminal_size().columns if is_live(sys.stderr) else None
        text = folded(clean_lines(text), width, hang=HANG)
        red = is_live(sys.stderr) and allows_colour()
        click.echo(click.style(text, fg="red") if red else text, err=True)

    def trace(self, text: str) -> None:
        """Write a traceback to stderr, its lines as they are."""
        self.done()
        sys.stdout.flush()
        click.echo(clean_lines(text), err=True)

    def started(self, step: str, what: str = "") -> None:
        """Show on a terminal which step is under way; it is overwritten at its end."""
        if not self.quiet and is_live(sys.stderr):
            click.echo(f"\r{step} ...", err=True, nl=False)
        self.doing(f"{step}: {what}" if what else step)

    def finished(self, step: str, rows: int, seconds: float) -> None:
        """Say what a step did, in one line."""
        self.done()
        if not self.quiet:
            start = WIPE if is_live(sys.stderr) else ""
            click.echo(f"{start}{step:<8}{rows:>12,} rows{seconds:>9.2f} s", err=True)


HANG = 10
"""How far an error's line goes on: where its words begin behind "found:"."""
WIPE = "\r\x1b[K"
"""Takes a terminal's line away."""
PATIENCE = 2.0
"""Seconds after which it is said what is being done."""


class _UnderWay:
    """A line on the terminal that counts the seconds of what is being done."""

    def __init__(self, what: str) -> None:
        self.what = what
        self._over = threading.Event()
        self._begun = time.monotonic()
        self._shown = False
        self._thread = threading.Thread(
            target=self._count, name="under way", daemon=True
        )
        self._thread.start()

    def _count(self) -> None:
        wait = PATIENCE
        while not self._over.wait(wait):
            wait = 1.0
            self._shown = True
            passed = time.monotonic() - self._begun
            wide = shutil.get_terminal_size().columns
            line = f"{self.what}, {passed:.0f} s"
            click.echo(f"{WIPE}{line[: wide - 1]}", err=True, nl=False)

    def end(self) -> None:
        """Stop counting and take the line away."""
        self._over.set()
        self._thread.join()
        if self._shown:
            click.echo(WIPE, err=True, nl=False)


def is_live(stream: TextIO) -> bool:
    """Tell whether somebody looks at the stream."""
    return stream.isatty() and os.environ.get("TERM") != "dumb"


def allows_colour() -> bool:
    """Tell whether colours are wanted; see no-color.org."""
    return not os.environ.get("NO_COLOR")
