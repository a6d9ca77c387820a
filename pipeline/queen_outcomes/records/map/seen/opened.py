"""Everything under ``records/`` opened for looking: one grid of cells a file or sheet.

Keeps what a person would see that texts alone do not say: cells shown as per cent,
fills, rows struck through or hidden, merged cells. It reads no cell for use; the
reader of the records does that, by the settings alone.
"""

from __future__ import annotations

import datetime as dt
import io
import unicodedata
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.records import delimited, opendocument
from queen_outcomes.records.blanks import GUIDE
from queen_outcomes.records.map.seen.words import languages_in
from queen_outcomes.records.sources import (
    ENDINGS,
    PARQUET_ENDING,
    TEXT_ENDINGS,
    look_through,
    not_read,
    read_whole,
)

LARGER = 4
"""How many times larger a workbook may be than those that `check` reads without more ado."""
SEPARATORS = (";", "\t", ",")
_WHITE = frozenset({"FFFFFF", "000000"})
_SAMPLE_LINES = 60
_SAMPLE_ROWS = 30
_BETWEEN_LETTERS = ("Mn", "Pd", "Pi", "Pf", "Zs", "Cf")
"""Accents, dashes, quotes and blanks stand between letters in every language."""
_ENCODINGS = {"cp1250": ("cs", "hu", "pl"), "cp1254": ("tr",)}
"""What Windows writes where these languages are spoken; cp1252 elsewhere."""


@dataclass(frozen=True)
class Cell:
    """One cell as it is seen; ``kind`` is what the file itself says it is."""

    text: str = ""
    kind: str = "text"
    """text, number, percent, date or time."""
    fill: str = ""
    """The fill's colour as "#RRGGBB"; empty where there is none, or it is white."""
    lines: str = ""
    """The text in the lines in which it is written; empty where it is one line."""

    @property
    def whole(self) -> str:
        """The text with its ends of lines."""
        return self.lines or self.text


@dataclass(frozen=True)
class Row:
    """One row: its physical line or sheet row, from 1, and its cells."""

    line: int
    cells: tuple[Cell, ...]
    hidden: bool = False
    struck: bool = False

    @property
    def filled(self) -> list[int]:
        """The places of the cells that hold text."""
        return [at for at, cell in enumerate(self.cells) if cell.text]

    def text(self, at: int) -> str:
        """Give the text of a cell; empty beyond the row's end."""
        return self.cells[at].text if at < len(self.cells) else ""


@dataclass(frozen=True)
class CellGrid:
    """One sheet, or one file that is no workbook.

    Parameters
    ----------
    source : str
        The path below ``records/``, with ``#Sheet`` for a sheet of a workbook.
    rows : tuple of Row
        Rows that hold no text included.
    spans : frozenset of (row index, column)
        Cells that a cell merged to the right covers; for two-row headings.
    problem : str
        Why it could not be opened; the grid is empty then.
    """

    source: str
    rows: tuple[Row, ...] = ()
    spans: frozenset[tuple[int, int]] = frozenset()
    problem: str = ""
    encoding: str = ""
    """The encoding to be set; empty where the reader finds it by itself."""
    undecided: tuple[CellGrid, ...] = ()
    """The same file in other encodings, where its few words speak for none: it is kept as
    the others of the station are."""
    tables_below: tuple[str, ...] = ()
    """The texts with which further tables of the sheet begin, which are grids of their own."""
    typed_text: bool = field(default=False)
    """The cells' texts stand as somebody typed them: a text file."""

    @property
    def file(self) -> str:
        """The file's path below ``records/``."""
        return self.source.partition("#")[0]

    @property
    def width(self) -> int:
        """The number of columns that hold any text."""
        return max((row.filled[-1] + 1 for row in self.rows if row.filled), default=0)

    @property
    def empty(self) -> bool:
        """Tell whether no cell holds text."""
        return not any(row.filled for row in self.rows)


def every(records: Path, links: str = "inside") -> list[CellGrid]:
    """Open every file of the folder once, by name; what cannot be opened says why.

    ``links`` are followed as a build does, see `look_through`.
    """
    if not records.is_dir():
        raise RecordsError(
            "there is no folder of records",
            where=str(records),
            expected="a folder with the station's own sheets",
            hint="make the folder and put the station's sheets into it as they are",
        )
    grids: list[CellGrid] = []
    files, _, _ = look_through(records, links)
    for file in files:
        grids += _opened(file.path, file.name)
    named = {grid.encoding for grid in grids if grid.encoding}
    if len(named) != 1:
        return grids
    return [next((g for g in grid.undecided if g.encoding in named), grid) for grid in grids]


def _opened(path: Path, name: str) -> list[CellGrid]:
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        return [CellGrid(name, problem=not_read(ending))]
    try:
        grids = _grids(path, name, ending)
    except (RecordsError, OSError, *_damage()) as problem:
        return [CellGrid(name, problem=f"it cannot be opened: {_why(problem)}")]
    if all(grid.empty for grid in grids):  # damage may look so as well
        return [CellGrid(name, problem="no cell of it holds any text")]
    return grids


def _grids(path: Path, name: str, ending: str) -> list[CellGrid]:
    if ending == PARQUET_ENDING:
        return [_parquet_grid(path, name)]
    content = read_whole(path, name)
    if ending in TEXT_ENDINGS:
        return [_text_grid(content, name)]
    _refuse_large(content, name)
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        grids = _ods_grids if opendocument.is_one(book) else _workbook_grids
    # the blank workbook's own words are no records, here as in the reader
    return [each for each in grids(content, name) if each.source != f"{name}#{GUIDE}"]


def _damage() -> tuple[type[Exception], ...]:
    """Give what opening a damaged file ends with."""
    import duckdb  # late, as all readers: most files are sound

    from queen_outcomes.records.workbook import DAMAGE

    # the last are what parts of a workbook that do not fit together end with
    return (*DAMAGE, duckdb.Error, TypeError, AttributeError, IndexError, OverflowError)


def _why(problem: Exception) -> str:
    """Say in one line what is wrong with a file, and what to do."""
    if isinstance(problem, RecordsError):
        what, found, hint = problem.what, problem.found, problem.hint
    else:
        # a reader may say only that it failed, and why in the cause
        said = str(problem.__cause__ or problem).splitlines()
        what, found = "it is damaged", said[0] if said else ""
        hint = "open it in the program that wrote it, and save it again"
    return what + (f" ({found})" if found else "") + (f"; {hint}" if hint else "")


def _text_grid(content: bytes, name: str) -> CellGrid:
    form = delimited.examine(content, name)
    usual = _decoded(content[form.skip :], form.encoding, name)
    if form.encoding != delimited.OTHER:
        return usual
    in_west = _spoken(usual)
    others = {
        replace(_decoded(content, code, name), encoding=code): languages
        for code, languages in _ENCODINGS.items()
    }
    spoken = {grid: _spoken(grid, languages) for grid, languages in others.items()}
    best = max(spoken, key=spoken.__getitem__)
    if spoken[best] > in_west:
        return best
    if odd := _odd_words(usual):
        fitting = [g for g, n in spoken.items() if n == in_west and _odd_words(g) < odd]
        if fitting:
            return min(fitting, key=_odd_words)
    return replace(usual, undecided=tuple(g for g, n in spoken.items() if n == in_west))


def _spoken(grid: CellGrid, languages: Iterable[str] = ()) -> float:
    """Say how many words of one of some languages stand in a sheet's first rows."""
    rows = [row for row in grid.rows if row.filled][:_SAMPLE_ROWS]
    counts = languages_in(cell.text for row in rows for cell in row.cells if cell.text)
    return max(counts[language] for language in languages or counts)


def _odd_words(grid: CellGrid) -> int:
    """Count the marks between two letters, which another encoding may have as letters.

    "pad³a" is Polish; no language writes a small 3 into a word.
    """
    texts = (cell.text for row in grid.rows for cell in row.cells)
    return sum(
        before.isalpha() and after.isalpha() and mark > "\x7f" and not mark.isalpha()
        for text in texts
        for before, mark, after in zip(text, text[1:], text[2:], strict=False)
        if unicodedata.category(mark) not in _BETWEEN_LETTERS
    )


def _decoded(content: bytes, encoding: str, name: str) -> CellGrid:
    text = content.decode(encoding, errors="queen_outcomes_latin")
    text = text.replace("\r\n", "\n").replace("\r", "\n").lstrip("\ufeff")
    skip, told = 0, text.partition("\n")[0].casefold().strip()
    separator = ""
    if told.startswith("sep=") and len(told) <= 5:
        separator, skip = told[4:] or "\t", 1
    separator = separator or _separator(text)
    reader = delimited.RecordReader(io.StringIO(text, newline="\n"), separator)
    rows = []
    for cells in reader:
        if reader.line > skip:
            # a quote that never closes costs its own line only
            seen = reader.taken[:1] if cells is None else cells
            rows.append(Row(reader.line, tuple(map(_of_text, seen))))
    return CellGrid(name, tuple(rows), typed_text=True)


def _separator(text: str) -> str:
    lines = [f"{line}\n" for line in text.split("\n") if line.strip()][:_SAMPLE_LINES]

    def worth(separator: str) -> tuple[int, int]:
        rows = delimited.RecordReader(lines, separator)
        widths = [len(cells or ("",)) for cells in rows]
        common = max(set(widths), key=lambda width: (widths.count(width), width))
        return (widths.count(common) if common > 1 else 0, common)

    return max(SEPARATORS, key=worth) if lines else SEPARATORS[0]


def _refuse_large(content: bytes, name: str) -> None:
    """Refuse a workbook that would cost too much, cell by cell.

    Raises
    ------
    RecordsError
        It is large, or a cell of it stands far off.
    """
    from queen_outcomes.records.workbook import is_plain  # late: it brings its readers

    if not is_plain(content, name, LARGER):
        raise RecordsError(
            "it is too large to be looked at cell by cell, or an empty cell in use stands "
            "far outside its tables",
            hint="go to the last cell in use (Ctrl+End), delete the rows and columns that "
            "hold no record, and save; or leave some of the rows in a copy, and map that",
        )


def _workbook_grids(content: bytes, name: str) -> Iterator[CellGrid]:
    import openpyxl

    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = [
            part for part in packed.namelist() if part.startswith("xl/worksheets/")
        ]
        formulas = any(b"<f" in packed.read(part) for part in parts)
    with warnings.catch_warnings():
        # of what it does not know, such as small charts in cells, which is not looked at
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
        written = openpyxl.load_workbook(io.BytesIO(content)) if formulas else None
    for sheet in book.worksheets:
        if sheet.sheet_state != "visible" and sheet.max_row <= 1:
            continue
        source = f"{name}#{sheet.title}"
        grid = _sheet_grid(sheet, source, written[sheet.title] if written else None)
        yield grid


def _sheet_grid(sheet: Any, source: str, written: Any) -> CellGrid:
    rows = []
    for cells in sheet.iter_rows():
        line = cells[0].row
        seen = tuple(_cell(cell, written) for cell in cells)
        used = [cell for cell in cells if cell.value is not None]
        rows.append(
            Row(
                line,
                seen,
                hidden=bool(sheet.row_dimensions[line].hidden),
                struck=bool(used) and all(cell.font.strike for cell in used),
            )
        )
    spans = set()
    for area in sheet.merged_cells.ranges:
        left, top, right, bottom = area.bounds
        for row in range(top, bottom + 1):
            spans |= {(row - 1, column) for column in range(left, right)}
        if top < bottom and top <= len(rows):
            _fill_down(rows, top - 1, min(bottom, len(rows)), left - 1)
    return CellGrid(source, tuple(rows), frozenset(spans))


def _fill_down(rows: list[Row], top: int, bottom: int, column: int) -> None:
    above = rows[top].cells[column]
    for at in range(top + 1, bottom):
        cells = list(rows[at].cells)
        if column < len(cells) and not cells[column].text:
            cells[column] = replace(above, fill=cells[column].fill)
            rows[at] = replace(rows[at], cells=tuple(cells))


def _cell(cell: Any, written: Any) -> Cell:
    value = cell.value
    if value is None and written is not None:
        formula = written.cell(cell.row, cell.column).value
        # a sum that no spreadsheet has worked out yet still says what was meant
        value = formula.removeprefix("=") if isinstance(formula, str) else None
    fill = _colour(cell)
    return replace(_seen(value, cell.number_format or ""), fill=fill)


def _colour(cell: Any) -> str:
    fill = getattr(cell, "fill", None)
    if fill is None or fill.fill_type != "solid":
        return ""
    rgb = fill.fgColor.rgb if fill.fgColor.type == "rgb" else ""
    if not isinstance(rgb, str) or len(rgb) < 6 or rgb[-6:] in _WHITE:
        return ""
    return f"#{rgb[-6:].upper()}"


def _seen(value: Any, shown: str = "") -> Cell:
    if value is None or isinstance(value, bool | str):
        text = {True: "yes", False: "no", None: ""}.get(value, value)
        return _of_text(str(text))
    if isinstance(value, int | float):
        if "%" in shown:
            return Cell(f"{round(100 * value, 6):g} %", "percent")
        return Cell(f"{value:.10g}", "number")
    return _seen_moment(value)


def _of_text(text: str) -> Cell:
    lines = [plain for line in text.splitlines() if (plain := " ".join(line.split()))]
    return Cell(" ".join(lines), lines="\n".join(lines) if lines[1:] else "")


def _seen_moment(value: Any) -> Cell:
    if isinstance(value, dt.datetime):
        whole = value.time() == dt.time()
        day = value.date().isoformat()
        return Cell(day if whole else value.isoformat(" ", "minutes"), "date")
    if isinstance(value, dt.date):
        return Cell(value.isoformat(), "date")
    if isinstance(value, dt.timedelta):
        minutes = round(value.total_seconds() / 60)
        return Cell(f"{minutes // 60:02}:{minutes % 60:02}", "time")
    if isinstance(value, dt.time):
        return Cell(value.isoformat("minutes"), "time")
    return Cell(" ".join(str(value).split()))


def _ods_grids(content: bytes, name: str) -> Iterator[CellGrid]:
    import fastexcel

    book = fastexcel.read_excel(content)
    for title in book.sheet_names:
        frame = book.load_sheet(title, header_row=None).to_polars()
        rows = tuple(
            Row(line, tuple(_seen(value) for value in values))
            for line, values in enumerate(frame.rows(), 1)
        )
        yield CellGrid(f"{name}#{title}", rows)


def _parquet_grid(path: Path, name: str) -> CellGrid:
    from queen_outcomes.base.store import Store, path_literal

    # not by polars, which panics over damaged files: no handler of errors takes that
    with Store() as store:
        found = store.con.execute(
            "SELECT * EXCLUDE (file_row_number) "
            f"FROM read_parquet({path_literal(path)}, hive_partitioning = false, "
            "file_row_number = true) ORDER BY file_row_number"
        )
        names = [column[0] for column in found.description]
        records = found.fetchall()
    head = Row(0, tuple(Cell(name) for name in names))
    rows = [
        Row(line, tuple(_seen(value) for value in values))
        for line, values in enumerate(records, 1)
    ]
    return CellGrid(name, (head, *rows))
