"""One opened file or sheet, whatever its format: headings known, rows not read yet.

Text, workbook and Parquet each give the same: the headings, how their cells are
written, and their rows as a raw table, a column a heading and nothing left out. What
the columns mean is decided in `headings.py`, and what the cells mean in `cells.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import duckdb
import polars as pl

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.reading import Habits
from queen_outcomes.records import delimited, sources
from queen_outcomes.records.cells import CellForm
from queen_outcomes.records.headings import (
    RESERVED,
    SEARCHED_ROWS,
    HeadingSearch,
    unique,
)
from queen_outcomes.records.workbook import Workbook


@dataclass(frozen=True)
class Grid:
    """A source whose headings are known; the formats say how its rows are read."""

    source: sources.Source
    headings: tuple[str, ...]
    """As they stand there."""

    @property
    def columns(self) -> list[str]:
        """The headings as the raw table names them: all named, all different."""
        return unique(self.headings)

    @property
    def form(self) -> CellForm:
        """What about the source decides how its cells are read."""
        return CellForm()

    def batches(self) -> Iterator[pl.DataFrame]:
        """Give the rows below the headings: the columns `RESERVED`, then the cells."""
        raise NotImplementedError

    def marks(self) -> pl.DataFrame | None:
        """Give what a person sees of the rows besides their text, where the format keeps it.

        Returns
        -------
        DataFrame or None
            line (as in `batches`), fills (list of "#RRGGBB" of the row's used cells),
            struck, hidden (true or false); None: the format keeps none of it.
        """
        return None

    def land(self, store: Store, table: str) -> None:
        """Write the rows into a raw table, in the order of the source.

        Raises
        ------
        RecordsError
            The rows cannot be read to their end.
        """
        columns = ", ".join(f"{quote(name)} VARCHAR" for name in self.columns)
        store.execute(
            f"CREATE TABLE {quote(table)} (source_line BIGINT, broken VARCHAR, "
            f"broken_text VARCHAR, {columns})"
        )
        for batch in self.batches():
            store.con.register("landing", batch)
            store.execute(f"INSERT INTO {quote(table)} SELECT * FROM landing")
            store.con.unregister("landing")


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
        return SheetGrid.open(source, source.book, names)
    if source.file.ending == sources.PARQUET_ENDING:
        return ParquetGrid.open(store, source)
    return TextGrid.open(source, names)


@dataclass(frozen=True)
class TextGrid(Grid):
    """A text table; a broken line keeps its text."""

    text: delimited.TextForm
    layout: delimited.TextLayout

    @classmethod
    def open(cls, source: sources.Source, names: HeadingSearch) -> TextGrid:
        """Find encoding, separator and headings."""
        text = delimited.examine(source.file.path, source.name)
        layout = delimited.lay_out(source.file.path, text, names, source.name)
        return cls(source, layout.headings, text, layout)

    def batches(self) -> Iterator[pl.DataFrame]:
        """Give the rows below the headings; see `delimited.read_rows`."""
        path, name = self.source.file.path, self.source.name
        return delimited.read_rows(path, self.text, self.layout, name)


@dataclass(frozen=True)
class SheetGrid(Grid):
    """A sheet of a workbook; its lines are the sheet's own rows."""

    book: Workbook
    header_row: int
    """The sheet's row of headings, from 1."""

    @classmethod
    def open(
        cls, source: sources.Source, book: Workbook, names: HeadingSearch
    ) -> SheetGrid:
        """Find the row of headings."""
        rows = book.read(source.sheet).head(SEARCHED_ROWS).rows()
        place, _, _ = names.find(rows)
        headings = tuple(text or "" for text in rows[place])
        return cls(source, headings, book, place + 1)

    @property
    def form(self) -> CellForm:
        """A workbook's numbers may be days of its calendar."""
        return CellForm(workbook=True, epoch_days=self.book.epoch_days)

    def batches(self) -> Iterator[pl.DataFrame]:
        """Give the rows below the headings that hold any text."""
        frame = self.book.read(self.source.sheet)
        cells = pl.col(frame.columns)
        line, broken, broken_text = RESERVED
        yield (
            frame.select(
                pl.int_range(1, pl.len() + 1, dtype=pl.Int64).alias(line),
                pl.lit(None, pl.String).alias(broken),
                pl.lit(None, pl.String).alias(broken_text),
                cells,
            )
            .filter(pl.col(line) > self.header_row)
            .filter(pl.any_horizontal(cells.str.strip_chars().str.len_bytes() > 0))
        )


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


def _scan(source: sources.Source, more: str = "") -> str:
    # One file is meant, whatever signs its name holds that elsewhere stand for many.
    path = str(source.file.path)
    plain = "".join(f"[{sign}]" if sign in "*?[" else sign for sign in path)
    return f"read_parquet({literal(plain)}, hive_partitioning = false{more})"


def _damaged(source: sources.Source, problem: Exception) -> RecordsError:
    return RecordsError(
        "the Parquet file cannot be read",
        where=source.name,
        found=str(problem).splitlines()[0],
        hint="write it again, or move it out of the records",
    )
