"""What an .xlsx workbook keeps beside its texts, read from its XML (ECMA-376, part 1).

A sheet's XML is searched for the cells that matter, not parsed: only those of a format
that shows per cent, a fill or a strike are looked at, so that a large plain sheet costs
little more than unpacking it.
"""

from __future__ import annotations

import colorsys
import html
import re
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from posixpath import normpath
from xml.etree import ElementTree as ET

from queen_outcomes.records.sheet_details import (
    Merge,
    Place,
    RowMarks,
    SheetDetails,
    fill_colour,
)
from queen_outcomes.records.workbook_limits import PLAIN_BYTES, column_number

DAYS_1904 = 1462
"""Days between the two calendars a workbook may count in."""
_BOOK = "xl/workbook.xml"
_RELATIONS = "xl/_rels/workbook.xml.rels"
_STYLES, _THEME = "xl/styles.xml", "xl/theme/theme1.xml"
_YES = ("1", "true", "on")
_PER_CENT_FORMATS = {9, 10}
"""Formats that every workbook has (18.8.30): 0% and 0.00%."""
_NOT_SHOWN_AS_SIGN = re.compile(r'"[^"]*"|\\.|_.|\*.|\[[^\]]*\]')
"""Parts of a number format in which a % is mere text."""
_THEME_ORDER = ("lt1", "dk1", "lt2", "dk2", *(f"accent{n}" for n in range(1, 7)))
"""Theme colours are numbered so, though the theme's file has dark before light."""
_PALETTE = (  # noqa: SIM905 - a table of colours is read best as a table
    "000000 FFFFFF FF0000 00FF00 0000FF FFFF00 FF00FF 00FFFF "
    "800000 008000 000080 808000 800080 008080 C0C0C0 808080 "
    "9999FF 993366 FFFFCC CCFFFF 660066 FF8080 0066CC CCCCFF "
    "000080 FF00FF FFFF00 00FFFF 800080 800000 008080 0000FF "
    "00CCFF CCFFFF CCFFCC FFFF99 99CCFF FF99CC CC99FF FFCC99 "
    "3366FF 33CCCC 99CC00 FFCC00 FF9900 FF6600 666699 969696 "
    "003366 339966 003300 333300 993300 993366 333399 333333"
).split()
"""Indexed colours from 8 on (18.8.27); 0 to 7 are the same as 8 to 15."""

_TAG = re.compile(rb"<(?:\w+:)?(row|c)(?=[\s/>])(?P<attributes>[^>]*)>")
_ROW = re.compile(rb"<(?:\w+:)?row(?=[\s/>])([^>]*)>")
_CELL = re.compile(rb"<(?:\w+:)?c(?=[\s/>])(?P<attributes>[^>]*)>")
_LONGEST_TAG = 1000
_CELL_NAME = re.compile(rb"""\sr=["']([A-Za-z]+)(\d+)["']""")
_ROW_NUMBER = re.compile(rb"""\sr=["'](\d+)["']""")
_STYLE = re.compile(rb"""\ss=["'](\d+)["']""")
_TYPE = re.compile(rb"""\st=["'](\w+)["']""")
_ERROR = rb"""t=["']e["']"""
_VALUE = re.compile(
    rb"<(?:\w+:)?v(?:\s[^>]*)?>(?P<value>[^<]*)</(?:\w+:)?v>|</(?:\w+:)?c>"
)
"""A cell's value, or the end of a cell without one."""
_HIDDEN = re.compile(rb"""\shidden=["'](?:1|true)["']""")
_MERGE = re.compile(
    rb"""<(?:\w+:)?mergeCell\s[^>]*?ref=["']([A-Z]+)(\d+):([A-Z]+)(\d+)["']"""
)
_FORMULA_CELL = re.compile(
    rb"<(?:\w+:)?c(?=\s)(?P<cell>[^>]*[^>/])>\s*"
    rb"<(?:\w+:)?f(?:\s[^>]*)?(?:/>|>(?P<formula>[^<]*)</(?:\w+:)?f>)\s*"
    rb"(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v(?:\s[^>]*)?>(?P<value>[^<]*)</(?:\w+:)?v>)?\s*"
    rb"</(?:\w+:)?c>"
)


@dataclass(frozen=True)
class _Look:
    """What a cell format says that matters here."""

    per_cent: bool
    struck: bool
    fill: str | None


class SpreadsheetXml:
    """The parts of an open .xlsx workbook.

    Raises
    ------
    KeyError, ElementTree.ParseError
        It is no workbook, or damaged.
    """

    def __init__(self, book: zipfile.ZipFile) -> None:
        self._zip = book
        self.epoch_days, self._is_uncalculated = 0, False
        sheets: dict[str, str] = {}
        self._hidden = set[str]()
        for element in ET.fromstring(book.read(_BOOK)).iter():
            match _plain(element.tag):
                case "workbookPr":
                    newer = element.get("date1904", "0") in _YES
                    self.epoch_days = DAYS_1904 if newer else 0
                case "calcPr":
                    self._is_uncalculated = element.get("fullCalcOnLoad") in _YES
                case "sheet":
                    ids = (v for k, v in element.items() if _plain(k) == "id")
                    name = element.get("name", "")
                    sheets[name] = next(ids, "")
                    if element.get("state", "visible") != "visible":
                        self._hidden.add(name)
        targets = {
            element.get("Id", ""): element.get("Target", "")
            for element in ET.fromstring(book.read(_RELATIONS))
        }
        self._parts = {
            name: normpath(target[1:] if target[:1] == "/" else f"xl/{target}")
            for name, key in sheets.items()
            if (target := targets.get(key))
        }

    def details(self, sheet: str) -> SheetDetails:
        """Give what decides how a sheet's texts are to be taken."""
        xml = self._sheet(sheet)
        per_cent = [number for number, look in self._looks.items() if look.per_cent]
        shown = _styled(xml, per_cent) if per_cent else ()
        return SheetDetails(
            percents=tuple(
                place for place, _, attributes in shown if _is_number(attributes)
            ),
            uncalculated=self._formulas(xml) if _holds_formulas(xml) else {},
            texts=dict(_errors(xml)),
            merges=tuple(_merges(xml)),
            comments=self._comments(sheet),
            is_hidden=sheet in self._hidden,
            has_marked_rows=any(look.struck for look in self._looks.values())
            or (b"hidden=" in xml and _HIDDEN.search(xml) is not None),
        )

    def marks(self, sheet: str) -> RowMarks:
        """Give fills, strikes and hidden rows."""
        xml, marks = self._sheet(sheet), RowMarks()
        marked = [
            number for number, look in self._looks.items() if look.fill or look.struck
        ]
        for place, style, _ in _styled(xml, marked) if marked else ():
            look = self._looks[style]
            marks.add(place[0], [place[1]], look.fill, look.struck)
        row = -1
        for tag in _ROW.finditer(xml):
            attributes = tag[1]
            number = _ROW_NUMBER.search(attributes)
            row = int(number[1]) - 1 if number else row + 1
            if _HIDDEN.search(attributes):
                marks.hidden.add(row)
            # a row coloured as a whole keeps no cells for its empty places
            style = _STYLE.search(attributes)
            look = self._looks.get(int(style[1])) if style else None
            if look:
                marks.add(row, [], look.fill, False)
        return marks

    def extent(self, sheet: str) -> Place:
        """Give how many rows and columns a sheet reaches.

        A large one is believed what it says of itself, for to look takes seconds.
        """
        if sheet not in self._parts:
            return 0, 0
        if self._zip.getinfo(self._parts[sheet]).file_size <= PLAIN_BYTES:
            return self.filled_extent(sheet)
        with self._zip.open(self._parts[sheet]) as part:
            head = part.read(4096)
        found = re.search(rb"""<(?:\w+:)?dimension\s[^>]*?ref=["']([^"']+)["']""", head)
        last = found[1].rpartition(b":")[2] if found else b""
        name = re.fullmatch(rb"([A-Z]+)(\d+)", last)
        return (int(name[2]), _column(name[1]) + 1) if name else (0, 0)

    def filled_extent(self, sheet: str) -> Place:
        """Give the rows and columns that cells with something in them reach."""
        filled = re.compile(rb"<(?:\w+:)?c(?=\s)([^>]*[^>/])>")
        named = (
            _CELL_NAME.search(tag[1]) for tag in filled.finditer(self._sheet(sheet))
        )
        places = [(int(name[2]), _column(name[1]) + 1) for name in named if name]
        rows, columns = zip(*places, strict=True) if places else ((0,), (0,))
        return max(rows), max(columns)

    def _sheet(self, sheet: str) -> bytes:
        part = self._parts.get(sheet)
        if part is None:
            return b""
        xml = self._zip.read(part)
        if xml[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return xml.decode("utf-16").encode()
        return xml

    def _comments(self, sheet: str) -> dict[Place, str]:
        """Give the comments on a sheet's cells, which stand in a part of their own."""
        part = self._parts.get(sheet, "")
        folder, _, file = part.rpartition("/")
        found: dict[Place, str] = {}
        for target in self._related(f"{folder}/_rels/{file}.rels", "/comments"):
            name = normpath(target[1:] if target[:1] == "/" else f"{folder}/{target}")
            if name not in self._zip.namelist() or self._zip.getinfo(name).file_size > PLAIN_BYTES:
                continue
            for element in ET.fromstring(self._zip.read(name)).iter():
                place = re.fullmatch(r"([A-Z]+)(\d+)", element.get("ref", ""))
                texts = (t.text or "" for t in element.iter() if _plain(t.tag) == "t")
                if place and _plain(element.tag) == "comment" and (text := "".join(texts).strip()):
                    found[int(place[2]) - 1, _column(place[1].encode())] = text
        return found

    def _related(self, relations: str, kind: str) -> list[str]:
        """Give the targets of a part's relations of a kind."""
        if relations not in self._zip.namelist():
            return []
        every = ET.fromstring(self._zip.read(relations))
        return [e.get("Target", "") for e in every if e.get("Type", "").endswith(kind)]

    def _formulas(self, xml: bytes) -> dict[Place, str]:
        """Give the formulas without a result.

        A program that only writes leaves the result out, or writes 0 and asks for all
        to be calculated when the file is opened next. An empty text is a result.
        """
        found = {}
        for cell in _FORMULA_CELL.finditer(xml):
            value, name = cell["value"], _CELL_NAME.search(cell["cell"])
            if value and not (self._is_uncalculated and value.strip() == b"0"):
                continue
            kind = _TYPE.search(cell["cell"])
            if value is not None and kind and kind[1] == b"str":
                continue
            if name:
                text = html.unescape((cell["formula"] or b"").decode())
                found[_place(name)] = f"={text}"
        return found

    # --- formats

    @cached_property
    def _looks(self) -> dict[int, _Look]:
        """Give the cell formats that show per cent, a strike or a fill."""
        if _STYLES not in self._zip.namelist():
            return {}
        root = ET.fromstring(self._zip.read(_STYLES))
        per_cent = _PER_CENT_FORMATS | {
            int(element.get("numFmtId", "0"))
            for element in _children(root, "numFmts")
            if "%" in _NOT_SHOWN_AS_SIGN.sub("", element.get("formatCode", ""))
        }
        struck = [
            any(
                _plain(each.tag) == "strike" and each.get("val", "1") in _YES
                for each in font
            )
            for font in _children(root, "fonts")
        ]
        fills = [self._fill(fill) for fill in _children(root, "fills")]
        looks = {}
        for number, form in enumerate(_children(root, "cellXfs")):
            font, fill = int(form.get("fontId", "0")), int(form.get("fillId", "0"))
            look = _Look(
                int(form.get("numFmtId", "0")) in per_cent,
                font < len(struck) and struck[font],
                fills[fill] if fill < len(fills) else None,
            )
            if look != _Look(False, False, None):
                looks[number] = look
        return looks

    def _fill(self, fill: ET.Element) -> str | None:
        for pattern in fill:
            if pattern.get("patternType") == "solid":
                for colour in pattern:
                    if _plain(colour.tag) == "fgColor":
                        return fill_colour(self._colour(colour))
        return None

    def _colour(self, colour: ET.Element) -> str | None:
        """Give a colour as RRGGBB; None where it depends on the screen."""
        if rgb := colour.get("rgb"):
            plain = rgb
        elif theme := colour.get("theme"):
            plain = self._theme.get(int(theme), "")
        else:
            number = int(colour.get("indexed", "64"))
            number -= 8 if number >= 8 else 0
            plain = _PALETTE[number] if number < len(_PALETTE) else ""
        return _tinted(plain[-6:], float(colour.get("tint", "0"))) if plain else None

    @cached_property
    def _theme(self) -> dict[int, str]:
        if _THEME not in self._zip.namelist():
            return {}
        scheme = {}
        for element in ET.fromstring(self._zip.read(_THEME)).iter():
            name = _plain(element.tag)
            if name in _THEME_ORDER and name not in scheme and len(element):
                scheme[name] = element[0].get("lastClr") or element[0].get("val", "")
        return {
            n: scheme[name] for n, name in enumerate(_THEME_ORDER) if name in scheme
        }


def _plain(tag: str) -> str:
    return tag.rpartition("}")[2]


def _children(root: ET.Element, name: str) -> Iterator[ET.Element]:
    for element in root:
        if _plain(element.tag) == name:
            yield from element


def _tinted(rgb: str, tint: float) -> str:
    """Make a colour darker (below 0) or lighter (18.8.19: in its lightness)."""
    if not tint:
        return rgb
    red, green, blue = (int(rgb[at : at + 2], 16) / 255 for at in (0, 2, 4))
    hue, light, saturation = colorsys.rgb_to_hls(red, green, blue)
    light = light * (1 - abs(tint)) + max(tint, 0)
    parts = colorsys.hls_to_rgb(hue, min(max(light, 0), 1), saturation)
    return "".join(f"{round(part * 255):02X}" for part in parts)


# --- cells


@lru_cache(maxsize=20_000)
def _column(letters: bytes) -> int:
    return column_number(letters) - 1


def _place(name: re.Match[bytes]) -> Place:
    return int(name[2]) - 1, _column(name[1])


def _holds_formulas(xml: bytes) -> bool:
    """Tell whether a sheet may hold formulas; a plain search is ten times a pattern."""
    signs = (b":f>", b":f ") if b":worksheet" in xml[:2048] else (b"<f>", b"<f ")
    return any(sign in xml for sign in signs)


def _is_number(attributes: bytes) -> bool:
    kind = _TYPE.search(attributes)
    return kind is None or kind[1] == b"n"


def _styled(xml: bytes, styles: Iterable[int]) -> Iterator[tuple[Place, int, bytes]]:
    """Give place, format and attributes of the cells of some formats."""
    wanted = "|".join(map(str, styles)).encode()
    for place, said, cell in _saying(xml, rb"""s=["'](""" + wanted + rb""")["']"""):
        yield place, int(said[1]), cell["attributes"]


def _errors(xml: bytes) -> Iterator[tuple[Place, str]]:
    """Give what stands in cells whose formula came to nothing, such as #N/A."""
    for place, _, cell in _saying(xml, _ERROR):
        found = _VALUE.search(xml, cell.end())
        if found and found["value"]:
            yield place, found["value"].decode()


def _saying(
    xml: bytes, pattern: bytes
) -> Iterator[tuple[Place, re.Match[bytes], re.Match[bytes]]]:
    """Give the cells with an attribute: place, the attribute, the cell's tag.

    The attribute is looked for first and its cell after: a pattern that begins with a
    plain text is found many times faster than one that must look at every cell.
    """
    first = _CELL.search(xml)
    if first is None:
        return
    if not _CELL_NAME.search(first[1]):
        yield from _counted(xml, re.compile(rb"\s" + pattern))
        return
    for said in re.finditer(pattern, xml):
        start = xml.rfind(b"<", max(said.start() - _LONGEST_TAG, 0), said.start())
        cell = _CELL.match(xml, start) if start >= 0 else None
        name = _CELL_NAME.search(cell[1]) if cell else None
        if name and xml[said.start() - 1 : said.start()].isspace():
            yield _place(name), said, cell


def _counted(
    xml: bytes, pattern: re.Pattern[bytes]
) -> Iterator[tuple[Place, re.Match[bytes], re.Match[bytes]]]:
    """Do the same where the cells do not say where they stand, and must be counted."""
    row, column = -1, -1
    for tag in _TAG.finditer(xml):
        attributes = tag["attributes"]
        if tag[1] == b"row":
            number = _ROW_NUMBER.search(attributes)
            row, column = int(number[1]) - 1 if number else row + 1, -1
            continue
        name = _CELL_NAME.search(attributes)
        row, column = _place(name) if name else (row, column + 1)
        if said := pattern.search(attributes):
            yield (row, column), said, tag


def _merges(xml: bytes) -> Iterator[Merge]:
    # they stand below the cells, so the cells need not be searched
    below = max(xml.rfind(b"sheetData>"), 0)
    for found in _MERGE.finditer(xml, below):
        left, top, right, bottom = found.groups()
        yield Merge(int(top) - 1, _column(left), int(bottom) - 1, _column(right))
