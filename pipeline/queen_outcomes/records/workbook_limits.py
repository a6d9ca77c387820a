"""What is asked of a workbook before it is read: how far it unpacks and how far it reaches.

A workbook is a zip of XML. A small file may unpack to gigabytes, and one cell in a far
corner makes a reader provide for every cell up to it; so both are looked at first.
"""

from __future__ import annotations

import re
import zipfile

from queen_outcomes.base.errors import RecordsError

MOST_BYTES = 2**29
"""A workbook may unpack to so much: about 10 million cells."""
MOST_RATIO = 100
"""A workbook of more than `RATIO_FROM` may unpack to so many times its size; sheets as
stations keep them come to 5 to 30 times (our judgement)."""
RATIO_FROM = 2**26
MOST_CELLS = 20_000_000
"""A sheet may have so many places, empty ones too, for each takes memory."""
PLAIN_BYTES, PLAIN_CELLS = 2**24, 2_000_000
"""A workbook that unpacks to no more, and reaches no further, is read without more ado."""
_PLACE = re.compile(rb"""[\s"']r\s*=\s*["']\s*\$?([A-Za-z]*)\$?(\d+)""")
_ODD_PLACE = re.compile(rb"""[\s"']r\s*=\s*["'][^"'<&]{0,20}&#""")
"""A place spelled by numbers of its signs, which no program writes."""


def refuse_huge(book: zipfile.ZipFile, packed: int, name: str) -> None:
    """Refuse a workbook that unpacks to too much.

    Parameters
    ----------
    book : ZipFile
    packed : int
        Bytes of the file.
    name : str
        What messages call it.

    Raises
    ------
    RecordsError
        It does.
    BadZipFile
        A part is not what the zip says of it, so that its size may be a lie.
    """
    size = sum(part.file_size for part in book.infolist())
    if size > MOST_BYTES:
        raise _too_large(name, size, f"at most {MOST_BYTES / 2**30:g} GB")
    if size > max(RATIO_FROM, MOST_RATIO * packed):
        most = f"at most {MOST_RATIO} times the file's size"
        raise _too_large(name, size, most)
    wrong = book.testzip()
    if wrong is not None:
        raise zipfile.BadZipFile(f"{wrong} is damaged")


def _too_large(name: str, size: int, expected: str) -> RecordsError:
    return RecordsError(
        "the workbook is too large",
        where=name,
        found=f"{size / 2**30:.2f} GB once unpacked",
        expected=expected,
        hint="open it in a spreadsheet program, delete what is no record, and save it "
        "again; or split it, or save its sheets as CSV",
    )


def reaches_near(book: zipfile.ZipFile, times: int = 1) -> bool:
    """Tell whether no cell of an .xlsx workbook stands far off; an empty one counts too."""
    named = (part.filename for part in book.infolist())
    most = times * PLAIN_CELLS
    return all(_is_near(book.read(name), most) for name in named if name.endswith(".xml"))


def _is_near(xml: bytes, most: int) -> bool:
    if xml[:2] in (b"\xff\xfe", b"\xfe\xff"):
        xml = xml.decode("utf-16", "replace").encode()
    rows = columns = 1
    for found in _PLACE.finditer(xml):
        letters, number = found.groups()
        if len(letters) > 3 or len(number) > 7:
            return False
        rows = max(rows, int(number))
        columns = max(columns, column_number(letters))
    return rows * columns <= most and not _ODD_PLACE.search(xml)


def vast(where: str, rows: int, columns: int) -> RecordsError:
    """Say that a cell stands far outside its table."""
    return RecordsError(
        "a cell of the sheet stands far outside the table",
        where=where,
        found=f"{rows} rows and {columns} columns",
        expected=f"at most {MOST_CELLS} cells, empty ones counted",
        hint="go to the last cell in use (Ctrl+End), delete the rows and "
        "columns that hold no record, and save",
    )


def column_number(letters: bytes) -> int:
    """Give a column's number, from 1, by its letters."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number
