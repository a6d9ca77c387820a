"""Every source of the records, staged: typed columns, and the text of what was unread.

Writes `sources_read`, `raw_<no>` and `staged_<table>` into the build's store. Judges
no value beyond whether it can be read; no row is left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.column import LINE_BITS, Table
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Reading, Settings
from queen_outcomes.records import headings
from queen_outcomes.records.cells import (
    NORMALISE,
    CellReader,
    WrittenColumn,
    staged_columns,
)
from queen_outcomes.records.grid import Grid, open_grid
from queen_outcomes.records.sources import take_in

SOURCES_AT_ONCE = 16
"""How many sources one statement stages; more would make it long for no gain."""


@dataclass(frozen=True)
class StagedSource:
    """A source as it was read."""

    no: int
    grid: Grid
    mapped: Mapping[str, str]
    """Our column -> the heading, as the raw table names it."""
    unused: tuple[str, ...]
    """Headings, as the raw table names them, that are no column of ours."""

    @property
    def name(self) -> str:
        """The file's name, or "book.xlsx#Sheet"."""
        return self.grid.source.name

    @property
    def table(self) -> str:
        """The table it is read as."""
        return self.grid.source.table

    def written(self, reading: Reading) -> dict[str, WrittenColumn]:
        """Give how the cells of each of our columns are read."""
        return {
            ours: WrittenColumn(
                (heading,), reading.cell_rule(self.table, ours, self.name)
            )
            for ours, heading in self.mapped.items()
        }

    @property
    def raw(self) -> str:
        """The table of its rows as they stand."""
        return f"raw_{self.no}"


@dataclass(frozen=True)
class Staged:
    """All sources as they were read, and what the station should be told."""

    sources: tuple[StagedSource, ...]
    notes: tuple[str, ...]


def stage_records(store: Store, records_dir: Path, settings: Settings) -> Staged:
    """Read all records of a station into the build's store.

    Parameters
    ----------
    store : Store
        Open for writing; gets `sources_read`, `raw_<no>` and `staged_<table>`.
    records_dir : Path
        The folder of records.
    settings : Settings
        The station's settings.

    Returns
    -------
    Staged
        The sources in the order of their numbers, and notes in plain sentences.

    Raises
    ------
    RecordsError
        A file cannot be read, or a required table or column is missing.
    """
    reading = settings.reading
    taken, notes = take_in(records_dir, reading.files)
    names = {
        table.name: headings.TableNames.of(table, reading.columns.get(table.name, {}))
        for table in TABLES.values()
    }
    grids = [open_grid(store, source, names[source.table]) for source in taken]
    for table, columns in reading.columns.items():
        given = [grid.headings for grid in grids if grid.source.table == table]
        if given:
            headings.refuse_absent(table, columns, given)
    staged = []
    for no, grid in enumerate(grids, start=1):
        source, unused_notes = _map(no, grid, names[grid.source.table])
        staged.append(source)
        notes += unused_notes
    _provide_functions(store)
    for source in staged:
        source.grid.land(store, source.raw)
    for table in TABLES.values():
        _stage(store, table, [s for s in staged if s.table == table.name], reading)
    _list_sources(store, staged)
    return Staged(tuple(staged), tuple(notes))


def _map(
    no: int, grid: Grid, names: headings.TableNames
) -> tuple[StagedSource, list[str]]:
    """Map a source's headings; give it, and a note on each column that is not used."""
    name, columns = grid.source.name, grid.columns
    places = headings.map_columns(names, grid.headings, name)
    mapped = {ours: columns[place] for ours, place in places.items()}
    unused = [
        column
        for place, column in enumerate(columns)
        if place not in places.values() and headings.tidy(grid.headings[place])
    ]
    notes = [headings.unused_note(names, each, set(mapped), name) for each in unused]
    return StagedSource(no, grid, mapped, tuple(unused)), notes


def _nfkc(texts: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.utf8_normalize(texts, form="NFKC")


def _provide_functions(store: Store) -> None:
    known = store.rows(
        "SELECT 1 FROM duckdb_functions() WHERE function_name = $name",
        {"name": NORMALISE},
    )
    if not known:
        store.con.create_function(
            NORMALISE, _nfkc, ["VARCHAR"], "VARCHAR", type="arrow"
        )


def _stage(
    store: Store, table: Table, sources: Sequence[StagedSource], reading: Reading
) -> None:
    """Stage a table's sources, some at a time: many small files share the threads."""
    staged = quote(f"staged_{table.name}")
    columns = ", ".join(f"{quote(c)} {t}" for c, t in staged_columns(table).items())
    store.execute(f"CREATE TABLE {staged} ({columns})")
    readers = [(source, CellReader(table, source.grid.form)) for source in sources]
    for first in range(0, len(readers), SOURCES_AT_ONCE):
        queries = []
        for source, reader in readers[first : first + SOURCES_AT_ONCE]:
            raw, types = quote(source.raw), store.columns(source.raw)
            query = reader.select(source.written(reading), raw, types)
            ref = f"{source.no}::BIGINT * {2**LINE_BITS} + source_line"
            queries.append(f"SELECT {ref}, {source.no}, * FROM ({query})")
        store.execute(f"INSERT INTO {staged} " + " UNION ALL ".join(queries))
    for source, reader in readers:
        where = f"source_no = {source.no}"
        reader.read_again(store, source.written(reading), where)


def _list_sources(store: Store, staged: Sequence[StagedSource]) -> None:
    store.execute(
        "CREATE TABLE sources_read (source_no INTEGER, source VARCHAR, "
        '"table" VARCHAR, sha256 VARCHAR, rows_read BIGINT)'
    )
    for source in staged:
        store.execute(
            f"INSERT INTO sources_read SELECT {source.no}, {literal(source.name)}, "
            f"{literal(source.table)}, {literal(source.grid.source.sha256)}, count(*) "
            f"FROM {source.raw}"
        )
