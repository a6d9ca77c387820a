"""CSV and TSV: the separator, the headings, and every physical line accounted for.

A line is a row, part of a row that runs over several lines, or without text. What
does not have the cells that the headings ask for comes back as a broken row with its
text; nothing is guessed into place. Lines are cut up by columns, not one by one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.records import quoting
from queen_outcomes.records.cutting import BLANKS, Cutter
from queen_outcomes.records.encoding import TextForm, blocks, head
from queen_outcomes.records.header import SEARCHED_ROWS, Names, tidy

SEPARATORS = (",", ";", "\t")


@dataclass(frozen=True)
class Layout:
    """How a text table is laid out."""

    separator: str
    header_line: int
    """The first physical line of the headings, from 1."""
    first_row: int
    """The physical line after the headings."""
    headings: tuple[str, ...]

    @property
    def least(self) -> int:
        """How many cells a row must have: up to the last heading that has a name."""
        named = [n for n, text in enumerate(self.headings, 1) if tidy(text)]
        return max(named, default=1)

    @property
    def most(self) -> int:
        """How many cells a row may have."""
        return len(self.headings)


def lay_out(path: Path, form: TextForm, names: Names, where: str) -> Layout:
    """Find the separator and the headings of a text table.

    Raises
    ------
    RecordsError
        There is no line with text.
    """
    lines = head(path, form)
    told = lines[0].strip("\r \ufeff").casefold()
    separators, skip = SEPARATORS, 0
    if told.startswith("sep=") and len(told) == 5:
        separators, skip = (told[4],), 1
    elif told == "sep=":
        separators, skip = ("\t",), 1
    best: tuple[tuple[bool, int, int], Layout] | None = None
    for separator in separators:
        rows = list(_first_rows(lines, separator, skip))
        if not rows:
            raise RecordsError(
                "the file holds no text",
                where=where,
                expected="at least a line of column names",
            )
        place, known, complete = names.find([cells for _, _, cells in rows])
        line, used, cells = rows[place]
        alike = sum(len(other) == len(cells) > 1 for _, _, other in rows)
        score = (complete, known, alike)
        if best is None or score > best[0]:
            best = score, Layout(separator, line, line + used, tuple(cells))
    return best[1]  # type: ignore[index]


def _first_rows(
    lines: list[str], separator: str, skip: int
) -> Iterator[tuple[int, int, list[str]]]:
    """Give line, number of lines and cells of the first rows that hold text."""
    at, given = skip, 0
    while at < len(lines) and given < SEARCHED_ROWS:
        cells, used = quoting.join(lines[at : at + quoting.MOST_LINES], separator)
        if isinstance(cells, str):
            text = lines[at].removesuffix("\r")
            lenient = quoting.split(text, separator, lenient=True)
            cells = [text] if isinstance(lenient, str) else lenient
            used = 1
        if any(cell.strip(BLANKS) for cell in cells):
            yield at + 1, used, cells
            given += 1
        at += used


def read(
    path: Path, form: TextForm, layout: Layout, size: int | None = None
) -> Iterator[pl.DataFrame]:
    """Read the rows below the headings, in batches in the order of the file.

    Returns
    -------
    iterator of DataFrame
        source_line (first physical line), lines (how many it spans), broken,
        broken_text, then the cells as "0", "1", ... Empty cells are null.
    """
    cutter = Cutter(
        layout.separator, layout.least, layout.most, first_row=layout.first_row
    )
    line, rest = 1, b""
    stream = blocks(path, form, size)
    block = next(stream, None)
    while block is not None:
        following = next(stream, None)
        text = (rest + block).decode("utf-8")
        whole = pl.Series("text", [text.removesuffix("\n")]).str.split("\n").explode()
        batch, used = cutter.cut(whole, line, last=following is None)
        rest = "".join(f"{left}\n" for left in whole[used:].to_list()).encode("utf-8")
        line += used
        yield batch
        block = following
