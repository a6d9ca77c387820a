"""Text as a terminal takes it: harmless, in columns that fit, folded between words."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from itertools import zip_longest
from typing import Any

NARROWEST = 8
"""Characters that a column keeps however narrow the terminal."""
WHOLE = 12
"""Characters of a word, such as an id or a day, that a column keeps whole if it can."""
FEW = 12
"""Rows that rather stand upright than have their ids and days cut."""
SHORT = 2
"""Lines that a row takes at most while there are columns to do without."""
GAP = "  "
HEADING_PARTS = re.compile(r"[^_\s]+[_\s]*|[_\s]+")
FIGURE = re.compile(r"[+-]?\d+(\.\d+( %)?| %)")
"""A text that is a broken number or a percentage; a whole number may be a name."""
PATH_PARTS = re.compile(r"[^\s/#:,;]*[/#:,;]+|[^\s/#:,;]+")
"""Where a word too long for its column, such as a path and its line, may be parted."""
PIECE = 24
"""Characters of such a part that a column keeps whole if it can."""
_HARMFUL = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}


def clean(text: str) -> str:
    """Spell out control and direction characters, so that they only show."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        f"\\u{ord(sign):04x}" if unicodedata.category(sign) in _HARMFUL else sign
        for sign in text
    )


FORMULA_SIGNS = "=+-@\t\r'"
"""A text that begins so, a spreadsheet may take for a formula (the last: for its mark)."""


NO_FORMULAS = "queen-outcomes: a first ' is not part of a text"
"""Heading of an empty column in a file to be read again, where an apostrophe was put before
a text: in any other file a first apostrophe is the station's own."""


def no_formula(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take for a formula."""
    return f"'{text}" if text and text[0] in FORMULA_SIGNS else text


def width_of(text: str) -> int:
    """Give how many columns of a terminal a text takes (Unicode annex 11).

    A letter of East Asia takes two, a sign set over another one none.
    """
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(sign) else 1 + (unicodedata.east_asian_width(sign) in "WF")
        for sign in text
    )


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Give a table as CSV: UTF-8, commas, points, ISO days, numbers in full.

    Texts are kept from being taken for formulas (`no_formula`); null is empty, yes and no
    are true and false, a list stands in one cell with commas.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_csv_cell(value) for value in row] for row in rows)
    return text.getvalue()


def _csv_cell(value: Any) -> Any:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        value = ", ".join(map(str, value))
    return no_formula(value) if isinstance(value, str) else value


def by_number(text: str) -> list[tuple[int, str]]:
    """Give a key that sorts labels as people count: N2 before N10."""
    parts = re.findall(r"\d+|\D+", text.casefold())
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in parts]


def clean_lines(text: str) -> str:
    """Make a text of several lines harmless, its line ends kept."""
    return "\n".join(clean(line) for line in text.split("\n"))


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
    columns: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    width: int | None = None,
    drops: Sequence[str] = (),
    left_out: list[str] | None = None,
) -> list[str]:
    """Lay a table out in aligned columns.

    Parameters
    ----------
    columns : sequence of str
        The headings.
    rows : iterable of sequences
        Values as they come from the store; numbers are set to the right.
    width : int or None
        Characters to keep to, by folding the widest cells, or by setting the cells of
        a row one below the other where even that is too wide; None: no limit.
    drops : sequence of str
        Columns to leave out of a table that is too wide, the first first.
    left_out : list of str, optional
        Takes up those that were left out.

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
    if not columns:
        return []
    gone = _too_many(texts, width, drops) if width is not None else []
    if gone:
        kept = [at for at, name in enumerate(columns) if name not in gone]
        texts = [[cells[at] for at in kept] for cells in texts]
        rows = [[row[at] for at in kept] for row in rows]
        columns = [columns[at] for at in kept]
        if left_out is not None:
            left_out += gone
    widths = [max(map(width_of, cells)) for cells in zip(*texts, strict=True)]
    floors = _floors(texts)
    fits = (
        width is None
        or _narrow(widths, floors, width)
        or (len(rows) > FEW and _narrow(widths, [0] * len(floors), width))
    )
    if not fits:
        return _one_below_the_other(texts, width)
    numeric = [
        all(_is_number(row[at]) for row in rows)
        and any(row[at] not in (None, "") for row in rows)
        for at in range(len(columns))
    ]
    return [
        line
        for at, cells in enumerate(texts)
        for line in _lines(cells, widths, numeric, heading=at == 0)
    ]


def _too_many(texts: list[list[str]], width: int, drops: Sequence[str]) -> list[str]:
    """Give the columns to leave out: as few as keep words whole and rows short.

    Where no choice keeps every row within `SHORT` lines, all of them.
    """
    heading = texts[0]
    droppable = [name for name in drops if name in heading]
    for many in range(len(droppable) + 1):
        gone = droppable[:many]
        kept = [at for at, name in enumerate(heading) if name not in gone]
        some = [[cells[at] for at in kept] for cells in texts]
        widths = [max(map(width_of, cells)) for cells in zip(*some, strict=True)]
        if _narrow(widths, _floors(some), width) and all(
            width_of(cell) <= SHORT * wide
            for cells in some[1:]
            for cell, wide in zip(cells, widths, strict=True)
        ):
            return gone
    return droppable


def _is_number(value: Any) -> bool:
    if isinstance(value, str):
        return not value or FIGURE.fullmatch(value) is not None
    return value is None or (
        isinstance(value, int | float) and not isinstance(value, bool)
    )


def _floors(texts: list[list[str]]) -> list[int]:
    """Give the width of each column at which its short words stay whole."""
    heading, *rows = texts
    floors = []
    for at, name in enumerate(heading):
        words = [
            *HEADING_PARTS.findall(name),
            *(w for r in rows for w in r[at].split()),
        ]
        short = [word for word in words if width_of(word) <= WHOLE]
        parts = [p for w in words if width_of(w) > WHOLE for p in PATH_PARTS.findall(w)]
        short += [part for part in parts if width_of(part) <= PIECE]
        floors.append(max(map(width_of, short), default=0))
    return floors


def _narrow(widths: list[int], floors: list[int], width: int) -> bool:
    """Take from the widest column, again and again, until the table fits; tell if it does.

    No column goes under its floor, nor under NARROWEST.
    """
    while sum(widths) + len(GAP) * (len(widths) - 1) > width:
        over = [
            (wide, -at)
            for at, (wide, floor) in enumerate(zip(widths, floors, strict=True))
            if wide > max(floor, NARROWEST)
        ]
        if not over:
            return False
        widths[-max(over)[1]] -= 1
    return True


def _one_below_the_other(texts: list[list[str]], width: int) -> list[str]:
    """Give a row's cells one below the other, for a table too wide for columns."""
    names, *rows = texts
    start = max(map(width_of, names)) + len(GAP)
    lines: list[str] = []
    for row in rows:
        lines += [""] if lines else []
        for name, cell in zip(names, row, strict=True):
            parts = _between_words(cell, max(width - start, NARROWEST)) or [""]
            heads = [name, *[""] * (len(parts) - 1)]
            lines += [
                (_filled(head, start) + part).rstrip()
                for head, part in zip(heads, parts, strict=True)
            ]
    return lines


def _lines(
    cells: list[str], widths: list[int], numeric: list[bool], *, heading: bool
) -> list[str]:
    folded_cells = [
        (_at_underscores(cell, wide) if heading else _between_words(cell, wide)) or [""]
        for cell, wide in zip(cells, widths, strict=True)
    ]
    return [
        GAP.join(
            _filled(part, wide, right=number)
            for part, wide, number in zip(parts, widths, numeric, strict=True)
        ).rstrip()
        for parts in zip_longest(*folded_cells, fillvalue="")
    ]


def _between_words(cell: str, wide: int) -> list[str]:
    """Fold a cell between words; a longer word, such as a path, behind its punctuation."""
    lines: list[str] = []
    for word in cell.split():
        if lines and width_of(lines[-1]) + 1 + width_of(word) <= wide:
            lines[-1] += f" {word}"
            continue
        pieces = [word] if width_of(word) <= wide else PATH_PARTS.findall(word)
        line = ""
        for piece in pieces:
            if line and width_of(line + piece) > wide:
                lines.append(line)
                line = ""
            line += piece
        lines.append(line)
    return [
        part
        for line in lines
        for part in ([line] if width_of(line) <= wide else _cut(line, max(wide, 1)))
    ]


def _cut(text: str, wide: int) -> list[str]:
    """Cut a text without a place to fold it into parts so wide."""
    if width_of(text) == len(text):
        return textwrap.wrap(text, wide)
    parts = [""]
    for sign in text:
        if parts[-1] and width_of(parts[-1] + sign) > wide:
            parts.append("")
        parts[-1] += sign
    return parts


def _filled(text: str, wide: int, *, right: bool = False) -> str:
    """Fill a text with blanks up to so many columns; to the right of them: a number."""
    blanks = " " * (wide - width_of(text))
    return blanks + text if right else text + blanks


def _at_underscores(name: str, wide: int) -> list[str]:
    """Fold a heading: behind its underscores where they are, else anywhere."""
    lines = [""]
    for part in HEADING_PARTS.findall(name):
        if lines[-1] and width_of(lines[-1] + part) > wide:
            lines.append("")
        lines[-1] += part
    return [piece for line in lines for piece in _cut(line, max(wide, 1))]


def folded(text: str, width: int | None, hang: int = len(GAP)) -> str:
    """Fold the lines of a text between words; what goes on stands so much further in."""
    if width is None:
        return text
    lines = []
    for line in text.split("\n"):
        start = line[: len(line) - len(line.lstrip())]
        lines += textwrap.wrap(
            line,
            max(width, NARROWEST),
            subsequent_indent=start + " " * hang,
            break_long_words=False,
            break_on_hyphens=False,
        ) or [""]
    return "\n".join(lines)
