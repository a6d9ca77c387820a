"""One source brought into the build's store, every column as the source has it.

Finds the headings of each kind of file and writes `raw_<no>`; what the columns mean
is decided before, in `mapping.py`, and what the cells mean after, in `casting.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import polars as pl

from queen_outcomes.base.store import Store, quote
from queen_outcomes.records import columnar, delimited, encoding, sources
from queen_outcomes.records.header import RESERVED, SEARCHED_ROWS, Names, unique
from queen_outcomes.records.intake import Source
from queen_outcomes.records.text_readers import Form


@dataclass(frozen=True)
class Opened:
    """A source whose headings are known and whose rows are not read yet."""

    source: Source
    given: tuple[str, ...]
    """The headings as they stand there."""
    form: Form = field(default_factory=Form)
    text: encoding.TextForm | None = None
    layout: delimited.Layout | None = None
    header_row: int = 0
    """The sheet's row of headings, from 1."""

    @property
    def columns(self) -> list[str]:
        """The headings as the raw table names them: all named, all different."""
        return unique(self.given)


def open_source(store: Store, source: Source, names: Names) -> Opened:
    """Find a source's headings; see the readers of each kind for the errors."""
    if source.book is not None and source.sheet is not None:
        frame = source.book.read(source.sheet)
        rows = frame.head(SEARCHED_ROWS).rows()
        place, _, _ = names.find(rows)
        given = tuple(text or "" for text in rows[place])
        form = Form(workbook=True, epoch_days=source.book.epoch_days)
        return Opened(source, given, form, header_row=place + 1)
    if source.path.suffix.lower() == sources.PARQUET_ENDING:
        given = tuple(columnar.headings(store, source.path, source.name))
        return Opened(source, given)
    text = encoding.look(source.path, source.name)
    layout = delimited.lay_out(source.path, text, names, source.name)
    return Opened(source, layout.headings, text=text, layout=layout)


def land(store: Store, opened: Opened, table: str) -> None:
    """Write a source's rows into a table, in the order of the source."""
    source = opened.source
    if opened.layout is None and source.book is None:
        columnar.land(store, table, source.path, source.name)
        return
    columns = ", ".join(f"{quote(name)} VARCHAR" for name in opened.columns)
    store.execute(
        f"CREATE TABLE {quote(table)} (source_line BIGINT, broken VARCHAR, "
        f"broken_text VARCHAR, {columns})"
    )
    for batch in _batches(opened):
        store.con.register("landing", batch)
        store.execute(f"INSERT INTO {quote(table)} SELECT * FROM landing")
        store.con.unregister("landing")


def _batches(opened: Opened) -> Iterator[pl.DataFrame]:
    if opened.layout is None:
        yield _sheet(opened)
        return
    path, text = opened.source.path, opened.text
    for batch in delimited.read(path, text, opened.layout):  # type: ignore[arg-type]
        yield batch.drop("lines")


def _sheet(opened: Opened) -> pl.DataFrame:
    """Give the rows of a sheet that hold any text."""
    book, sheet = opened.source.book, opened.source.sheet
    frame = book.read(sheet)  # type: ignore[union-attr,arg-type]
    cells = pl.col(frame.columns)
    return (
        frame.select(
            pl.int_range(1, pl.len() + 1, dtype=pl.Int64).alias(RESERVED[0]),
            pl.lit(None, pl.String).alias(RESERVED[1]),
            pl.lit(None, pl.String).alias(RESERVED[2]),
            cells,
        )
        .filter(pl.col(RESERVED[0]) > opened.header_row)
        .filter(pl.any_horizontal(cells.str.strip_chars().str.len_bytes() > 0))
    )
