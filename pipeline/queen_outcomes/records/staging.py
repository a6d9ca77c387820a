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
from queen_outcomes.records import mapping
from queen_outcomes.records.casting import cast_query, staged_columns
from queen_outcomes.records.header import Names, tidy
from queen_outcomes.records.intake import Source, take_in
from queen_outcomes.records.landing import Opened, land, open_source
from queen_outcomes.records.text_readers import NORMALISE

SOURCES_AT_ONCE = 16
"""How many sources one statement stages; more would make it long for no gain."""


@dataclass(frozen=True)
class LandedSource:
    """A source as it was read."""

    no: int
    name: str
    table: str
    path: Path
    sha256: str
    headings: tuple[str, ...]
    """As the raw table names them: all named, all different."""
    mapped: Mapping[str, str]
    """Our column -> the heading."""
    unused: tuple[str, ...]


@dataclass(frozen=True)
class Staged:
    """All sources as they were read, and what the station should be told."""

    sources: tuple[LandedSource, ...]
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
    taken, notes = take_in(records_dir, settings.reading.files)
    opened = _open_all(store, taken, settings.reading)
    landed, unused_notes = _map_all(opened, settings.reading)
    _provide_functions(store)
    pairs = list(zip(landed, opened, strict=True))
    for source, how in pairs:
        land(store, how, f"raw_{source.no}")
    for table in TABLES.values():
        columns = ", ".join(f"{quote(c)} {t}" for c, t in staged_columns(table).items())
        store.execute(f"CREATE TABLE {quote('staged_' + table.name)} ({columns})")
        _stage(
            store,
            table,
            [pair for pair in pairs if pair[0].table == table.name],
            settings.reading,
        )
    _list_sources(store, landed)
    return Staged(tuple(landed), tuple(notes + unused_notes))


def _names(table: Table, reading: Reading) -> Names:
    return Names.of(table, reading.columns.get(table.name, {}))


def _open_all(store: Store, taken: Sequence[Source], reading: Reading) -> list[Opened]:
    return [
        open_source(store, source, _names(TABLES[source.table], reading))
        for source in taken
    ]


def _map_all(
    opened: Sequence[Opened], reading: Reading
) -> tuple[list[LandedSource], list[str]]:
    for table, columns in reading.columns.items():
        given = [how.given for how in opened if how.source.table == table]
        if given:
            mapping.refuse_absent(table, columns, given)
    landed, notes = [], []
    for no, how in enumerate(opened, start=1):
        source, names = how.source, _names(TABLES[how.source.table], reading)
        places = mapping.map_columns(names, how.given, source.name)
        mapped = {ours: how.columns[place] for ours, place in places.items()}
        unused = [
            column
            for place, column in enumerate(how.columns)
            if place not in places.values() and tidy(how.given[place])
        ]
        notes += [
            mapping.unused_note(names, column, set(mapped), source.name)
            for column in unused
        ]
        landed.append(
            LandedSource(
                no,
                source.name,
                source.table,
                source.path,
                source.sha256,
                tuple(how.columns),
                mapped,
                tuple(unused),
            )
        )
    return landed, notes


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
    store: Store,
    table: Table,
    pairs: Sequence[tuple[LandedSource, Opened]],
    reading: Reading,
) -> None:
    """Stage a table's sources, some at a time: many small files share the threads."""
    for first in range(0, len(pairs), SOURCES_AT_ONCE):
        queries = [
            _staging_query(store, source, how, reading)
            for source, how in pairs[first : first + SOURCES_AT_ONCE]
        ]
        store.execute(
            f"INSERT INTO {quote('staged_' + table.name)} "
            + " UNION ALL ".join(queries)
        )


def _staging_query(
    store: Store, source: LandedSource, how: Opened, reading: Reading
) -> str:
    raw = f"raw_{source.no}"
    query = cast_query(
        TABLES[source.table],
        source.mapped,
        store.columns(raw),
        source=quote(raw),
        reading=reading,
        form=how.form,
    )
    ref = f"{source.no}::BIGINT * {2**LINE_BITS} + source_line"
    return f"SELECT {ref}, {source.no}, * FROM ({query})"


def _list_sources(store: Store, landed: Sequence[LandedSource]) -> None:
    store.execute(
        "CREATE TABLE sources_read (source_no INTEGER, source VARCHAR, "
        '"table" VARCHAR, sha256 VARCHAR, rows_read BIGINT)'
    )
    for source in landed:
        store.execute(
            f"INSERT INTO sources_read SELECT {source.no}, {literal(source.name)}, "
            f"{literal(source.table)}, {literal(source.sha256)}, count(*) "
            f"FROM raw_{source.no}"
        )
