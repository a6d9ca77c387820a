"""Sheets of .xlsx and .ods workbooks as text, with the sheet's own row numbers.

No row is dropped. A cell that holds an error (#N/A) keeps it as text instead of turning
empty, one shown as per cent is written so ("95 %"), and a formula that was never
calculated stands as the formula. What the texts mean is decided elsewhere.
"""

from __future__ import annotations

import io
import logging
import lzma
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from xml.etree import ElementTree as ET
from xml.parsers import expat

import fastexcel
import polars as pl

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.records import opendocument, workbook_limits
from queen_outcomes.records.delimited import OLE_MAGIC
from queen_outcomes.records.opendocument import OpenDocument
from queen_outcomes.records.sheet_details import (
    Place,
    RowMarks,
    SheetDetails,
    as_per_cent,
)
from queen_outcomes.records.spreadsheet_xml import SpreadsheetXml
from queen_outcomes.records.workbook_limits import (
    MOST_CELLS,
    PLAIN_BYTES,
    refuse_huge,
    vast,
)
from queen_outcomes.records.workbook_process import WorkbookElsewhere

# what the reader logs goes to the terminal, in words that are not ours
logging.getLogger("calamine").setLevel(logging.ERROR)
DAMAGE = (
    *(fastexcel.FastExcelError, zipfile.BadZipFile, zlib.error, lzma.LZMAError),
    *(ET.ParseError, expat.ExpatError),
    # what zipfile says of ways of packing that it does not know
    *(ValueError, NotImplementedError, RuntimeError, EOFError),
    LookupError,  # a part that is not there, or an encoding that nobody knows
)
"""What reading a damaged workbook ends with."""
_MARKUP = re.compile(rb"(\xef\xbb\xbf)?\s*<[!?a-zA-Z]")


def open_workbook(content: bytes, name: str) -> Workbook | WorkbookElsewhere:
    """Open a workbook: a plain one here, any other in a process of its own.

    Raises
    ------
    RecordsError
        As `Workbook`.
    """
    plain = is_plain(content, name)
    return Workbook(content, name) if plain else WorkbookElsewhere(content, name)


def is_plain(content: bytes, name: str, times: int = 1) -> bool:
    """Tell whether a workbook is small, and reaches nowhere far, beyond doubt.

    Parameters
    ----------
    content : bytes
    name : str
    times : int
        How many times the usual limits it may have.

    Raises
    ------
    RecordsError
        As `Workbook`.
    """
    _refuse_others(content, name)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as book:
            refuse_huge(book, len(content), name)
            if sum(part.file_size for part in book.infolist()) > times * PLAIN_BYTES:
                return False
            parts = _parts(book, name)
            if isinstance(parts, OpenDocument):
                return parts.most_places <= times * workbook_limits.PLAIN_CELLS
            return workbook_limits.reaches_near(book, times)
    except DAMAGE as problem:
        raise Workbook.damaged(name, problem) from None


class Workbook:
    """An open workbook.

    Parameters
    ----------
    content : bytes
        The file.
    name : str
        What messages call it.

    Raises
    ------
    RecordsError
        It is protected by a password, damaged, too large, or no workbook at all.
    """

    def __init__(self, content: bytes, name: str) -> None:
        self.name = name
        self._frames: dict[str, pl.DataFrame] = {}
        self._details: dict[str, SheetDetails] = {}
        self._first_columns: dict[str, int] = {}
        _refuse_others(content, name)
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(content))
            refuse_huge(self._zip, len(content), name)
            self._parts = _parts(self._zip, name)
            self._reader = fastexcel.read_excel(content)
        except DAMAGE as problem:
            raise self.damaged(name, problem) from None

    @property
    def epoch_days(self) -> int:
        """Days that its calendar begins after the usual one."""
        return self._parts.epoch_days

    @cached_property
    def sheets(self) -> list[str]:
        """The sheets' names, in order."""
        return list(self._reader.sheet_names)

    def is_empty(self, sheet: str) -> bool:
        """Tell whether a sheet holds no text at all."""
        frame = self.read(sheet)
        return not any(
            (column.str.strip_chars().str.len_bytes() > 0).any() for column in frame
        )

    def first_column(self, sheet: str) -> int:
        """Give the sheet's column, from 0, that is the first of `read`'s: the first used."""
        self.read(sheet)
        return self._first_columns[sheet]

    def details(self, sheet: str) -> SheetDetails:
        """Give what a sheet keeps beside its texts; columns count as those of `read`.

        Raises
        ------
        RecordsError
            The sheet is damaged.
        """
        self.read(sheet)
        return self._details[sheet]

    def marks(self, sheet: str) -> RowMarks:
        """Give a sheet's fills, strikes and hidden rows; columns count as those of `read`."""
        if isinstance(self._parts, OpenDocument):
            marks = self._parts.marks(sheet, self.read(sheet).height)
        else:
            marks = self._parts.marks(sheet)
        return marks.from_column(self.first_column(sheet))

    def read(self, sheet: str) -> pl.DataFrame:
        """Read a sheet's cells as text: row 1 of the sheet is the first row.

        Raises
        ------
        RecordsError
            The sheet is damaged, or reaches further than any table does.
        """
        if sheet not in self._frames:
            self._frames[sheet] = self._read(sheet)
        return self._frames[sheet]

    def _read(self, sheet: str) -> pl.DataFrame:
        try:
            details = self._parts.details(sheet)
            self._refuse_vast(sheet)
            loaded = self._reader.load_sheet(
                sheet, header_row=None, dtypes="string", skip_rows=0
            )
            frame = loaded.to_polars()
        except DAMAGE as problem:
            raise self.damaged(f"{self.name}#{sheet}", problem) from None
        columns = loaded.available_columns() if frame.width else []
        first = used = columns[0].absolute_index if columns else 0
        more = details.texts | details.uncalculated
        if more:  # cells that the reader takes for empty may stand left of all others
            first = min(column for _, column in more)
            first = min(first, used) if columns else first
        frame.columns = [str(number + used - first) for number in range(frame.width)]
        left = [pl.lit(None, pl.String).alias(str(n)) for n in range(used - first)]
        if left and columns:
            frame = frame.select(*left, pl.all())
        details = details.from_column(first)
        texts = dict(_per_cents(frame, details.percents))
        texts |= details.texts | details.uncalculated
        self._details[sheet], self._first_columns[sheet] = details, first
        return with_texts(frame, texts)

    def _refuse_vast(self, sheet: str) -> None:
        """Refuse a sheet with a cell far outside its table, before room is made for it."""
        if isinstance(self._parts, OpenDocument):
            return
        rows, columns = self._parts.extent(sheet)
        if rows * columns <= MOST_CELLS and rows and columns:
            return
        rows, columns = self._parts.filled_extent(sheet)
        if rows * columns > MOST_CELLS:
            raise vast(f"{self.name}#{sheet}", rows, columns)

    @staticmethod
    def damaged(where: str, problem: Exception) -> RecordsError:
        """Say that a workbook, or a sheet of it, is damaged."""
        # a # may stand in the file's own name as well as before its sheet
        ending = "ods" if ".ods" in where.lower() else "xlsx"
        return RecordsError(
            "the workbook is damaged",
            where=where,
            found=str(problem).splitlines()[0] if str(problem) else "",
            hint=f"open it in a spreadsheet program and save it again as .{ending}",
        )


def with_texts(frame: pl.DataFrame, texts: Mapping[Place, str]) -> pl.DataFrame:
    """Put texts into a frame of texts, at (row, column); it grows where it must."""
    if not texts:
        return frame
    height = max(frame.height, 1 + max(row for row, _ in texts))
    width = max(frame.width, 1 + max(column for _, column in texts))
    if (height, width) != (frame.height, frame.width):
        more = pl.DataFrame(
            {str(n): pl.Series([None] * height, dtype=pl.String) for n in range(width)}
        )
        below = more.slice(frame.height).select(frame.columns)
        frame = pl.concat([frame, below]) if frame.width else more
        frame = frame.with_columns(more[str(n)] for n in range(frame.width, width))
    by_column: dict[int, dict[int, str]] = {}
    for (row, column), text in texts.items():
        by_column.setdefault(column, {})[row] = text
    return frame.with_columns(
        frame[str(column)].clone().scatter(list(cells), list(cells.values()))
        for column, cells in by_column.items()
    )


def _per_cents(
    frame: pl.DataFrame, places: Sequence[Place]
) -> Iterator[tuple[Place, str]]:
    columns: dict[int, list[str | None]] = {}
    for row, column in places:
        if row >= frame.height or column >= frame.width:
            continue  # an empty cell below or beside the table
        if column not in columns:
            columns[column] = frame[str(column)].to_list()
        share = columns[column][row]
        text = as_per_cent(share) if share is not None else None
        if text is not None:
            yield (row, column), text


def _parts(book: zipfile.ZipFile, name: str) -> SpreadsheetXml | OpenDocument:
    if not opendocument.is_one(book):
        return SpreadsheetXml(book)
    if opendocument.is_protected(book):
        raise _locked(name, "a workbook that a password protects", ".ods")
    return OpenDocument(book, name)


def _refuse_others(content: bytes, name: str) -> None:
    if not content:
        raise RecordsError(
            "the file is empty", where=name, hint="save the workbook again"
        )
    if content.startswith(OLE_MAGIC):
        found = "a workbook that a password protects, or an old .xls under a new name"
        raise _locked(name, found, ".xlsx")
    if not content.startswith(b"PK"):
        ending = ".ods" if name.lower().endswith(".ods") else ".xlsx"
        found, hint = _other_kind(content, ending)
        raise RecordsError(
            f"the file is not an {ending} workbook", where=name, found=found, hint=hint
        )


def _other_kind(content: bytes, ending: str) -> tuple[str, str]:
    """Say what a file is that is no workbook, and what to do about it."""
    again = f"open it in a spreadsheet program and save it as {ending}"
    head = content[:4096]
    if _MARKUP.match(head):
        return "a web page or other markup, as some programs export it", again
    if b"\0" not in head:
        return "a text", f"rename it to .csv, or {again}"
    return "", f"save it as {ending}, or give it the ending of what it is"


def _locked(name: str, found: str, ending: str) -> RecordsError:
    return RecordsError(
        "the workbook cannot be opened",
        where=name,
        found=found,
        hint=f"open it, take the password off, and save it as {ending}",
    )
