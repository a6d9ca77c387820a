"""A form on a sheet: labels left, values right of them; the sheet is one record.

By the settings alone. The labels are the headings of a table of one row. Tables that
stand below a form have its cells as columns too, the same in each row: whose checks they are
is written once, at the top.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.records import sources
from queen_outcomes.records.below import BookPart
from queen_outcomes.records.grid import BatchGrid, Grid
from queen_outcomes.records.headings import RESERVED, tidy, unique
from queen_outcomes.records.steps import CellForm
from queen_outcomes.records.titles import Rows

Pairs = dict[str, str | None]
"""Label -> what is written right of it."""


def pairs_of(book: BookPart) -> tuple[Pairs, int]:
    """Give a form's labels with their values, and its first line.

    A label may be a merged cell, and a row may hold several. A text alone in the first
    row is the form's title.
    """
    frame = book.read(book.sheet)
    merged = {(m.top, m.left): m.right for m in book.details(book.sheet).merges}
    found: list[tuple[str, str | None]] = []
    first, titled = 0, False
    for row in book.rows:
        cells = [tidy(cell) for cell in frame.row(row)] if row < frame.height else []
        filled = [at for at, text in enumerate(cells) if text]
        if not filled:
            continue
        if not (titled or found) and len(filled) == 1:
            titled = True
            continue
        first = first or row + 1
        found += _in_row(cells, {left: right for (top, left), right in merged.items() if top == row})
    names = unique(label for label, _ in found)
    return dict(zip(names, (value for _, value in found), strict=True)), first or 1


def _in_row(
    cells: Sequence[str], merged: Mapping[int, int]
) -> Iterator[tuple[str, str | None]]:
    """Give the labels of a row with their values; a merged cell is one."""
    at = 0
    while at < len(cells):
        if not cells[at]:
            at += 1
            continue
        beside = merged.get(at, at) + 1
        value = cells[beside] if beside < len(cells) else ""
        yield cells[at].rstrip(": "), value or None
        at = merged.get(beside, beside) + 1 if value else beside


def _no_form(source: sources.Source, why: str) -> RecordsError:
    return RecordsError(
        "a form cannot be read",
        where=source.name,
        found=why,
        expected="a sheet of a workbook with labels and, right of each, its value",
        hint='take "form" out of its [files], or save the file as a workbook',
    )


@dataclass(frozen=True)
class FormGrid(BatchGrid):
    """A form as a table of one row."""

    values: tuple[str | None, ...]
    line: int
    epoch_days: int

    @classmethod
    def open(cls, source: sources.Source) -> FormGrid:
        """Find the labels and their values.

        Raises
        ------
        RecordsError
            It is no sheet of a workbook, or holds no label.
        """
        book = source.book
        if book is None:
            raise _no_form(source, "a text file")
        if not isinstance(book, BookPart):
            book = BookPart(book, source.sheet, range(book.read(source.sheet).height))
        pairs, line = pairs_of(book)
        if not pairs:
            raise _no_form(source, "no label")
        return cls(source, tuple(pairs), tuple(pairs.values()), line, book.epoch_days)

    @property
    def form(self) -> CellForm:
        """A workbook's numbers may be days of its calendar."""
        return CellForm(workbook=True, epoch_days=self.epoch_days)

    def batches(self) -> Iterator[pl.DataFrame]:
        """Give the one row."""
        line, broken, broken_text = RESERVED
        cells: Mapping[str, list] = dict(
            zip(self.columns, ([value] for value in self.values), strict=True)
        )
        kept = {broken: [None], broken_text: [None], **cells}
        yield pl.DataFrame({line: [self.line]}, schema={line: pl.Int64}).hstack(
            pl.DataFrame(kept, schema=dict.fromkeys(kept, pl.String))
        )


@dataclass(frozen=True)
class UnderForm(Grid):
    """A table below a form: the form's cells are columns of each of its rows."""

    inner: Grid
    pairs: Pairs
    """Those whose label is no heading of the table itself."""

    @classmethod
    def open(cls, inner: Grid, form: BookPart) -> UnderForm:
        """Put a form's cells beside a table."""
        own = {name.casefold() for name in inner.columns}
        pairs = {label: value for label, value in pairs_of(form)[0].items() if label.casefold() not in own}
        return cls(inner.source, (*inner.headings, *pairs), inner, pairs)

    @property
    def columns(self) -> list[str]:
        """The headings of the table, then the form's labels."""
        return [*self.inner.columns, *self.pairs]

    @property
    def of_others(self) -> frozenset[str]:
        """The form's labels: the form itself tells which of them nothing reads."""
        return frozenset(self.pairs)

    @property
    def form(self) -> CellForm:
        """What about the source decides how its cells are read."""
        return self.inner.form

    @property
    def notes(self) -> list[str]:
        """What the station should be told of the source, in plain sentences."""
        return self.inner.notes

    @property
    def titles(self) -> Rows:
        """The texts of the rows above the headings."""
        return self.inner.titles

    def marks(self) -> pl.DataFrame | None:
        """Give what a person sees of the rows besides their text."""
        return self.inner.marks()

    def land(self, store: Store, table: str) -> None:
        """Write the rows into a raw table, the form's cells behind their own."""
        whole = f"{table}_alone"
        self.inner.land(store, whole)
        more = "".join(
            f", {literal(value) if value is not None else 'NULL'}::VARCHAR AS {quote(label)}"
            for label, value in self.pairs.items()
        )
        store.table(table, f"SELECT *{more} FROM {quote(whole)}")
        store.drop_like(whole)
