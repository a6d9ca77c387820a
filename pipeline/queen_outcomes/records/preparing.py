"""Rows of a sheet made ready for reading: a record each, and no marks left in them.

Ditto marks and cells that are filled downwards take the value above, a group line gives
its text to the rows below it, and a wide row becomes a record a slot. All by the
settings; `passed_over` says of every row or slot that holds no record why.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.reading import FINDINGS, PASS_OVER, CellRule, Habits, Reading
from queen_outcomes.records.cells import folded, listed
from queen_outcomes.records.mapping import (
    GROUP,
    CellSource,
    SlotMapping,
    SourceMapping,
)

WHY = {
    "pattern": "rows that the settings pass over",
    "struck": "rows struck through",
    "hidden": "hidden rows",
    "group": "group lines",
    "slot": "empty slots",
}
"""Why a row or slot is passed over, as it is told."""
MARKS = "row_marks"
_WHY, _FIRST, _FILLED = '"row  why"', '"row  first"', '"row  filled"'
"""Columns beside the sheet's own; no heading has two blanks in a row."""


@dataclass(frozen=True)
class PreparedSlot:
    """A relation with a record a row: source_line, broken, and a column for each of ours."""

    relation: str
    slot: int
    columns: Mapping[str, str]
    """Our column, or `FINDINGS` -> its name in the relation."""


def begin(store: Store) -> None:
    """Make the empty table of what is passed over."""
    store.execute("CREATE TABLE passed_over (ref BIGINT, why VARCHAR)")


def prepare(
    store: Store, source: SourceMapping, reading: Reading
) -> list[PreparedSlot]:
    """Make a source's rows ready, for one table.

    Parameters
    ----------
    store : Store
        Holds the source's raw table and `passed_over`, which is added to.
    source : SourceMapping
    reading : Reading
        The station's settings.

    Returns
    -------
    list of PreparedSlot
        One for each slot.
    """
    habits, ditto = reading.habits_of(source.name), reading.ditto_of(source.name)
    rows = _rows(store, source, habits, ditto)
    slots = []
    for slot in source.slots:
        if _is_plain(slot):
            columns = {ours: cell.columns[0] for ours, cell in slot.cells.items()}
            slots.append(PreparedSlot(rows, slot.slot, columns))
        else:
            slots.append(_slot(store, source, slot, rows, reading))
    return slots


def _is_plain(slot: SlotMapping) -> bool:
    """Tell whether the rows are the records and the cells stand as they are."""
    cells = slot.cells.values()
    return (
        not slot.slot
        and not slot.asked
        and not slot.colours
        and all(len(cell.columns) == 1 for cell in cells)
    )


# --- rows


def _rows(
    store: Store, source: SourceMapping, habits: Habits, ditto: tuple[str, ...]
) -> str:
    """Give the relation of a source's rows that hold records."""
    marks = _marks(store, source, habits)
    plain = not (habits.pass_over or habits.group or habits.fill_down or marks)
    types = store.columns(source.raw)
    repeated = [
        name
        for name in source.grid.columns
        if ditto and types[name] == "VARCHAR" and _holds(store, source.raw, name, ditto)
    ]
    if plain and not repeated:
        return source.raw
    judged, prepared = f"judged_{source.no}", f"rows_{source.no}"
    _judge(store, source, habits, judged, types, marks)
    store.execute(
        f"INSERT INTO passed_over SELECT ref_of({source.no}, 0, source_line), "
        f"{_WHY} FROM {judged} WHERE {_WHY} IS NOT NULL"
    )
    down = {_folded(name) for name in habits.fill_down}
    cells = []
    for name in source.grid.columns:
        cell = quote(name)
        if name in repeated:
            own = f"CASE WHEN {_is_mark(cell, ditto)} THEN NULL ELSE {cell} END"
            above = _above(own)
            # a mark with nothing above it stays, and is told as what it is
            value = f"CASE WHEN {_is_mark(cell, ditto)} THEN coalesce({above}, {cell})"
            value += f" ELSE {cell} END"
            if _folded(name) in down:
                value = f"CASE WHEN {cell} IS NULL THEN {above} ELSE {value} END"
        elif _folded(name) in down:
            value = f"coalesce({cell}, {_above(cell)})"
        else:
            value = cell
        cells.append(f"{value} AS {cell}")
    group = _above(f"CASE WHEN {_WHY} = 'group' THEN {_FIRST} END", "true")
    store.table(
        prepared,
        f"SELECT * EXCLUDE ({_WHY}) FROM (SELECT source_line, broken, {_WHY}, "
        f"{', '.join(cells)}, {group} AS {quote(GROUP)} FROM {judged} "
        f"WHERE {_WHY} IS NULL OR {_WHY} = 'group') WHERE {_WHY} IS NULL",
    )
    store.drop(judged)
    return prepared


def _folded(heading: str) -> str:
    return " ".join(heading.split()).casefold()


def _above(value: str, where: str = f"{_WHY} IS NULL") -> str:
    """Give the last value above a row that is not empty."""
    return (
        f"last_value(CASE WHEN {where} THEN {value} END IGNORE NULLS) OVER "
        "(ORDER BY source_line ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)"
    )


def _is_mark(cell: str, ditto: Iterable[str]) -> str:
    return f"coalesce(lower(trim({cell})) IN ({listed(folded(ditto))}), false)"


def _holds(store: Store, raw: str, name: str, ditto: Iterable[str]) -> bool:
    query = f"SELECT 1 FROM {quote(raw)} WHERE {_is_mark(quote(name), ditto)} LIMIT 1"
    return bool(store.rows(query))


def _judge(
    store: Store,
    source: SourceMapping,
    habits: Habits,
    judged: str,
    types: Mapping[str, str],
    marks: str,
) -> None:
    """Write each row with why it is no record; null where it is one."""
    texts = [
        f"nullif(trim(CAST(r.{quote(name)} AS VARCHAR)), '')"
        for name in source.grid.columns
    ]
    cases = []
    if habits.pass_over:
        fits = " OR ".join(
            f"lower({_FIRST}) GLOB {literal(pattern.lower())}"
            for pattern in habits.pass_over
        )
        cases.append(f"WHEN {fits} THEN 'pattern'")
    cases += [
        f"WHEN {quote('row  ' + mark)} THEN '{mark}'"
        for mark in ("struck", "hidden")
        if marks and getattr(habits, mark) == PASS_OVER
    ]
    if habits.group:
        cases.append(f"WHEN {_FILLED} = 1 THEN 'group'")
    cases.append("ELSE NULL")
    broken = "r.broken" if "broken" in types else "NULL::VARCHAR AS broken"
    joined = f"LEFT JOIN {marks} AS m ON m.line = r.source_line" if marks else ""
    states = ', m.struck AS "row  struck", m.hidden AS "row  hidden"' if marks else ""
    count = " + ".join(f"({text} IS NOT NULL)::INTEGER" for text in texts)
    cells = ", ".join(f"r.{quote(name)}" for name in source.grid.columns)
    store.table(
        judged,
        f"SELECT *, CASE WHEN broken IS NULL THEN CASE {' '.join(cases)} END END AS {_WHY} "
        f"FROM (SELECT r.source_line, {broken}, {cells}, "
        f"coalesce({', '.join(texts)}) AS {_FIRST}, {count} AS {_FILLED}{states} "
        f"FROM {quote(source.raw)} AS r {joined})",
    )


def _marks(store: Store, source: SourceMapping, habits: Habits) -> str:
    """Give the table of a sheet's marks where the settings ask for them; else nothing."""
    wanted = PASS_OVER in (habits.struck, habits.hidden) or any(
        slot.colours for slot in source.slots
    )
    frame = source.grid.marks() if wanted else None
    if frame is None:
        return ""
    store.con.register("landing", frame)
    store.execute(f"CREATE OR REPLACE TEMP TABLE {MARKS} AS SELECT * FROM landing")
    store.con.unregister("landing")
    return MARKS


# --- slots


def _slot(
    store: Store, source: SourceMapping, slot: SlotMapping, rows: str, reading: Reading
) -> PreparedSlot:
    """Write a relation with a slot's records, and what is passed over."""
    name = f"slot_{source.no}_{slot.slot}"
    types = store.columns(rows)
    table = source.table

    def rule(ours: str) -> CellRule:
        cell = slot.cells.get(ours)
        return reading.cell_rule(
            table.name, ours, source.name, cell.rule if cell else None
        )

    cells = {ours: _cell(table, ours, cell) for ours, cell in slot.cells.items()}
    coloured = _coloured(slot, cells) if slot.colours and _has_marks(store) else {}
    cells |= coloured
    joined = f"LEFT JOIN {MARKS} AS m ON m.line = r.source_line" if coloured else ""
    filled = [
        _is_filled(column, rule(ours).empty)
        for ours, cell in slot.cells.items()
        for column in cell.columns
        if column in slot.asked
    ]
    if coloured and filled:
        fills = " OR ".join(
            f"list_contains(m.fills, {literal(fill)})" for fill in slot.colours
        )
        filled.append(f"coalesce({fills}, false)")
    there = " OR ".join(filled) or "true"
    broken = "r.broken" if "broken" in types else "NULL::VARCHAR"
    first = source.slots[0].slot
    columns = ", ".join(f"{sql} AS {quote(ours)}" for ours, sql in cells.items())
    store.table(
        name,
        f"SELECT r.source_line, {broken} AS broken, {broken} IS NOT NULL OR ({there}) "
        f"AS is_record, {columns} FROM {quote(rows)} AS r {joined} "
        f"WHERE {broken} IS NULL OR {slot.slot} = {first}",
    )
    store.execute(
        f"INSERT INTO passed_over SELECT ref_of({source.no}, {slot.slot}, source_line), "
        f"'slot' FROM {name} WHERE NOT is_record"
    )
    store.execute(f"DELETE FROM {name} WHERE NOT is_record")
    return PreparedSlot(name, slot.slot, {ours: ours for ours in cells})


def _has_marks(store: Store) -> bool:
    return store.has(MARKS)


def _is_filled(column: str, empty: Iterable[str]) -> str:
    text = f"lower(trim(CAST(r.{quote(column)} AS VARCHAR)))"
    words = folded(empty) | {""}
    return f"coalesce({text} NOT IN ({listed(words)}), false)"


def _cell(table, ours: str, cell: CellSource) -> str:
    """Give SQL of a cell: one of the sheet's, several joined by a blank, or a constant."""
    if cell.value is not None:
        return literal(cell.value)
    if len(cell.columns) == 1:
        return f"r.{quote(cell.columns[0])}"
    kind = "text" if ours == FINDINGS else table.column(ours).kind
    texts = [f"trim(CAST(r.{quote(name)} AS VARCHAR))" for name in cell.columns]
    if kind in ("date", "datetime"):
        # a day in a column of its own is written with midnight by some programs, and an
        # hour with the day on which their calendar begins
        texts = [
            f"regexp_replace(regexp_replace({text}, '[T ]00:00(:00)?(\\.0+)?$', ''), "
            f"'^(1899-12-3[01]|1900-01-0[01]|1904-01-01)[T ]', '')"
            for text in texts
        ]
    return f"nullif(trim(concat_ws(' ', {', '.join(texts)})), '')"


def _coloured(slot: SlotMapping, cells: Mapping[str, str]) -> dict[str, str]:
    """Give SQL of the cells that a fill sets where nothing is written."""
    sets: dict[str, list[str]] = {}
    for fill, values in slot.colours.items():
        for ours, value in values.items():
            sets.setdefault(ours, []).append(
                f"WHEN list_contains(m.fills, {literal(fill)}) THEN {literal(value)}"
            )
    return {
        ours: f"coalesce(nullif(trim(CAST({cells.get(ours, 'NULL')} AS VARCHAR)), ''), "
        f"CASE {' '.join(cases)} END)"
        for ours, cases in sets.items()
    }
