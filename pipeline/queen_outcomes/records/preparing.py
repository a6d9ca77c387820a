"""Rows of a sheet made ready for reading: a record each, and no marks left in them.

Ditto marks and cells that are filled downwards take the value above, a group line gives
its text to the rows below it, and a wide row becomes a record a slot. All by the
settings; `passed_over` says of every row or slot that holds no record why.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from queen_outcomes.base.errors import RecordsError, nearest, shorten
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts import years
from queen_outcomes.facts.reading import MIXED, PASS_OVER, Habits, Reading
from queen_outcomes.records import days, titles
from queen_outcomes.records.cells import WrittenColumn, folded, listed
from queen_outcomes.records.delimited import CELLS_MISSING
from queen_outcomes.records.mapping import (
    CellSource,
    SlotMapping,
    SourceMapping,
    group_column,
)

MARKS = "row_marks_"
_WHY, _FIRST, _FILLED = '"row  why"', '"row  first"', '"row  filled"'
_SHORT = '"row  short"'
_BROKEN, _FILLS = '"row  broken"', '"row  fills"'
_YEAR = '"row  year"'
"""Columns beside the sheet's own; no heading has two blanks in a row."""


@dataclass(frozen=True)
class PreparedSlot:
    """The rows that hold a slot's record, and where its columns stand in them."""

    relation: str
    slot: int
    written: Mapping[str, WrittenColumn]
    """Our column, or the one of findings -> how it is read."""
    also: Mapping[str, Sequence[tuple[str, str]]] = field(default_factory=dict)
    """Our column -> what a fill sets: a condition over the relation, and the text."""


def begin(store: Store) -> None:
    """Make the empty table of what is passed over.

    Why: by a `pattern` or a text that stands for no record (also `pattern`), as `struck` or `hidden`, as a `group` line; of a slot because it
    is empty (`slot`), or because the rule takes other rows (`only`).
    """
    store.execute("CREATE TABLE passed_over (ref BIGINT, why VARCHAR)")


def tidy_up(store: Store) -> None:
    """Remove what was made on the way."""
    store.drop_like("slot_", "rows_", MARKS)


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
    rows = _rows(store, source, reading)
    return [_slot(store, source, slot, rows, reading) for slot in source.slots]


# --- rows


def _rows(store: Store, source: SourceMapping, reading: Reading) -> str:
    """Give the relation of a source's rows that hold records."""
    habits, ditto = reading.habits_of(source.name), reading.ditto_of(source.name)
    marks = _marks(store, source, habits)
    chosen = habits.pass_over or habits.no_record
    dated = _days_without_year(source, habits)
    plain = not (chosen or habits.group or habits.fill_down or marks or dated)
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
        f"CASE {_WHY} WHEN 'no_record' THEN 'pattern' WHEN 'year' THEN 'group' ELSE {_WHY} END "
        f"FROM {judged} WHERE {_WHY} IS NOT NULL"
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
    groups = "".join(
        f"nullif({_above(value, 'true')}, '') AS {quote(group_column(name))}, "
        for name, value in _given_by_groups(store, judged, habits).items()
    )
    year = _above(f"CASE WHEN {_WHY} = 'year' THEN left({_FIRST}, 4) END", "true")
    # the cells with the marks taken off are those that a year goes behind
    rows = (
        f"SELECT source_line, broken, {_WHY}, {', '.join(cells)}, {groups}"
        f"{year} AS {_YEAR} FROM {judged} WHERE {_GOES_ON} OR {_WHY} IN ('group', 'year')"
    )
    more = [
        f"{_with_year(source, f'trim({quote(name)})', reading)} AS {quote(_dated(name))}"
        for name in dated
        if types[name] == "VARCHAR"
    ]
    listed_more = "".join(f", {each}" for each in more)
    store.table(
        prepared,
        f"SELECT * EXCLUDE ({_WHY}, {_YEAR}){listed_more} FROM ({rows}) WHERE {_WHY} IS NULL",
    )
    store.drop(judged)
    return prepared


def _is_group(habits: Habits) -> str:
    """Tell whether a row's only text is that of a group line: it begins so, or has one of the words."""
    if habits.group_rows:
        begins = (f"lower({_FIRST}) GLOB {literal(pattern.lower())}" for pattern in habits.group_rows)
        return f"({' OR '.join(begins)})"
    if not all(habits.group.values()):
        return "true"
    words = "|".join(r"\s+".join(map(re.escape, word.split())) for word in habits.group.values())
    pattern = rf"(?i)(^|[^\pL\pN])({words})($|[^\pL\pN])"
    return f"regexp_matches({_FIRST}, {literal(pattern)})"


def _given_by_groups(store: Store, judged: str, habits: Habits) -> dict[str, str]:
    """Give SQL of what each group line gives to the columns; one that lacks it ends what was given."""
    is_group = f"{_WHY} = 'group'"
    found = store.rows(f"SELECT DISTINCT {_FIRST} FROM {judged} WHERE {is_group}") if habits.group else []
    given = {}
    for name, word in habits.group.items():
        value = _FIRST
        if word:
            said = {text: titles.behind([[text]], word) for (text,) in found}
            cases = [
                f"WHEN {literal(text)} THEN {literal(own[0])}" for text, own in said.items() if len(own) == 1
            ]
            value = f"CASE {_FIRST} {' '.join(cases)} ELSE '' END" if cases else "''"
        given[name] = f"CASE WHEN {is_group} THEN {value} END"
    return given


def _with_year(source: SourceMapping, cell: str, reading: Reading) -> str:
    """Give SQL of a day with its year: that of the row above, or of another day of its row."""
    habits, form = reading.habits_of(source.name), source.grid.form
    if habits.year == years.ROWS:
        return days.with_year_above(cell, _YEAR, workbook=form.workbook)
    order = (habits.dates or reading.date_order).removeprefix(MIXED)
    other = f"trim(CAST({quote(_year_of(source, habits))} AS VARCHAR))"
    return days.with_year_of(cell, days.plain_moment(other, order, form), order, form)


def _year_of(source: SourceMapping, habits: Habits) -> str:
    """Give the column of the day from which on the others of a row lie; empty where none is named.

    Raises
    ------
    RecordsError
        The heading is not there.
    """
    known = {_folded(name): name for name in source.grid.columns}
    found = known.get(_folded(habits.year_of), "")
    if habits.year_of and not found:
        close = nearest(habits.year_of, source.grid.columns)
        raise RecordsError(
            f'no heading "{habits.year_of}" to take the year of days from',
            where=f"{source.name}, year_of",
            found=shorten(source.grid.columns, ", ") or "no headings",
            hint=f'did you mean "{close}"?' if close else "mend that line",
        )
    return found


def _days_without_year(source: SourceMapping, habits: Habits) -> list[str]:
    """Give the columns of days of a sheet whose years stand elsewhere in it."""
    if habits.year != years.ROWS and not _year_of(source, habits):
        return []
    found = (
        name
        for slot in source.slots
        for ours, cell in slot.cells.items()
        if _lacks_year(source, habits, ours, cell)
        for name in cell.columns[:1]
    )
    return [name for name in dict.fromkeys(found) if name in source.grid.columns]


def _lacks_year(
    source: SourceMapping, habits: Habits, ours: str, cell: CellSource
) -> bool:
    """Tell whether days of a column are of the year in a row above, or of another day's."""
    if cell.rule is not None and cell.rule.year is not None:
        return False
    if habits.year != years.ROWS and _year_of(source, habits) in ("", *cell.columns[:1]):
        return False
    kinds = {column.name: column.kind for column in source.table.columns}
    return kinds.get(ours) in ("date", "datetime")


def _dated(name: str) -> str:
    """Name the column in which the days of another stand with their year."""
    return f"{name}  with year"


def _folded(heading: str) -> str:
    return " ".join(heading.split()).casefold()


_GOES_ON = f"({_WHY} IS NULL OR {_WHY} = 'no_record')"
"""Rows in which the sheet goes on: the day of what is no record holds for those below it."""


def _above(value: str, where: str = _GOES_ON) -> str:
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
    known = {_folded(name): name for name in source.grid.columns}
    cases += [
        f"WHEN {_is_chosen(known[_folded(name)], said)} THEN 'no_record'"
        for name, said in habits.no_record.items()
        if _folded(name) in known
    ]
    cases += [
        f"WHEN {quote('row  ' + mark)} THEN '{mark}'"
        for mark in ("struck", "hidden")
        if marks and getattr(habits, mark) == PASS_OVER
    ]
    if habits.year == years.ROWS:
        alone = f"{_FILLED} = 1 AND regexp_full_match({_FIRST}, {literal(years.LONE_YEAR)})"
        cases.append(f"WHEN {alone} THEN 'year'")
    if habits.group:
        cases.append(f"WHEN {_FILLED} = 1 AND {_is_group(habits)} THEN 'group'")
    # a sheet whose ditto marks alone are asked about has no rows to pass over
    why = f"CASE {' '.join(cases)} END" if cases else "NULL::VARCHAR"
    broken = "r.broken" if "broken" in types else "NULL::VARCHAR AS broken"
    first, filled = f"coalesce({', '.join(texts)})", " + ".join(
        f"({text} IS NOT NULL)::INTEGER" for text in texts
    )
    short = "false"
    if source.grid.separator:
        # "Total: 12" alone on its line is short of cells, and no less a row to pass over
        short = f"coalesce(r.broken = {literal(CELLS_MISSING)}, false)"
        parted = f"string_split(r.broken_text, {literal(source.grid.separator)})"
        cells_of = f"list_transform({parted}, lambda x: trim(trim(x), '\"'))"
        there = f"list_filter({cells_of}, lambda x: trim(x) <> '')"
        first = f"CASE WHEN {short} THEN trim({there}[1]) ELSE {first} END"
        filled = f"CASE WHEN {short} THEN len({there}) ELSE {filled} END"
    joined = f"LEFT JOIN {marks} AS m ON m.line = r.source_line" if marks else ""
    states = ', m.struck AS "row  struck", m.hidden AS "row  hidden"' if marks else ""
    cells = ", ".join(f"r.{quote(name)}" for name in source.grid.columns)
    store.table(
        judged,
        f"SELECT *, CASE WHEN broken IS NULL OR {_SHORT} THEN {why} END AS {_WHY} "
        f"FROM (SELECT r.source_line, {broken}, {cells}, "
        f"{first} AS {_FIRST}, {filled} AS {_FILLED}, {short} AS {_SHORT}{states} "
        f"FROM {quote(source.raw)} AS r {joined}) AS r",
    )


def _marks(store: Store, source: SourceMapping, habits: Habits) -> str:
    """Give the table of a sheet's marks where the settings ask for them; else nothing."""
    wanted = PASS_OVER in (habits.struck, habits.hidden) or any(
        slot.colours for slot in source.slots
    )
    frame = source.grid.marks() if wanted else None
    if frame is None:
        return ""
    with store.lent("landing", frame):
        store.table(f"{MARKS}{source.no}", "SELECT * FROM landing")
    return f"{MARKS}{source.no}"


# --- slots


def _slot(
    store: Store, source: SourceMapping, slot: SlotMapping, rows: str, reading: Reading
) -> PreparedSlot:
    """Give the relation of a slot's records; what holds none is passed over."""
    habits, there_now = reading.habits_of(source.name), store.columns(rows)
    written = {
        ours: WrittenColumn(
            _with_years(cell.columns, there_now)
            if _lacks_year(source, habits, ours, cell)
            else cell.columns,
            reading.cell_rule(source.table.name, ours, source.name, cell.rule),
            cell.value,
        )
        for ours, cell in slot.cells.items()
    }
    marks = f"{MARKS}{source.no}"
    coloured = bool(slot.colours) and store.has(marks)
    if not (slot.slot or slot.asked or coloured or slot.only):
        return PreparedSlot(rows, slot.slot, written)
    name = f"slot_{source.no}_{slot.slot}"
    there = [
        _is_filled(column, written[ours].rule.empty)
        for ours, cell in slot.cells.items()
        for column in cell.columns
        if column in slot.asked
    ]
    also: dict[str, list[tuple[str, str]]] = {}
    for fill, values in slot.colours.items() if coloured else ():
        has_fill = f"coalesce(list_contains({_FILLS}, {literal(fill)}), false)"
        there += [has_fill] if there else []
        for ours, value in values.items():
            also.setdefault(ours, []).append((has_fill, value))
    chosen = _all_chosen(slot)
    has_broken = "broken" in store.columns(rows)
    broken = "r.broken IS NOT NULL" if has_broken else "false"
    fills = f", m.fills AS {_FILLS}" if coloured else ""
    joined = f"LEFT JOIN {marks} AS m ON m.line = r.source_line" if coloured else ""
    store.execute(
        f"CREATE VIEW {name} AS SELECT * FROM (SELECT r.*, {broken} AS {_BROKEN}{fills} "
        f"FROM {quote(rows)} AS r {joined}) AS r "
        f"WHERE CASE WHEN {_BROKEN} THEN {slot.slot} = {source.slots[0].slot} "
        f"ELSE ({' OR '.join(there) or 'true'}) AND {chosen} END"
    )
    store.execute(
        f"INSERT INTO passed_over SELECT ref_of({source.no}, {slot.slot}, source_line), "
        f"CASE WHEN {chosen} THEN 'slot' ELSE 'only' END FROM {quote(rows)} AS r WHERE NOT {broken} AND source_line NOT IN "
        f"(SELECT source_line FROM {name})"
    )
    return PreparedSlot(name, slot.slot, written, also)


def _with_years(columns: tuple[str, ...], there: Iterable[str]) -> tuple[str, ...]:
    """Give the columns of a day, the first as it stands with its year where that is made."""
    made = tuple(_dated(name) for name in columns[:1])
    return made + columns[1:] if set(made) <= set(there) else columns


def _is_chosen(column: str, texts: Iterable[str]) -> str:
    text = f"lower(trim(CAST(r.{quote(column)} AS VARCHAR)))"
    return f"coalesce({text} IN ({listed(folded(texts))}), false)"


def _all_chosen(slot: SlotMapping) -> str:
    return " AND ".join(_is_chosen(*one) for one in slot.only.items()) or "true"


def _chooses(store: Store, raw: str, slot: SlotMapping) -> bool:
    query = f"SELECT 1 FROM {raw} AS r WHERE {_all_chosen(slot)} LIMIT 1"
    return bool(store.rows(query))


def _asked_for(slot: SlotMapping) -> str:
    return " and ".join(
        " or ".join(f'"{text}"' for text in texts) + f' under "{column}"'
        for column, texts in slot.only.items()
    )


def not_chosen(store: Store, sources: Iterable[SourceMapping]) -> list[str]:
    """Tell of rows that no rule of a sheet chooses, and of rules that choose none.

    Where a rule of the sheet takes every row, only texts that stand in a column by which
    another chooses: "gone 3/6" may be what it was to take.

    Parameters
    ----------
    store : Store
        Holds the raw tables, and `passed_over` of all that was read.
    sources : iterable of SourceMapping

    Returns
    -------
    list of str
        Sentences, a sheet's together.
    """
    sheets: dict[str, list[SourceMapping]] = {}
    for source in sources:
        sheets.setdefault(source.name, []).append(source)
    told = []
    for name, own in sheets.items():
        slots = [slot for source in own for slot in source.slots]
        told += [
            f"{name}: no row is chosen for {source.table.name}: none has {_asked_for(slots[0])}"
            for source in own
            for slots in _alike(source)
            if not any(_chooses(store, source.raw, slot) for slot in slots)
        ]
        if not all(slot.only for slot in slots):
            told += _passed_by(store, name, own)
            continue
        column = next(iter(slots[0].only))
        numbers = ", ".join(str(source.no) for source in own)
        found = store.rows(
            f"SELECT trim(CAST({quote(column)} AS VARCHAR)) AS said, count(*) AS number "
            f"FROM {own[0].raw} WHERE source_line IN ("
            "SELECT ref_line(ref) FROM passed_over "
            f"WHERE why = 'only' AND ref_source(ref) IN ({numbers}) "
            f"GROUP BY ALL HAVING count(*) = {len(slots)}) "
            "GROUP BY said ORDER BY number DESC, said"
        )
        if found:
            texts = [
                (f'"{said}"' if said else "nothing") + f" ({number})"
                for said, number in found
            ]
            told.append(
                f"{name}: {sum(number for _, number in found)} rows are chosen by no "
                f'[[read]]; under "{column}" they have {shorten(texts, ", ")}'
            )
    return told


def _alike(source: SourceMapping) -> list[list[SlotMapping]]:
    """Put slots together that choose their rows by the same texts, each under its heading."""
    found: dict[tuple[tuple[str, ...], ...], list[SlotMapping]] = {}
    for slot in source.slots:
        if slot.only:
            found.setdefault(tuple(slot.only.values()), []).append(slot)
    return list(found.values())


def _passed_by(store: Store, name: str, own: Sequence[SourceMapping]) -> list[str]:
    """Tell of texts that no rule chooses, in the columns by which some rules do."""
    taken: dict[str, set[str]] = {}
    for slot in (slot for source in own for slot in source.slots):
        for column, texts in slot.only.items():
            taken.setdefault(column, set()).update(folded(texts))
    numbers = ", ".join(str(source.no) for source in own)
    told = []
    slots = [slot for source in own for slot in source.slots]
    read, in_each = (
        {name for slot in some for cell in slot.cells.values() for name in cell.columns}
        for some in (slots, [slot for slot in slots if not slot.only])
    )
    for column, texts in taken.items():
        if not read.isdisjoint(own[0].grid.parts_of.get(column, ())) or column in in_each:
            continue  # what is no such text is taken apart and read, or read as it stands
        text = f"trim(CAST({quote(column)} AS VARCHAR))"
        found = store.rows(
            f"SELECT {text} AS said, count(*) AS number FROM {own[0].raw} "
            f"WHERE {text} <> '' AND lower({text}) NOT IN ({listed(texts)}) "
            "AND source_line NOT IN (SELECT ref_line(ref) FROM passed_over "
            f"WHERE ref_slot(ref) IS NULL AND why NOT IN ('only', 'slot') AND ref_source(ref) IN ({numbers})) "
            "GROUP BY said ORDER BY number DESC, said"
        )
        if found:
            listing = shorten([f'"{said}" ({n})' for said, n in found], ", ")
            told.append(
                f'{name}: under "{column}" no [[read]] chooses the rows with these texts: {listing}'
            )
    return told


def _is_filled(column: str, empty: Iterable[str]) -> str:
    text = f"lower(trim(CAST(r.{quote(column)} AS VARCHAR)))"
    words = folded(empty) | {""}
    return f"coalesce({text} NOT IN ({listed(words)}), false)"
