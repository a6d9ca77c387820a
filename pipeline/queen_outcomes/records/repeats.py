"""Rows of one sheet that are read alike: repeats of one another, or not.

Two rows may be alike in all that is read of them for a table, and yet be two: the next
queen under a number that was typed twice. What no rule reads, or what the rule reads and
takes for the same, tells them apart; what only other tables read (the looks of a visit
each) does not, for a sheet may tell one insemination in every row of a queen.
"""

from __future__ import annotations

import polars as pl

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.column import Table
from queen_outcomes.facts.reading import Reading
from queen_outcomes.records import findings
from queen_outcomes.records.cells import folded, listed
from queen_outcomes.records.mapping import SourceMapping
from queen_outcomes.records.steps import spaced

CELLS_READ = "cells_read"
"""The table of which headings each source is read by, one row a heading."""
_EVENTS = ("checks", "exits", "co2", "lab")
"""Tables of which a queen may have many records, and so a row each."""
_SHOWN = 4
"""Headings named, of those in which two rows differ."""


def list_cells(store: Store, mapped: tuple[SourceMapping, ...]) -> None:
    """Write which headings each source is read by; a part of a cell counts as the whole.

    Parameters
    ----------
    store : Store
        Gets `cells_read`.
    mapped : tuple of SourceMapping
    """
    rows = []
    for source in mapped:
        parts = source.grid.parts_of
        made = {part: whole for whole, some in parts.items() for part in some}
        headings = [name for name in source.grid.columns if name not in made]
        read = {
            made.get(name, name)
            for slot in source.slots
            for name in (*slot.only, *(n for cell in slot.cells.values() for n in cell.columns))
        }
        place = (source.no, source.name, source.table.name)
        rows += [(*place, name, headings) for name in headings if name in read]
    kinds = {"source_no": pl.Int32, "source": pl.String, "table": pl.String}
    kinds |= {"heading": pl.String, "headings": pl.List(pl.String)}
    with store.lent("read_cells", pl.DataFrame(rows, kinds, orient="row")):
        store.table(CELLS_READ, "SELECT * FROM read_cells")


def look_closer(store: Store, table: Table, reading: Reading) -> None:
    """Hold rows of one sheet that are read alike against each other, cell by cell.

    Inseminations without an id that differ in a cell that may tell two queens, or two
    doses, apart are no repeats. Of the others what differs is kept, to be told.

    Parameters
    ----------
    store : Store
        Holds `repeats`, which is mended, `findings`, which is added to, and `cells_read`;
        without that, what is read alike is a repeat.
    table : Table
    reading : Reading
    """
    if not store.has(CELLS_READ):
        return
    name = literal(table.name)
    numbers = store.rows(
        "SELECT DISTINCT ref_source(ref) AS number FROM repeats "
        f'WHERE "table" = {name} AND ref_source(ref) = ref_source("first") ORDER BY number'
    )
    for (number,) in numbers:
        _part(store, table, number, reading)
    if table.name == "inseminations":
        _tell_same_day(store, reading)


def _part(store: Store, table: Table, number: int, reading: Reading) -> None:
    """Hold a source's repeats against the rows that they repeat."""
    columns = _headings(store, number)
    if not columns:
        return
    pairs = f'repeats WHERE "table" = {literal(table.name)} AND ref_source(ref) = {number}'
    both = f'SELECT ref FROM {pairs} UNION SELECT "first" FROM {pairs}'
    cells = _cells(store, number, columns, reading, both)
    if table.name == "inseminations":
        telling = _telling(store, number, columns)
        keyless = f"SELECT ref FROM staged_inseminations WHERE {quote(table.key)} IS NULL"
        within = f"{pairs} AND ref_source(\"first\") = {number} AND ref IN ({keyless})"
        group = "".join(f", cell_{at}" for at, name in enumerate(columns) if name in telling)
        store.table(
            "parted",
            f'SELECT ref, min(ref) OVER (PARTITION BY "first"{group}) AS own FROM ('
            f'SELECT ref, "first" FROM {within} UNION SELECT "first", "first" FROM {within}'
            f") JOIN {cells} AS c ON c.source_line = ref_line(ref)",
        )
        store.execute("DELETE FROM repeats WHERE ref IN (SELECT ref FROM parted WHERE own = ref)")
        store.execute(
            'UPDATE repeats SET "first" = p.own FROM parted AS p WHERE p.ref = repeats.ref'
        )
        store.drop("parted")
    store.execute(
        f"UPDATE repeats SET differs = d.differs FROM (SELECT ref, {_differences(columns)} "
        f'AS differs FROM (SELECT ref, "first" FROM {pairs} AND ref_source("first") = {number}) '
        f'JOIN {cells} AS a ON a.source_line = ref_line("first") '
        f"JOIN {cells} AS b ON b.source_line = ref_line(ref)) AS d "
        f"WHERE d.ref = repeats.ref AND d.differs <> ''"
    )
    store.drop(cells)


def _tell_same_day(store: Store, reading: Reading) -> None:
    """Tell of a queen's inseminations on one day that nothing but other cells tells apart."""
    store.table(
        "same_day",
        "SELECT ref, queen_id, CAST(inseminated_at AS DATE) AS day, min(ref) OVER "
        '(PARTITION BY source_no, queen_id, inseminated_at) AS "first" '
        "FROM staged_inseminations WHERE insemination_id IS NULL AND broken IS NULL "
        "AND queen_id IS NOT NULL AND inseminated_at IS NOT NULL "
        "AND ref NOT IN (SELECT ref FROM repeats)",
    )
    different = '"first" <> ref AND ref_line("first") <> ref_line(ref)'
    both = 'SELECT unnest([ref, "first"]) AS ref FROM same_day WHERE ' + different
    numbers = store.rows(
        f"SELECT DISTINCT ref_source(ref) AS number FROM same_day WHERE {different} ORDER BY number"
    )
    for (number,) in numbers:
        columns = _headings(store, number)
        if not columns:
            continue  # none of its cells is read
        cells = _cells(store, number, columns, reading, both)
        findings.add(
            store,
            "same_day_twice",
            "inseminations",
            f"(SELECT ref, queen_id, day, \"first\", {_differences(columns)} AS differs FROM "
            f'same_day JOIN {cells} AS a ON a.source_line = ref_line("first") '
            f"JOIN {cells} AS b ON b.source_line = ref_line(ref) "
            f"WHERE {different} AND ref_source(ref) = {number})",
            column="queen_id",
            value="queen_id",
            parts={
                "day": "CAST(day AS VARCHAR)",
                "first": findings.place('"first"'),
                "differs": "differs",
            },
        )
        store.drop(cells)
    store.drop("same_day")


def _headings(store: Store, number: int) -> list[str]:
    """Give the headings of a source as it stands, without what was made of its cells.

    Those that are read for the table come last: what differs there is read alike.
    """
    rows = store.rows(f"SELECT heading, headings FROM {CELLS_READ} WHERE source_no = {number}")
    read = {heading for heading, _ in rows}
    return sorted(rows[0][1], key=lambda name: name in read) if rows else []


def _telling(store: Store, number: int, columns: list[str]) -> list[str]:
    """Give the headings whose cells tell two inseminations apart."""
    of_sheet = store.rows(
        f'SELECT heading, list("table") FROM {CELLS_READ} WHERE source IN '
        f"(SELECT source FROM {CELLS_READ} WHERE source_no = {number}) GROUP BY heading"
    )
    of_events = {heading for heading, tables in of_sheet if set(tables) <= set(_EVENTS)}
    return [name for name in columns if name not in of_events]


def _cells(
    store: Store, number: int, columns: list[str], reading: Reading, refs: str
) -> str:
    """Write the cells of some rows as they are meant, numbered.

    A ditto mark is what stands above it: only where one may stand are all rows looked at.
    """
    ((name,),) = store.rows(f"SELECT source FROM sources_read WHERE source_no = {number}")
    marks = listed(folded(reading.ditto_of(name)))
    down = {" ".join(h.split()).casefold() for h in reading.habits_of(name).fill_down}
    texts, above = [], []
    for at, column in enumerate(columns):
        cell = f"coalesce(CAST({quote(column)} AS VARCHAR), '')"
        text = spaced(cell)
        skips = [f"lower({text}) IN ({marks})"] if marks else []
        if " ".join(column.split()).casefold() in down:
            skips.append(f"{text} = ''")
        if skips:
            written = f"CASE WHEN {' OR '.join(skips)} THEN NULL ELSE {cell} END"
            above.append(
                f"coalesce(last_value({written} IGNORE NULLS) OVER (ORDER BY source_line "
                f"ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW), {cell}) "
                f"AS {quote(column)}"
            )
        texts.append(f"{text} AS cell_{at}")
    filled = f"(SELECT * REPLACE ({', '.join(above)}) FROM raw_{number})"
    cells = f"meant_{number}"
    store.table(
        cells,
        f"SELECT source_line, {', '.join(texts)} FROM {filled if above else f'raw_{number}'} "
        f"WHERE source_line IN (SELECT ref_line(ref) FROM ({refs}) "
        f"WHERE ref_source(ref) = {number})",
    )
    return cells


def _differences(columns: list[str]) -> str:
    """Give SQL of what differs between two rows, a and b, with what stands in each."""
    said = [
        f"CASE WHEN a.cell_{at} <> b.cell_{at} THEN {literal(name + ' (')} || "
        f"coalesce('\"' || nullif(a.cell_{at}, '') || '\"', 'nothing') || ' there, ' || "
        f"coalesce('\"' || nullif(b.cell_{at}, '') || '\"', 'nothing') || ' here)' END"
        for at, name in enumerate(columns)
    ]
    every = f"list_filter([{', '.join(said)}], lambda x: x IS NOT NULL)"
    more = f"CASE WHEN len({every}) > {_SHOWN} THEN ' and more' ELSE '' END"
    return f"array_to_string({every}[:{_SHOWN}], ', ') || {more}"
