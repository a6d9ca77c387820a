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
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TextIO

import click

NARROWEST = 8
"""Characters that a column keeps however narrow the terminal."""
GAP = "  "
_HARMFUL = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}


def clean(text: str) -> str:
    """Spell out control and direction characters, so that they only show."""
    return "".join(
        f"\\u{ord(sign):04x}" if unicodedata.category(sign) in _HARMFUL else sign
        for sign in text
    )


def show(value: Any) -> str:
    """Give a table cell's text: empty for null, days as ISO, yes and no as words."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, list | tuple):
        return ", ".join(show(part) for part in value)
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ", timespec="minutes")
    return clean(str(value))


def aligned(
    columns: Sequence[str], rows: Iterable[Sequence[Any]], *, width: int | None = None
) -> list[str]:
    """Lay a table out in aligned columns.

    Parameters
    ----------
    columns : sequence of str
        The headings.
    rows : iterable of sequences
        Values as they come from the store; numbers are set to the right.
    width : int or None
        Characters to keep to, by folding the widest cells; None: no limit.

    Returns
    -------
    list of str
        The lines, heading first, without trailing blanks.
    """
    rows = [list(row) for row in rows]
    texts = [
        [clean(name) for name in columns],
        *([show(v) for v in row] for row in rows),
    ]
    widths = [max(map(len, cells), default=0) for cells in zip(*texts, strict=True)]
    _narrow(widths, width)
    numeric = [
        all(_is_number(row[at]) for row in rows) and bool(rows)
        for at in range(len(columns))
    ]
    return [line for cells in texts for line in _lines(cells, widths, numeric)]


def _is_number(value: Any) -> bool:
    return value is None or (
        isinstance(value, int | float) and not isinstance(value, bool)
    )


def _narrow(widths: list[int], width: int | None) -> None:
    """Take from the widest column, again and again, until the table fits."""
    if width is None or not widths:
        return
    while sum(widths) + len(GAP) * (len(widths) - 1) > width:
        widest = max(range(len(widths)), key=widths.__getitem__)
        if widths[widest] <= NARROWEST:
            return
        widths[widest] -= 1


def _lines(cells: list[str], widths: list[int], numeric: list[bool]) -> list[str]:
    folded = [
        textwrap.wrap(cell, max(wide, 1)) or [""]
        for cell, wide in zip(cells, widths, strict=True)
    ]
    lines = []
    for at in range(max(map(len, folded), default=0)):
        parts = [part[at] if at < len(part) else "" for part in folded]
        lines.append(
            GAP.join(
                part.rjust(wide) if number else part.ljust(wide)
                for part, wide, number in zip(parts, widths, numeric, strict=True)
            ).rstrip()
        )
    return lines


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
        """Write a line that was asked for to stdout."""
        click.echo(clean_lines(text))

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


def clean_lines(text: str) -> str:
    """Make a text of several lines harmless, its line ends kept."""
    return "\n".join(clean(line) for line in text.split("\n"))


def is_live(stream: TextIO) -> bool:
    """Tell whether somebody looks at the stream."""
    return stream.isatty() and os.environ.get("TERM") != "dumb"


def allows_colour() -> bool:
    """Tell whether colours are wanted; see no-color.org."""
    return not os.environ.get("NO_COLOR")
