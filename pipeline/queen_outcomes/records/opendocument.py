"""What an .ods workbook keeps beside its texts, read from its XML (OpenDocument 1.3)."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from xml.parsers import expat

from queen_outcomes.records.sheet_details import (
    Merge,
    Place,
    RowMarks,
    SheetDetails,
    fill_colour,
)
from queen_outcomes.records.workbook_limits import MOST_CELLS, vast

MIME_TYPE = b"application/vnd.oasis.opendocument.spreadsheet"
_CONTENT, _STYLES, _MANIFEST = "content.xml", "styles.xml", "META-INF/manifest.xml"
_ROOT = "urn:oasis:names:tc:opendocument:xmlns:"
_TABLE, _OFFICE = f"{_ROOT}table:1.0 ", f"{_ROOT}office:1.0 "
_STYLE = f"{_ROOT}style:1.0 "
_BACKGROUND = f"{_ROOT}xsl-fo-compatible:1.0 background-color"
_DURATION = re.compile(r"PT(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)(?:[.,]\d+)?S)?")
_NOT_SHOWN = ("collapse", "filter")
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")
_NOTE = f"{_OFFICE}annotation"
_ERROR = re.compile(r"#N/A|#[\w/]+[!?]")
"""What a formula that came to nothing shows (part 4, 5.12); the format has no type for it."""

Attributes = dict[str, str]


@dataclass
class _Shown:
    parent: str = ""
    fill: str | None = None
    struck: bool | None = None
    """None: as the parent has it."""


@dataclass
class _Sheet:
    """What one pass over a sheet finds."""

    percents: list[Place] = field(default_factory=list)
    uncalculated: dict[Place, str] = field(default_factory=dict)
    texts: dict[Place, str] = field(default_factory=dict)
    merges: list[Merge] = field(default_factory=list)
    styled: list[tuple[int, int, int, str]] = field(default_factory=list)
    """Row, how many rows, column, style."""
    hidden: list[tuple[int, int]] = field(default_factory=list)
    """Row, how many rows."""
    is_hidden: bool = False
    reach: tuple[int, int] = (0, 0)
    """Rows and columns that cells with something in them reach."""


class OpenDocument:
    """The parts of an open .ods workbook, read once.

    Parameters
    ----------
    book : ZipFile
    name : str
        What messages call it.

    Raises
    ------
    RecordsError
        A cell stands far outside its table.
    KeyError, expat.ExpatError
        It is no workbook, or damaged.
    """

    epoch_days = 0
    """Days are written as days, whatever calendar the program counts in."""

    def __init__(self, book: zipfile.ZipFile, name: str) -> None:
        self._looks: dict[str, _Shown] = {}
        self._sheets: dict[str, _Sheet] = {}
        for part in (_STYLES, _CONTENT):
            if part == _CONTENT or part in book.namelist():
                _Pass(self._looks, self._sheets, name).read(book.read(part))

    @property
    def most_places(self) -> int:
        """How many places the largest sheet has, up to its last cell in use."""
        reached = (sheet.reach for sheet in self._sheets.values())
        return max((rows * columns for rows, columns in reached), default=0)

    def details(self, sheet: str) -> SheetDetails:
        """Give what decides how a sheet's texts are to be taken."""
        found = self._sheets.get(sheet, _Sheet())
        struck = any(self._is_struck(style) for *_, style in found.styled)
        return SheetDetails(
            tuple(found.percents),
            found.uncalculated,
            found.texts,
            tuple(found.merges),
            found.is_hidden,
            struck or bool(found.hidden),
        )

    def marks(self, sheet: str, rows: int) -> RowMarks:
        """Give fills, strikes and hidden rows, of so many rows.

        Below the last row in use a million may be repeated.
        """
        found, marks = self._sheets.get(sheet, _Sheet()), RowMarks()
        for row, count, column, style in found.styled:
            fill, struck = self._fill(style), self._is_struck(style)
            for each in range(row, min(row + count, rows)):
                marks.add(each, [column], fill, struck)
        for row, count in found.hidden:
            marks.hidden.update(range(row, min(row + count, rows)))
        return marks

    def _fill(self, style: str) -> str | None:
        look = self._looks.get(style)
        while look:
            if look.fill:
                return fill_colour(look.fill) if look.fill[0] == "#" else None
            look = self._looks.get(look.parent)
        return None

    def _is_struck(self, style: str) -> bool:
        look = self._looks.get(style)
        while look:
            if look.struck is not None:
                return look.struck
            look = self._looks.get(look.parent)
        return False


def is_one(book: zipfile.ZipFile) -> bool:
    """Tell whether a workbook is an .ods, whatever its name."""
    return "mimetype" in book.namelist() and book.read("mimetype").startswith(MIME_TYPE)


def is_protected(book: zipfile.ZipFile) -> bool:
    """Tell whether a password protects the workbook."""
    return _MANIFEST in book.namelist() and b"encryption-data" in book.read(_MANIFEST)


class _Pass:
    """One pass over a part: the styles, and what stands in each sheet's cells."""

    def __init__(
        self, looks: dict[str, _Shown], sheets: dict[str, _Sheet], name: str
    ) -> None:
        self._looks, self._sheets, self._name = looks, sheets, name
        self._sheet_name = ""
        self._look = _Shown()
        self._sheet = _Sheet()
        self._table_styles = dict[str, bool]()
        self._columns: list[tuple[int, str]] = []
        self._row, self._rows, self._column = 0, 0, 0
        self._row_style = ""
        self._formula: list[Place] = []
        """Places of the cell being read, if a formula made it and it shows a result."""
        self._shown, self._fails = "", False
        self._on: dict[str, Callable[[Attributes], None]] = {
            f"{_STYLE}style": self._begin_style,
            f"{_STYLE}table-cell-properties": self._fill,
            f"{_STYLE}text-properties": self._strike,
            f"{_STYLE}table-properties": self._display,
            f"{_TABLE}table": self._begin_table,
            f"{_TABLE}table-column": self._add_columns,
            f"{_TABLE}table-row": self._begin_row,
            **dict.fromkeys(_CELLS, self._cell),
            _NOTE: self._begin_note,
        }

    def read(self, xml: bytes) -> None:
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartElementHandler = self._start
        self._parser.Parse(xml, True)

    def _start(self, name: str, attributes: Attributes) -> None:
        if action := self._on.get(name):
            action(attributes)

    # --- styles

    def _begin_style(self, attributes: Attributes) -> None:
        self._look = _Shown(attributes.get(f"{_STYLE}parent-style-name", ""))
        family = attributes.get(f"{_STYLE}family")
        self._style = attributes.get(f"{_STYLE}name", "")
        if family == "table-cell":
            self._looks[self._style] = self._look

    def _fill(self, attributes: Attributes) -> None:
        self._look.fill = attributes.get(_BACKGROUND)

    def _strike(self, attributes: Attributes) -> None:
        said = attributes.get(f"{_STYLE}text-line-through-style")
        said = attributes.get(f"{_STYLE}text-line-through-type", said)
        if said is not None:
            self._look.struck = said != "none"

    def _display(self, attributes: Attributes) -> None:
        self._table_styles[self._style] = attributes.get(f"{_TABLE}display") != "false"

    # --- sheets

    def _begin_table(self, attributes: Attributes) -> None:
        self._sheet = _Sheet()
        style = attributes.get(f"{_TABLE}style-name", "")
        self._sheet.is_hidden = not self._table_styles.get(style, True)
        self._sheet_name = attributes.get(f"{_TABLE}name", "")
        self._sheets[self._sheet_name] = self._sheet
        self._columns, self._row, self._rows = [], 0, 0

    def _add_columns(self, attributes: Attributes) -> None:
        count = int(attributes.get(f"{_TABLE}number-columns-repeated", "1"))
        style = attributes.get(f"{_TABLE}default-cell-style-name", "")
        self._columns.append((count, style))

    def _begin_row(self, attributes: Attributes) -> None:
        self._row += self._rows
        self._rows = int(attributes.get(f"{_TABLE}number-rows-repeated", "1"))
        self._column = 0
        self._row_style = attributes.get(f"{_TABLE}default-cell-style-name", "")
        if attributes.get(f"{_TABLE}visibility") in _NOT_SHOWN:
            self._sheet.hidden.append((self._row, self._rows))

    def _cell(self, attributes: Attributes) -> None:
        count = int(attributes.get(f"{_TABLE}number-columns-repeated", "1"))
        first, self._column = self._column, self._column + count
        self._span(first, attributes)
        style = attributes.get(f"{_TABLE}style-name", self._row_style)
        kind = attributes.get(f"{_OFFICE}value-type")
        formula = attributes.get(f"{_TABLE}formula")
        if kind is None and formula is None:
            if style:
                self._sheet.styled.append((self._row, self._rows, first, style))
            return
        self._reach(self._row + self._rows, first + count)
        for column in range(first, first + count):
            self._use(column, style or self._column_style(column))
            for row in range(self._row, self._row + self._rows):
                self._value((row, column), kind, formula, attributes)
                if formula is not None and kind is not None:
                    self._formula.append((row, column))
        if self._formula:
            # some programs say it in an attribute of their own
            self._fails = any(
                said == "error" and name.endswith(" value-type")
                for name, said in attributes.items()
            )
            # only now: in each cell of a large sheet they would cost as much as the rest
            self._parser.CharacterDataHandler = self._show
            self._parser.EndElementHandler = self._end_formula

    def _begin_note(self, _: Attributes) -> None:
        """Leave out what somebody noted at a cell: it is not what the cell shows."""
        self._parser.CharacterDataHandler = None

    def _show(self, text: str) -> None:
        self._shown += text

    def _end_formula(self, name: str) -> None:
        """Keep the error that a cell shows; the value beside it is nothing, or 0."""
        if name == _NOTE:
            self._parser.CharacterDataHandler = self._show
        if name not in _CELLS:
            return
        if self._shown and (self._fails or _ERROR.fullmatch(self._shown)):
            self._sheet.texts |= dict.fromkeys(self._formula, self._shown)
        self._formula, self._shown = [], ""
        self._parser.CharacterDataHandler = self._parser.EndElementHandler = None

    def _span(self, column: int, attributes: Attributes) -> None:
        down = int(attributes.get(f"{_TABLE}number-rows-spanned", "1"))
        across = int(attributes.get(f"{_TABLE}number-columns-spanned", "1"))
        if down > 1 or across > 1:
            last = self._row + down - 1, column + across - 1
            self._sheet.merges.append(Merge(self._row, column, *last))

    def _reach(self, rows: int, columns: int) -> None:
        """Take up how far a cell reaches, before anything is made of its repeats."""
        most = self._sheet.reach
        self._sheet.reach = max(most[0], rows), max(most[1], columns)
        if rows * columns > MOST_CELLS:
            raise vast(f"{self._name}#{self._sheet_name}", rows, columns)

    def _use(self, column: int, style: str) -> None:
        if style:
            self._sheet.styled.append((self._row, self._rows, column, style))

    def _value(
        self, place: Place, kind: str | None, formula: str | None, said: Attributes
    ) -> None:
        if kind == "percentage":
            self._sheet.percents.append(place)
        elif kind == "time":
            text = said.get(f"{_OFFICE}time-value", "")
            self._sheet.texts[place] = _clock(text)
        elif kind is None and formula is not None:
            self._sheet.uncalculated[place] = "=" + formula.partition("=")[2]

    def _column_style(self, column: int) -> str:
        for count, style in self._columns:
            if column < count:
                return style
            column -= count
        return ""


def _clock(duration: str) -> str:
    """Write a duration as hours, minutes and seconds; as it stands where it is none."""
    parts = _DURATION.fullmatch(duration)
    if parts is None:
        return duration
    hours, minutes, seconds = (int(part or 0) for part in parts.groups())
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}"
