"""One opened file or sheet, whatever its format: headings known, rows not read yet.

Text, workbook and Parquet each give the same: the headings, how their cells are
written, and their rows as a raw table, a column a heading and nothing left out. What
the columns mean is decided in `headings.py`, and what the cells mean in `cells.py`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import duckdb
import polars as pl

from queen_outcomes.base.errors import RecordsError, shorten
from queen_outcomes.base.store import Store, path_literal, quote
from queen_outcomes.facts.reading import PASS_OVER, Habits
from queen_outcomes.records import delimited, sources
from queen_outcomes.records.below import BookPart
from queen_outcomes.records.cells import CellForm
from queen_outcomes.records.headings import (
    RESERVED,
    SEARCHED_ROWS,
    HeadingSearch,
    joined,
    no_heading_there,
    reached,
    tidy,
    unique,
)
from queen_outcomes.records.sheet_details import Merge, Place
from queen_outcomes.records.titles import Rows, filled
from queen_outcomes.records.workbook import Workbook, with_texts
from queen_outcomes.records.workbook_process import WorkbookElsewhere


@dataclass(frozen=True)
class Grid(ABC):
    """A source whose headings are known; the formats say how its rows are read."""

    source: sources.Source
    headings: tuple[str, ...]
    """As they stand there."""

    @property
    def columns(self) -> list[str]:
        """The headings as the raw table names them: all named, all different."""
        return unique(self.headings)

    @property
    def parts_of(self) -> Mapping[str, tuple[str, ...]]:
        """A column of it -> the columns that are made of what its cells hold."""
        return {}

    @property
    def of_others(self) -> frozenset[str]:
        """The columns that are another table's, of which it is told there."""
        return frozenset()

    @property
    def form(self) -> CellForm:
        """What about the source decides how its cells are read."""
        return CellForm()

    @property
    def separator(self) -> str:
        """What parts the cells of a line; empty where no line has fewer than another."""
        return ""

    @property
    def notes(self) -> list[str]:
        """What the station should be told of the source, in plain sentences."""
        return []

    @property
    def titles(self) -> Rows:
        """The texts of the rows above the headings."""
        return ()

    def marks(self) -> pl.DataFrame | None:
        """Give what a person sees of the rows besides their text, where the format keeps it.

        Returns
        -------
        DataFrame or None
            line (as in the raw table), fills (list of "#RRGGBB" of the row's cells as far
            as the table is wide), struck (more than half of its filled cells are struck
            through), hidden (true or false). Rows with none of it are left out. None: the
            format keeps none of it.
        """
        return None

    def refuse_damaged(self, store: Store) -> None:
        """Refuse a source that is read where it lies and cannot be read to its end."""
        return

    @abstractmethod
    def land(self, store: Store, table: str) -> None:
        """Make a raw table of the rows, in the order of the source.

        Raises
        ------
        RecordsError
            The rows cannot be read to their end.
        """


class BatchGrid(Grid):
    """A source whose rows are read some at a time."""

    @abstractmethod
    def batches(self) -> Iterator[pl.DataFrame]:
        """Give the rows below the headings: the columns `RESERVED`, then the cells."""

    def land(self, store: Store, table: str) -> None:
        """Write the rows into a raw table."""
        columns = ", ".join(f"{quote(name)} VARCHAR" for name in self.columns)
        store.execute(
            f"CREATE TABLE {quote(table)} (source_line BIGINT, broken VARCHAR, "
            f"broken_text VARCHAR, {columns})"
        )
        for batch in self.batches():
            with store.lent("landing", batch):
                store.execute(f"INSERT INTO {quote(table)} SELECT * FROM landing")


def open_grid(
    store: Store, source: sources.Source, names: HeadingSearch, habits: Habits
) -> Grid:
    """Find a source's headings.

    Raises
    ------
    RecordsError
        The file is empty, damaged, or not what its ending says.
    """
    if source.book is not None:
        return SheetGrid.open(source, source.book, names, habits)
    if source.file.ending == sources.PARQUET_ENDING:
        return ParquetGrid.open(store, source)
    return TextGrid.open(source, names, habits)


@dataclass(frozen=True)
class TextGrid(BatchGrid):
    """A text table; a broken line keeps its text."""

    text: delimited.TextForm
    layout: delimited.TextLayout

    @classmethod
    def open(
        cls, source: sources.Source, names: HeadingSearch, habits: Habits
    ) -> TextGrid:
        """Find encoding, separator and headings."""
        content, name = source.file.content, source.name
        text = delimited.examine(content, name, habits.encoding or delimited.OTHER)
        layout = delimited.lay_out(content, text, names, name, habits.header)
        return cls(source, layout.headings, text, layout)

    @property
    def separator(self) -> str:
        """What parts the cells of a line."""
        return self.layout.separator

    @property
    def titles(self) -> Rows:
        """The texts of the lines above the headings."""
        return self.layout.titles

    def batches(self) -> Iterator[pl.DataFrame]:
        """Give the rows below the headings; see `delimited.read_rows`."""
        content, name = self.source.file.content, self.source.name
        return delimited.read_rows(content, self.text, self.layout, name)


@dataclass(frozen=True)
class SheetGrid(BatchGrid):
    """A sheet of a workbook; its lines are the sheet's own rows."""

    book: Workbook | WorkbookElsewhere | BookPart
    header_row: int
    """The sheet's last row of headings, from 1."""
    shown: tuple[str, ...]
    """The headings with merged cells reaching right."""
    habits: Habits
    first_row: int
    """The sheet's first row of headings, from 1."""

    @classmethod
    def open(
        cls,
        source: sources.Source,
        book: Workbook | WorkbookElsewhere | BookPart,
        names: HeadingSearch,
        habits: Habits,
    ) -> SheetGrid:
        """Find the row of headings, or take the rows that the settings name."""
        frame, merges = book.read(source.sheet), book.details(source.sheet).merges
        if habits.header:
            rows = frame.head(max(habits.header)).rows()
            there = [n for n, row in enumerate(rows, 1) if any(map(tidy, row))]
            if not set(habits.header) <= set(there):
                raise no_heading_there(habits.header, there, source.name)
            lines = [line - 1 for line in habits.header]
        else:
            begin = book.rows.start if isinstance(book, BookPart) else 0
            searched = begin + SEARCHED_ROWS
            down = [merge for merge in merges if merge.bottom < searched]
            rows = filled_down(frame.head(searched), down).rows()
            place, _, _ = names.find(rows[begin:])
            lines = [begin + place]
        spans = [
            {m.left: m.right for m in merges if m.top <= line <= m.bottom}
            for line in lines
        ]
        headed = [rows[line] for line in lines]
        headings = joined(headed, spans)
        # of a single row, only the first of merged cells is the column's own heading
        shown = reached(headed[0], spans[0]) if len(lines) == 1 else headings
        last, first = lines[-1] + 1, lines[0] + 1
        return cls(source, tuple(headings), book, last, tuple(shown), habits, first)

    @property
    def titles(self) -> Rows:
        """The texts of the rows above the headings; of a table below another its own."""
        begin = self.book.rows.start if isinstance(self.book, BookPart) else 0
        frame = self.book.read(self.source.sheet)
        return filled(frame.slice(begin, self.first_row - 1 - begin).rows())

    @property
    def columns(self) -> list[str]:
        """The headings as the raw table names them; a merged one names all its columns."""
        return unique(self.shown)

    @property
    def form(self) -> CellForm:
        """A workbook's numbers may be days of its calendar."""
        return CellForm(workbook=True, epoch_days=self.book.epoch_days)

    def batches(self) -> Iterator[pl.DataFrame]:
        """Give the rows below the headings that hold any text.

        A cell merged downwards stands in each of its rows that holds a text of its own.
        """
        frame = self.book.read(self.source.sheet)
        cells = pl.col(frame.columns)
        line, broken, broken_text = RESERVED
        below = [m for m in self._merges if m.top >= self.header_row]
        written = pl.any_horizontal(cells.str.strip_chars().str.len_bytes() > 0)
        holds_text = frame.select(written).to_series()
        yield (
            filled_down(frame, below)
            .select(
                pl.int_range(1, pl.len() + 1, dtype=pl.Int64).alias(line),
                pl.lit(None, pl.String).alias(broken),
                pl.lit(None, pl.String).alias(broken_text),
                cells,
            )
            .filter(holds_text)
            .filter(pl.col(line) > self.header_row)
        )

    @property
    def _merges(self) -> tuple[Merge, ...]:
        return self.book.details(self.source.sheet).merges

    @property
    def notes(self) -> list[str]:
        """Tell what the sheet shows otherwise than its texts would have it."""
        name, details = self.source.name, self.book.details(self.source.sheet)
        notes = []
        if details.is_hidden:
            notes.append(f"{name}: the sheet is hidden, and is read")
        if cells := sorted(p for p in details.uncalculated if p[0] >= self.header_row):
            notes.append(
                f"{name}: {_count(len(cells), 'formula')} never calculated "
                f"({self._named(cells)}), so the formula stands for the value; open the "
                "workbook in a spreadsheet program and save it"
            )
        if cells := self._covered():
            notes.append(
                f"{name}: {_count(len(cells), 'text')} under merged cells "
                f"({self._named(cells)}), where nobody sees it; it is read as the cell's own"
            )
        if cells := sorted(p for p in details.comments if p[0] >= self.header_row):
            said = [f'{self._named([p])} "{" ".join(details.comments[p].split())}"' for p in cells]
            notes.append(
                f"{name}: {_count(len(cells), 'comment')} on cells, which nobody reads "
                f"({shorten(said, '; ')}); what counts of them belongs into a column of its own"
            )
        marks = self.marks() if details.has_marked_rows else None
        for mark, said in (("struck", "struck through"), ("hidden", "hidden")):
            if marks is None or getattr(self.habits, mark) == PASS_OVER:
                continue
            lines = marks.filter(pl.col(mark))["line"].to_list()
            if lines:
                rows = shorten([str(line) for line in lines], ", ")
                notes.append(
                    f"{name}: {_count(len(lines), 'row')} {said} (row {rows}), and read "
                    f"as any other; if it is not to count, write under "
                    f'[files."{name}"]: {mark} = "{PASS_OVER}"'
                )
        return notes

    def _named(self, cells: Sequence[Place]) -> str:
        first = self.book.first_column(self.source.sheet)
        return shorten(
            [cell_name((row, column + first)) for row, column in cells], ", "
        )

    def _covered(self) -> list[Place]:
        """Give the cells with a text of their own that a merged cell hides."""
        frame = self.book.read(self.source.sheet)
        return sorted(
            (row, column)
            for m in self._merges
            if m.top >= self.header_row
            for column in range(m.left, min(m.right + 1, frame.width))
            for row, text in enumerate(
                frame[str(column)].slice(m.top, m.bottom - m.top + 1), m.top
            )
            if tidy(text) and (row, column) != (m.top, m.left)
        )

    def marks(self) -> pl.DataFrame:
        """Give fills, strikes and hidden rows of the rows that `batches` gives."""
        frame = self.book.read(self.source.sheet)
        marks = self.book.marks(self.source.sheet)
        filled = frame.select(
            pl.sum_horizontal(
                pl.all().str.strip_chars().str.len_bytes().fill_null(0) > 0
            ).alias("filled")
        )["filled"].to_list()
        marked = {*marks.fills, *marks.struck, *marks.hidden}
        rows = [row for row in sorted(marked) if self.header_row <= row < len(filled)]
        rows = [row for row in rows if filled[row]]
        texts = {column: frame[str(column)] for column in range(frame.width)}
        struck = [
            2
            * sum(
                bool(tidy(texts[c][row]))
                for c in marks.struck.get(row, ())
                if c in texts
            )
            > filled[row]
            for row in rows
        ]
        return pl.DataFrame(
            {
                "line": [row + 1 for row in rows],
                "fills": [sorted(marks.fills.get(row, ())) for row in rows],
                "struck": struck,
                "hidden": [row in marks.hidden for row in rows],
            },
            schema={
                "line": pl.Int64,
                "fills": pl.List(pl.String),
                "struck": pl.Boolean,
                "hidden": pl.Boolean,
            },
        )


def filled_down(frame: pl.DataFrame, merges: Iterable[Merge]) -> pl.DataFrame:
    """Put the text of cells merged downwards into the empty cells below it."""
    texts = {}
    for merge in merges:
        if merge.bottom == merge.top or merge.left >= frame.width:
            continue
        column = frame[str(merge.left)]
        text = column[merge.top] if merge.top < frame.height else None
        if text is None:
            continue
        for row in range(merge.top + 1, min(merge.bottom + 1, frame.height)):
            if not tidy(column[row]):
                texts[row, merge.left] = text
    return with_texts(frame, texts)


def _count(number: int, what: str) -> str:
    plural = {"formula": "formulas were", "text": "texts lie", "row": "rows are", "comment": "comments"}
    single = {"formula": "formula was", "text": "text lies", "row": "row is", "comment": "comment"}
    return f"{number} {(single if number == 1 else plural)[what]}"


def cell_name(place: Place) -> str:
    """Write a cell's place, counted from 0, as spreadsheets name it: B4."""
    row, number = place[0] + 1, place[1] + 1
    letters = ""
    while number:
        number, letter = divmod(number - 1, 26)
        letters = chr(65 + letter) + letters
    return f"{letters}{row}"


@dataclass(frozen=True)
class ParquetGrid(Grid):
    """A Parquet file; its typed columns are taken without a detour over text."""

    @classmethod
    def open(cls, store: Store, source: sources.Source) -> ParquetGrid:
        """Take the names of its columns as the headings."""
        try:
            described = store.rows(f"DESCRIBE SELECT * FROM {_scan(source)}")
        except duckdb.Error as problem:
            raise _damaged(source, problem) from None
        return cls(source, tuple(row[0] for row in described))

    def land(self, store: Store, table: str) -> None:
        """Show the rows as a view: source_line, then the columns.

        The file is read where it lies; only what becomes of its rows is written, so the
        view must go before the build ends.
        """
        renamed = ", ".join(
            f"{quote(old)} AS {quote(new)}"
            for old, new in zip(self.headings, self.columns, strict=True)
        )
        try:
            store.execute(
                f"CREATE VIEW {quote(table)} AS "
                f"SELECT file_row_number + 1 AS source_line, {renamed} "
                f"FROM {_scan(self.source, ', file_row_number = true')}"
            )
        except duckdb.Error as problem:
            raise _damaged(self.source, problem) from None

    def refuse_damaged(self, store: Store) -> None:
        """Read every cell once."""
        cells = ", ".join(f"max(hash({quote(name)}))" for name in self.headings)
        try:
            store.rows(f"SELECT {cells} FROM {_scan(self.source)}")
        except duckdb.Error as problem:
            raise _damaged(self.source, problem) from None


def _scan(source: sources.Source, more: str = "") -> str:
    path = path_literal(source.file.path)
    return f"read_parquet({path}, hive_partitioning = false{more})"


def _damaged(source: sources.Source, problem: Exception) -> RecordsError:
    return RecordsError(
        "the Parquet file cannot be read",
        where=source.name,
        found=str(problem).splitlines()[0],
        hint="write it again, or move it out of the records",
    )
