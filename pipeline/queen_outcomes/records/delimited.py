"""CSV and TSV: the encoding, the line ends, the separator, and every physical line.

The standard library's `csv` cuts the cells. What it would pass over in silence is held
here: a quote that never closes costs its own line only, a line that does not have the
cells that the headings ask for comes back as a broken row with its text, and the lines
are counted a second time, independently of what was cut.
"""

from __future__ import annotations

import codecs
import csv
import io
import itertools
import re
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import polars as pl

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.records.headings import (
    RESERVED,
    SEARCHED_ROWS,
    HeadingSearch,
    joined,
    no_heading_there,
    tidy,
)
from queen_outcomes.records.titles import filled

SEPARATORS = (",", ";", "\t")
CELLS_MISSING, CELLS_EXTRA, QUOTE_OPEN = "cells_missing", "cells_extra", "quote_open"
MOST_LINES = 200
"""A cell may run over so many lines; beyond that its quote was never closed."""
BATCH_ROWS = 4000
"""Rows held as Python objects at a time; more is slower, since they leave the cache."""
OLE_MAGIC = bytes.fromhex("d0cf11e0a1b11ae1")
_SCAN_BYTES = 2**20
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\v\f\r\x1a")) + b"\x7f"
_MOST_CONTROLS = 0.01
_DISGUISED = (
    (b"PK\x03\x04", "a zip file, as .xlsx workbooks are", "rename it to .xlsx"),
    (OLE_MAGIC, "an old or password-protected workbook", "save it as .xlsx"),
    (b"PAR1", "a Parquet file", "rename it to .parquet"),
)
_QUOTED_CELL = re.compile(r'(?:(?<=[,;\t\r\n])|\A)"(?:[^"]|"")*"')
_LINE_END = re.compile(r"\r*\n|\r")
_BARE_RETURN = re.compile(r"\r(?!\r*\n)")

# The usual limit of 131072 characters a cell would end in an error; there is none here.
csv.field_size_limit(2**31 - 1)


@dataclass(frozen=True)
class TextForm:
    """How a text file is written.

    Parameters
    ----------
    encoding : str
        Python's name of the encoding.
    skip : int
        Bytes of the byte-order mark.
    lines : int
        How many physical lines it has, counted in its bytes.
    returns_end_lines : bool
        Lines end with a carriage return alone, as old programs wrote them.
    """

    encoding: str
    skip: int
    lines: int
    returns_end_lines: bool


@dataclass(frozen=True)
class TextLayout:
    """How a text table is laid out."""

    separator: str
    first_row: int
    """The physical line after the headings, from 1."""
    headings: tuple[str, ...]
    titles: tuple[tuple[str, ...], ...] = ()
    """The texts of the lines above the headings."""

    @property
    def least(self) -> int:
        """How many cells a row must have: up to the last heading that has a name."""
        named = [n for n, text in enumerate(self.headings, 1) if tidy(text)]
        return max(named, default=1)

    @property
    def most(self) -> int:
        """How many cells a row may have."""
        return len(self.headings)


# --- bytes


OTHER = "cp1252"
"""The encoding of a text that is no Unicode, where the settings name no other."""


def _latin(problem: UnicodeDecodeError) -> tuple[str, int]:
    """Keep the five bytes that Windows-1252 leaves undefined, instead of losing them."""
    return problem.object[problem.start : problem.end].decode("latin-1"), problem.end


codecs.register_error("queen_outcomes_latin", _latin)


def examine(content: bytes, name: str, other: str = OTHER) -> TextForm:
    """Tell how a text file is written, from its bytes and never from the locale.

    Parameters
    ----------
    content : bytes
    name : str
        For errors.
    other : str
        The encoding of a text that no form of Unicode fits.

    Raises
    ------
    RecordsError
        It is empty, a file of another kind under a wrong ending, or not text.
    """
    head = content[:4096]
    if not head:
        raise RecordsError(
            "the file is empty",
            where=name,
            expected="at least a line of column names",
            hint="export it again, or move it out of the records",
        )
    for magic, what, hint in _DISGUISED:
        if head.startswith(magic):
            raise RecordsError(
                "the file is not a text table", where=name, found=what, hint=hint
            )
    for bom, encoding in _BOMS:
        if head.startswith(bom):
            return _scan(content, name, encoding, len(bom), other)
    return _scan(content, name, _wide_without_bom(head) or "utf-8", 0, other)


def _wide_without_bom(head: bytes) -> str | None:
    half = max(len(head) // 2, 1)
    even, odd = head[0::2].count(0) / half, head[1::2].count(0) / half
    if odd > 0.3 and even < 0.05:
        return "utf-16-le"
    return "utf-16-be" if even > 0.3 and odd < 0.05 else None


def _scan(
    content: bytes, name: str, encoding: str, skip: int, other: str
) -> TextForm:
    """Read the whole file once: does it decode, does it hold controls, which line ends."""
    controls = size = feeds = returns = pairs = 0
    decodes, before = True, b"\n"
    decoder = codecs.getincrementaldecoder(encoding)("strict")
    for chunk, last in _chunks(content, skip):
        try:
            text = decoder.decode(chunk, last) if decodes else ""
        except UnicodeDecodeError:
            decodes = False
        plain = chunk
        if encoding != "utf-8":
            plain = text.encode("utf-8", "replace") if decodes else b"\0"
        controls += len(plain) - len(plain.translate(None, _CONTROLS))
        size += len(plain)
        feeds, returns = feeds + plain.count(b"\n"), returns + plain.count(b"\r")
        pairs += (before[-1:] + plain).count(b"\r\n")
        before = plain or before
        if b"\0" in plain:
            _refuse(name)
    if controls > _MOST_CONTROLS * size:
        _refuse(name)
    code = encoding if decodes else other
    form = TextForm(code, skip, feeds + (before[-1:] != b"\n"), False)
    lone = returns - pairs
    if lone and (not feeds or _returns_outnumber(content, form)):
        ends = feeds + lone + (before[-1:] not in (b"\n", b"\r"))
        return TextForm(code, skip, ends, True)
    return form


def _returns_outnumber(content: bytes, form: TextForm) -> bool:
    """Tell whether most line ends outside quotes are carriage returns alone."""
    with _opened(content, form) as file:
        bare = _QUOTED_CELL.sub("", file.read())
    ends = _LINE_END.findall(bare)
    return 2 * ends.count("\r") > len(ends)


def _refuse(name: str) -> None:
    raise RecordsError(
        "the file is not a text table",
        where=name,
        found="bytes that no text holds",
        expected="comma, semicolon or tab separated text",
        hint="export it again as CSV, or move it out of the records",
    )


def _chunks(content: bytes, skip: int) -> Iterator[tuple[bytes, bool]]:
    for start in range(skip, len(content), _SCAN_BYTES):
        end = start + _SCAN_BYTES
        yield content[start:end], end >= len(content)


def _opened(content: bytes, form: TextForm) -> io.TextIOWrapper:
    """Open the text; its lines end as most of them do, and always in a line feed."""
    file = io.BytesIO(content)
    file.seek(form.skip)
    ends = None if form.returns_end_lines else "\n"
    return io.TextIOWrapper(file, form.encoding, "queen_outcomes_latin", newline=ends)


# --- lines into cells


class RecordReader:
    """The cells of each record, and the physical lines that it took.

    A cell that begins with a quote ends at the quote that closes it, two quotes inside
    it are one; a quote inside any other cell is a quote (tip 5").

    Parameters
    ----------
    lines : iterable of str
        The physical lines, each with its line feed.
    separator : str
        Comma, semicolon or tab, or another single character that the file declares.
    line : int
        The number of the first of them.

    Attributes
    ----------
    line : int
        The number of the first line of the record that was given last.
    taken : list of str
        The lines of that record.
    """

    def __init__(self, lines: Iterable[str], separator: str, line: int = 1) -> None:
        self.line, self.taken = line, list[str]()
        self._separator = separator
        self._lines, self._given_back = iter(lines), deque[str]()
        self._reader = self._begin()

    def __iter__(self) -> Iterator[list[str] | None]:
        return self

    def __next__(self) -> list[str] | None:
        """Give a record's cells, or None for a line whose quotes do not close.

        Raises
        ------
        csv.Error
            A carriage return stands in the line outside quotes.
        """
        self.line += len(self.taken)
        self.taken.clear()
        try:
            return next(self._reader)
        except csv.Error:
            self._reader = self._begin()
            self.give_back()
            return self._mend(self.taken[0])

    def give_back(self) -> None:
        """Keep the first line of the record only; the others will be read anew."""
        self._given_back.extendleft(reversed(self.taken[1:]))
        del self.taken[1:]

    def _begin(self) -> Iterator[list[str]]:
        return csv.reader(self._feed(), delimiter=self._separator, strict=True)

    def _feed(self) -> Iterator[str]:
        while len(self.taken) < MOST_LINES:
            line = self._given_back.popleft() if self._given_back else None
            line = line or next(self._lines, None)
            if line is None:
                return
            self.taken.append(line)
            yield line

    def _mend(self, line: str) -> list[str] | None:
        """Add text that follows a closing quote to its cell: "Q1" b is Q1 b."""
        cells = next(csv.reader([line], delimiter=self._separator))
        # With any other quote about, nobody knows which one was meant to close.
        stray = line.count('"') % 2 or any('"' in cell for cell in cells)
        return None if stray else cells


def is_blank(cells: Sequence[str]) -> bool:
    """Tell whether no cell holds text."""
    return not "".join(cells).replace("\ufeff", "").strip()


def lay_out(
    content: bytes,
    form: TextForm,
    names: HeadingSearch,
    where: str,
    header: Sequence[int] = (),
) -> TextLayout:
    """Find the separator and the headings of a text table.

    Parameters
    ----------
    content : bytes
        The file.
    form : TextForm
    names : HeadingSearch
        What finds the line of headings, where ``header`` does not say it.
    where : str
        The file's name.
    header : sequence of int
        The physical lines of the headings, from 1, as the settings have them.

    Raises
    ------
    RecordsError
        There is no line with text, none begins where the settings say, or the headings
        hold a bare carriage return.
    """
    with _opened(content, form) as file:
        most = SEARCHED_ROWS * MOST_LINES + max(header, default=0)
        lines = list(itertools.islice(file, most))
    declared = lines[0].strip("\r\n \ufeff").casefold() if lines else ""
    separators, skip = SEPARATORS, 0
    if declared.startswith("sep=") and len(declared) == 5:
        separators, skip = (declared[4],), 1
    elif declared == "sep=":
        separators, skip = ("\t",), 1
    best: tuple[tuple[bool, int, int], TextLayout] | None = None
    for separator in separators:
        rows = _top(lines[skip:], separator, skip, header)
        if not rows:
            raise RecordsError(
                "the file holds no text",
                where=where,
                expected="at least a line of column names",
            )
        score, layout = _headed(rows, separator, names, header, where)
        # on a tie the comma: the separator of a file of one column
        if best is None or score > best[0]:
            best = score, layout
    layout = best[1]  # type: ignore[index]
    if _BARE_RETURN.search("".join(lines[: layout.first_row - 1])):
        raise _mixed_line_ends(where, "its headings or the lines above them")
    return layout


@dataclass(frozen=True)
class _TopRow:
    """A row that holds text, among the first of a file."""

    line: int
    """Its first physical line."""
    following: int
    """The line that follows it."""
    cells: list[str]


def _top(
    lines: list[str], separator: str, skip: int, header: Sequence[int]
) -> list[_TopRow]:
    last, rows = max(header, default=0), []
    for row in _first_rows(lines, separator, skip):
        if len(rows) >= SEARCHED_ROWS and row.line > last:
            break
        rows.append(row)
    return rows


def _headed(
    rows: list[_TopRow],
    separator: str,
    names: HeadingSearch,
    header: Sequence[int],
    where: str,
) -> tuple[tuple[bool, int, int], TextLayout]:
    """Give the layout that a separator makes, and how well it fits."""
    if header:
        there = {row.line: row for row in rows}
        headed = [there[line] for line in header if line in there]
        if len(headed) < len(header):
            raise no_heading_there(header, there, where)
        first, last = headed[0], headed[-1]
        cells = joined([row.cells for row in headed])
        _, known, complete = names.find([cells])
    else:
        place, known, complete = names.find([row.cells for row in rows])
        first = last = rows[place]
        cells = last.cells
    alike = sum(len(row.cells) == len(last.cells) > 1 for row in rows)
    above = filled(row.cells for row in rows if row.line < first.line)
    layout = TextLayout(separator, last.following, tuple(cells), above)
    return (complete, known, alike), layout


def _first_rows(lines: list[str], separator: str, skip: int) -> Iterator[_TopRow]:
    reader = RecordReader(lines, separator, skip + 1)
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error:
            cells = None
        if cells is None:
            cells = [_plain(reader.taken[0])]
        if not is_blank(cells):
            yield _TopRow(reader.line, reader.line + len(reader.taken), cells)


def _mixed_line_ends(where: str, place: str) -> RecordsError:
    return RecordsError(
        "a carriage return stands where no line ends, so rows could be lost",
        where=where,
        found=f"one inside {place}",
        expected="lines that all end alike",
        hint="open the file in a spreadsheet program and save it again as CSV; a cell "
        "that is to hold several lines needs quotes around it",
    )


def read_rows(
    content: bytes,
    form: TextForm,
    layout: TextLayout,
    where: str,
    batch_rows: int = BATCH_ROWS,
) -> Iterator[pl.DataFrame]:
    """Read the rows below the headings, in batches in the order of the file.

    Returns
    -------
    iterator of DataFrame
        source_line (first physical line), broken, broken_text, then the cells as "0",
        "1", ... Empty cells are null.

    Raises
    ------
    RecordsError
        A carriage return stands outside quotes, or the lines read are not those that
        were counted.
    """
    with _opened(content, form) as file:
        below = itertools.islice(file, layout.first_row - 1, None)
        reader = RecordReader(below, layout.separator, layout.first_row)
        rows = _rows(reader, layout)
        try:
            while batch := list(itertools.islice(rows, batch_rows)):
                yield _frame(batch, layout.most)
        except csv.Error:
            raise _mixed_line_ends(where, f"line {reader.line}") from None
    # the reader that has ended stands behind its last record
    lines = reader.line - 1
    if lines != form.lines:
        raise RecordsError(
            "the lines read are not the lines that the file holds",
            where=where,
            found=f"{lines} lines read, {form.lines} counted",
            expected="the same number",
            hint="close the program that writes the file, and read it again; if that "
            "does not help, save it again as CSV",
        )


def _rows(reader: RecordReader, layout: TextLayout) -> Iterator[list]:
    """Give each row's line, what is wrong with it, its text where it is, its cells."""
    for cells in reader:
        if cells is not None and is_blank(cells):
            continue
        if cells is not None and len(cells) == layout.most:
            yield [reader.line, None, None, *cells]
        else:
            yield [reader.line, *_fit(reader, cells, layout)]


def _fit(
    reader: RecordReader, cells: list[str] | None, layout: TextLayout
) -> list[str | None]:
    """Fill a record's cells up to the full width, or say what is wrong with it."""
    least, most = layout.least, layout.most
    none = [""] * most
    if cells is not None and len(cells) >= least and is_blank(cells[most:]):
        return [None, None, *cells[:most], *none[len(cells) :]]
    broken = CELLS_EXTRA
    if cells is None or len(reader.taken) > 1:
        reader.give_back()
        broken = QUOTE_OPEN
    elif len(cells) < least:
        broken = CELLS_MISSING
    return [broken, _plain(reader.taken[0]), *none]


def _plain(line: str) -> str:
    return line.removesuffix("\n").removesuffix("\r")


def _frame(rows: list[list], most: int) -> pl.DataFrame:
    cells = dict.fromkeys(map(str, range(most)), pl.String)
    schema = {**dict.fromkeys(RESERVED, pl.String), RESERVED[0]: pl.Int64, **cells}
    frame = pl.DataFrame(list(zip(*rows, strict=True)), schema=schema, orient="col")
    return frame.with_columns(
        pl.when(pl.col(list(cells)).str.len_bytes() > 0).then(pl.col(list(cells)))
    )
