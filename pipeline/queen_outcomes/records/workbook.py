"""Sheets of .xlsx workbooks as text, with the sheet's own row numbers.

No row is dropped, and a cell that holds an error (#N/A) keeps it as text instead of
turning empty. What the texts mean is decided elsewhere.
"""

from __future__ import annotations

import zipfile
from pathlib import Path
from xml.etree import ElementTree as ET

import fastexcel
import polars as pl

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.records.delimited import OLE_MAGIC

DAYS_1904 = 1462
"""Days between the two calendars a workbook may count in."""
_WORKBOOK_PART = "xl/workbook.xml"
_ERRORS = {
    "NA": "#N/A",
    "Div0": "#DIV/0!",
    "Name": "#NAME?",
    "Null": "#NULL!",
    "Num": "#NUM!",
    "Ref": "#REF!",
    "Value": "#VALUE!",
}


class Workbook:
    """An open workbook.

    Raises
    ------
    RecordsError
        It is protected by a password, damaged, or no workbook at all.
    """

    def __init__(self, path: Path, name: str) -> None:
        self.name = name
        self._frames: dict[str, pl.DataFrame] = {}
        _refuse_others(path, name)
        try:
            self._reader = fastexcel.read_excel(path)
            self.epoch_days = _epoch_days(path)
        except (
            fastexcel.FastExcelError,
            zipfile.BadZipFile,
            KeyError,
            ET.ParseError,
        ) as problem:
            raise _damaged(name, problem) from None

    @property
    def sheets(self) -> list[str]:
        """The sheets' names, in order."""
        return list(self._reader.sheet_names)

    def is_empty(self, sheet: str) -> bool:
        """Tell whether a sheet holds no text at all."""
        frame = self.read(sheet)
        return not any(
            (column.str.strip_chars().str.len_bytes() > 0).any() for column in frame
        )

    def read(self, sheet: str) -> pl.DataFrame:
        """Read a sheet's cells as text: row 1 of the sheet is the first row.

        Raises
        ------
        RecordsError
            The sheet is damaged.
        """
        if sheet not in self._frames:
            self._frames[sheet] = self._read(sheet)
        return self._frames[sheet]

    def _read(self, sheet: str) -> pl.DataFrame:
        try:
            loaded = self._reader.load_sheet(
                sheet, header_row=None, dtypes="string", skip_rows=0
            )
            frame = loaded.to_polars()
            found = loaded.to_arrow_with_errors()[1] if frame.height else None
        except fastexcel.FastExcelError as problem:
            raise _damaged(f"{self.name}#{sheet}", problem) from None
        frame.columns = [str(number) for number in range(frame.width)]
        texts: dict[int, dict[int, str]] = {}
        for error in found.errors if found else []:
            row, column = error.position
            texts.setdefault(column, {})[row] = _error_text(error.detail)
        return frame.with_columns(
            frame[str(column)].clone().scatter(list(cells), list(cells.values()))
            for column, cells in texts.items()
        )


def _error_text(detail: str) -> str:
    for code, text in _ERRORS.items():
        if f"Error({code})" in detail:
            return text
    return "#ERROR!"


def _refuse_others(path: Path, name: str) -> None:
    with path.open("rb") as file:
        magic = file.read(8)
    if not magic:
        raise RecordsError(
            "the file is empty", where=name, hint="save the workbook again"
        )
    if magic == OLE_MAGIC:
        raise RecordsError(
            "the workbook cannot be opened",
            where=name,
            found="a workbook that a password protects, or an old .xls under a new name",
            hint="open it, take the password off, and save it as .xlsx",
        )
    if not magic.startswith(b"PK"):
        raise RecordsError(
            "the file is not an .xlsx workbook",
            where=name,
            hint="save it as .xlsx, or give it the ending of what it is",
        )


def _epoch_days(path: Path) -> int:
    with zipfile.ZipFile(path) as book, book.open(_WORKBOOK_PART) as part:
        for _, element in ET.iterparse(part):
            if element.tag.endswith("}workbookPr"):
                said = element.get("date1904", "0")
                return DAYS_1904 if said in ("1", "true", "on") else 0
    return 0


def _damaged(name: str, problem: Exception) -> RecordsError:
    return RecordsError(
        "the workbook is damaged",
        where=name,
        found=str(problem).splitlines()[0] if str(problem) else "",
        hint="open it in a spreadsheet program and save it again as .xlsx",
    )
