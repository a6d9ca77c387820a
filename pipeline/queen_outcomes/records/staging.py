"""Every source of the records, staged: typed columns, and the text of what was unread.

Writes `sources_read`, `passed_over`, `raw_<no>` and `staged_<table>` into the build's store. Judges
no value beyond whether it can be read; no row is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from unicodedata import normalize

import duckdb

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.base.text_layout import FORMULA_SIGNS, NO_FORMULAS
from queen_outcomes.facts.column import Table
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import Reading
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records import (
    apart,
    forms,
    headings,
    mapping,
    preparing,
    repeats,
    sources,
    spellings,
)
from queen_outcomes.records.cells import NORMALISE, CellReader, staged_columns
from queen_outcomes.records.grid import Grid, open_grid
from queen_outcomes.records.mapping import SourceMapping

SOURCES_AT_ONCE = 64
"""How many sources one statement stages; more would make it long for no gain."""

FEW_ROWS = 500
"""Of all sources; so few are read and checked by statements that are not planned at length."""


@dataclass(frozen=True)
class Staged:
    """All sources as they were read, and what the station should be told."""

    sources: tuple[SourceMapping, ...]
    notes: tuple[str, ...]
    unread: tuple[str, ...] = ()
    """Files and sheets that nothing reads and no setting ignores."""

    def naming_damaged(self, store: Store) -> AbstractContextManager[None]:
        """Name the file where reading meets damage; see `naming_damaged`."""
        return naming_damaged(store, self.sources)

    def refuse_changed(self) -> None:
        """Refuse files that are no longer what was hashed; see `sources`."""
        sources.refuse_changed(source.grid.source for source in self.sources)


@contextmanager
def naming_damaged(store: Store, mapped: Sequence[SourceMapping]) -> Iterator[None]:
    """Say which file it is, where a statement fails because of one that lies damaged.

    Raises
    ------
    RecordsError
        A Parquet file cannot be read to its end.
    """
    try:
        yield
    except duckdb.OutOfMemoryException:
        raise
    except duckdb.Error:
        for each in mapped:
            each.grid.refuse_damaged(store)
        raise


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
    mapped, taken = map_records(store, records_dir, settings)
    provide_functions(store)
    preparing.begin(store)
    with naming_damaged(store, mapped.sources):
        _land(store, mapped.sources)
        if _are_few(store, mapped.sources):
            store.plan_plainly()
        for table in TABLES.values():
            own = [source for source in mapped.sources if source.table is table]
            _stage(store, table, own, reading)
        _list_sources(store, mapped.sources)
        repeats.list_cells(store, mapped.sources)
    sources.refuse_changed(taken.sources)
    grids = {id(each.grid): each.grid for each in mapped.sources}.values()
    told = [note for grid in grids for note in grid.notes]
    told += preparing.not_chosen(store, mapped.sources)
    told += apart.undated(store, mapped.sources)
    notes = (*taken.notes, *mapped.notes, *told)
    return Staged(mapped.sources, notes, tuple(taken.unread))


def map_records(
    store: Store, records_dir: Path, settings: Settings
) -> tuple[mapping.Mapped, sources.TakenIn]:
    """Find what each file and sheet is read as, and read no row; errors as above.

    All faults of files and settings are told together.
    """
    reading = settings.reading
    taken = sources.take_in(records_dir, reading)
    faults, grids = list(taken.faults), []
    for source in taken.sources:
        try:
            grids.append(_open(store, source, reading))
        except RecordsError as fault:
            faults.append(fault)
    return mapping.map_sources(grids, reading, faults), taken


def _open(store: Store, source: sources.Source, reading: Reading) -> Grid:
    names: headings.HeadingSearch = mapping.asked_names(source.rules)
    if not source.rules:
        own = reading.columns.get(source.table, {})
        names = headings.TableNames.of(TABLES[source.table], own)
    habits = reading.habits_of(source.name)
    if habits.form:
        return forms.FormGrid.open(source)
    grid = open_grid(store, source, names, habits)
    if source.above is not None:
        grid = forms.UnderForm.open(grid, source.above)
    if habits.apart or habits.several:
        return apart.PartedGrid.open(grid, habits.apart, habits.several)
    return grid


def _land(store: Store, mapped: Sequence[SourceMapping]) -> None:
    """Write the rows of each source once, and show them to its other tables."""
    for source in mapped:
        own = f"raw_{source.no}"
        if source.raw == own:
            source.grid.land(store, own)
            _take_marks_off(store, own)
            source.grid.source.file.forget()
        else:
            store.execute(f"CREATE VIEW {own} AS SELECT * FROM {source.raw}")


def _are_few(store: Store, mapped: Sequence[SourceMapping]) -> bool:
    """Tell whether sources hold few rows together; of very many files, that is not asked."""
    if len(mapped) > SOURCES_AT_ONCE:
        return False
    counts = (f"SELECT count(*) FROM raw_{source.no}" for source in mapped)
    query = " UNION ALL ".join(counts)
    return not query or sum(n for (n,) in store.rows(query)) <= FEW_ROWS


def _take_marks_off(store: Store, raw: str) -> None:
    """Take off what we put before texts, in a file whose headings say that we did."""
    kinds = store.columns(raw)
    if NO_FORMULAS not in kinds:
        return
    for name, kind in kinds.items():
        if kind == "VARCHAR" and name not in headings.RESERVED:
            cell = quote(name)
            store.execute(
                f"UPDATE {raw} SET {cell} = {cell}[2:] "
                f"WHERE left({cell}, 1) = '''' AND {cell}[2] <> '' "
                f"AND contains({literal(FORMULA_SIGNS)}, {cell}[2])"
            )


def provide_functions(store: Store) -> None:
    """Give the store what SQL cannot do by itself: the plain form of a text (NFKC)."""
    store.provide(NORMALISE, partial(normalize, "NFKC"))


def _stage(
    store: Store, table: Table, mapped: Sequence[SourceMapping], reading: Reading
) -> None:
    """Stage a table's sources, some at a time: many small files share the threads."""
    staged = quote(f"staged_{table.name}")
    columns = ", ".join(f"{quote(c)} {t}" for c, t in staged_columns(table).items())
    store.execute(f"CREATE TABLE {staged} ({columns})")
    for first in range(0, len(mapped), SOURCES_AT_ONCE):
        some = [
            (each, slot)
            for each in mapped[first : first + SOURCES_AT_ONCE]
            for slot in preparing.prepare(store, each, reading)
        ]
        kinds = _kinds(store, some)
        queries = [_query(kind) for kind in kinds]
        store.execute(f"INSERT INTO {staged} " + " UNION ALL ".join(queries))
        for kind in kinds:
            numbers = ", ".join(str(number) for number, _ in kind.relations)
            where = f"source_no IN ({numbers})"
            if kind.slot.slot:
                where += f" AND ref_slot(ref) = {kind.slot.slot}"
            kind.reader.read_again(store, kind.slot.written, where)
        preparing.tidy_up(store)
    for each in mapped:
        spelled = spellings.respelled(table, each.name, reading)
        if spelled:
            sets = ", ".join(f"{quote(name)} = {sql}" for name, sql in spelled.items())
            store.execute(f"UPDATE {staged} SET {sets} WHERE source_no = {each.no}")


@dataclass(frozen=True)
class _Kind:
    """Sources whose rows have the same columns and are read alike, so in one go."""

    reader: CellReader
    slot: preparing.PreparedSlot
    types: Mapping[str, str]
    relations: list[tuple[int, str]]
    """The number of each, and what gives its rows."""


def _kinds(
    store: Store, some: Sequence[tuple[SourceMapping, preparing.PreparedSlot]]
) -> list[_Kind]:
    """Gather the sources that are read alike: a station may have thousands."""
    kinds: dict[str, _Kind] = {}
    for source, slot in some:
        types = store.columns(slot.relation)
        reader = CellReader(source.table, source.grid.form)
        said = reader.select(slot.written, "", types, slot.also)
        key = repr((slot.slot, types, reader.form, slot.written, said))
        kind = kinds.setdefault(key, _Kind(reader, slot, types, []))
        kind.relations.append((source.no, slot.relation))
    return list(kinds.values())


def _query(kind: _Kind) -> str:
    """Write the SELECT of the records of sources of one kind.

    On the way the ref stands in the place of the line, for lines are not unique.
    """
    slot = kind.slot
    rows = " UNION ALL ".join(
        f"SELECT * REPLACE (ref_of({number}, {slot.slot}, source_line) AS source_line) "
        f"FROM {quote(relation)}"
        for number, relation in kind.relations
    )
    query = kind.reader.select(slot.written, f"({rows})", kind.types, slot.also)
    return (
        "SELECT source_line AS ref, ref_source(source_line), "
        f"* REPLACE (ref_line(source_line) AS source_line) FROM ({query})"
    )


def _list_sources(store: Store, mapped: Sequence[SourceMapping]) -> None:
    """Count what was read, from the rows as they stand: each record of a row counts."""
    store.execute(
        "CREATE TABLE sources_read (source_no INTEGER, source VARCHAR, "
        '"table" VARCHAR, sha256 VARCHAR, rows_read BIGINT)'
    )
    for source in mapped:
        whole = "count(*)"
        if source.slots[0].slot:
            broken = (
                "broken IS NOT NULL"
                if "broken" in store.columns(source.raw)
                else "false"
            )
            passed = (
                "source_line IN (SELECT ref_line(ref) FROM passed_over "
                f"WHERE ref_slot(ref) IS NULL AND ref_source(ref) = {source.no})"
            )
            whole += (
                f" + count(*) FILTER (NOT ({broken} OR {passed}))"
                f" * {len(source.slots) - 1}"
            )
        store.execute(
            f"INSERT INTO sources_read SELECT {source.no}, {literal(source.name)}, "
            f"{literal(source.table.name)}, {literal(source.grid.source.sha256)}, "
            f"{whole} FROM {source.raw}"
        )
