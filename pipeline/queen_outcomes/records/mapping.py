"""What each sheet is read as: tables, their columns, and the slots of a wide row.

Puts the headings of opened sheets and the settings together. A sheet that a [[read]]
names is read by it alone; every other by the names of its table. No row is read here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from queen_outcomes.base.errors import (
    AppError,
    RecordsError,
    nearest,
    raise_all,
    shorten,
)
from queen_outcomes.base.text_layout import NO_FORMULAS
from queen_outcomes.facts import years
from queen_outcomes.facts.column import Column, Table
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import (
    BLANK_NO,
    FINDINGS,
    CellRule,
    ColumnRule,
    Reading,
    ReadRule,
    Slot,
    takes,
)
from queen_outcomes.facts.settings_form import MOST_SLOTS
from queen_outcomes.records import headings, titles
from queen_outcomes.records.grid import Grid

_GROUP = "group  "


def group_column(name: str) -> str:
    """Name the column in which what the group line above gives to one of ours stands."""
    return _GROUP + name


"""The column that holds the text of the group line above a row. No heading has two blanks
in a row, so none can be taken for it."""


@dataclass(frozen=True)
class CellSource:
    """Where the cells of one column come from."""

    columns: tuple[str, ...] = ()
    """Of the raw table; several are joined by a blank."""
    value: str | None = None
    """A constant in their place."""
    rule: ColumnRule | None = None
    """What a [[read]] says of the column."""

    @property
    def told(self) -> str:
        """Its headings or its constant, as a person would say them."""
        if self.value is not None:
            return f'always "{self.value}"'
        if any(name.startswith(_GROUP) for name in self.columns):
            return "the group line above"
        return " + ".join(f'"{name}"' for name in self.columns)


@dataclass(frozen=True)
class SlotMapping:
    """One record of each row: where its columns come from."""

    slot: int
    """0: the whole row is one record."""
    cells: Mapping[str, CellSource]
    """Our column, or `FINDINGS` -> where it comes from."""
    asked: tuple[str, ...] = ()
    """Columns of the raw table; where all are empty, there is no record. None named: each
    row is one."""
    colours: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """A fill -> our column -> what it sets."""
    only: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """A column of the raw table -> the texts of the rows that are read."""


@dataclass(frozen=True)
class SourceMapping:
    """One source, read as one table."""

    no: int
    grid: Grid
    table: Table
    slots: tuple[SlotMapping, ...]
    raw: str
    """The table of its rows as they stand."""

    @property
    def name(self) -> str:
        """The file's name, or "book.xlsx#Sheet"."""
        return self.grid.source.name

    def told(self, reading: Reading) -> list[dict[str, Any]]:
        """Say how it is read: source, table, slot, column, from and how, a row a column.

        Which rows are read, where not all are, stands first, without a column.
        """
        chosen = [
            {
                "source": self.name,
                "table": self.table.name,
                "slot": slot.slot or None,
                "column": None,
                "from": f'"{name}"',
                "how": "only rows with " + " or ".join(f'"{text}"' for text in texts),
            }
            for slot in self.slots
            for name, texts in slot.only.items()
        ]
        return chosen + [
            {
                "source": self.name,
                "table": self.table.name,
                "slot": slot.slot or None,
                "column": ours,
                "from": cell.told,
                "how": _how(
                    self.table,
                    ours,
                    reading.cell_rule(self.table.name, ours, self.name, cell.rule),
                ),
            }
            for slot in self.slots
            for ours, cell in slot.cells.items()
        ]


def _year(rule: CellRule) -> str:
    return "the years in rows above" if rule.year == years.ROWS else str(rule.year)


def _how(table: Table, ours: str, rule: CellRule) -> str:
    """Say what decides how a column's cells are read."""
    kind = "" if ours == FINDINGS else table.column(ours).kind
    said = []
    if kind in ("date", "datetime"):
        said.append(f"dates {rule.order}" + (f" of {_year(rule)}" if rule.year else ""))
        said += [f"days alone of {rule.month}"] if rule.month else []
        said += ["day and month of real dates changed"] if rule.turned else []
        said += [f"{rule.days:+} days"] if rule.days else []
    if kind in ("number", "integer") and rule.decimal != ".":
        said.append("decimal comma")
    if rule.unit:
        said.append(f"kept in {rule.unit}")
    if rule.blank == BLANK_NO:
        said.append("blank means no on rows with a date")
    if rule.scores:
        said.append(f"{len(rule.scores)} scores, each in per cent")
    if rule.filled:
        said.append("whatever is written means yes")
    words = (
        len(rule.findings) if ours == FINDINGS else sum(map(len, rule.words.values()))
    )
    if words and (kind in ("yes_no", "word", "number", "integer") or ours == FINDINGS):
        said.append(f"{words} words of your own")
    if ours == FINDINGS and rule.parts:
        said.append(f"{len(rule.parts)} parts of words")
    return ", ".join(said)


@dataclass(frozen=True)
class Mapped:
    """Every source and table, in the order of their numbers, and notes on the headings."""

    sources: tuple[SourceMapping, ...]
    notes: tuple[str, ...]


def asked_names(
    source_rules: Sequence[ReadRule],
) -> headings.AskedNames:
    """Give the headings that rules ask a sheet for, to find its row of headings by."""
    asked = [
        filled
        for rule in source_rules
        for slot in rule.slots or ({},)
        for column in rule.columns.values()
        for heading in column.headings
        if (filled := fill_in(heading, slot, bool(rule.slots))) is not None
    ]
    return headings.AskedNames(tuple(dict.fromkeys(asked)))


def fill_in(text: str, slot: Slot, has_slots: bool) -> str | None:
    """Put a slot's texts into a heading or constant; None: this slot has no such text."""
    if not has_slots:
        return text
    for name in _names(text):
        if name not in slot:
            return None
        text = text.replace("{" + name + "}", slot[name])
    return text


def _names(text: str) -> list[str]:
    return [part.partition("}")[0] for part in text.split("{")[1:] if "}" in part]


def map_sources(
    grids: Sequence[Grid], reading: Reading, known: Sequence[AppError] = ()
) -> Mapped:
    """Map the headings of every source.

    Parameters
    ----------
    grids : sequence of Grid
        The opened sources.
    reading : Reading
        The station's settings.
    known : sequence of AppError
        Faults found before, told with those of the headings.

    Raises
    ------
    AppError
        A required column is missing, or the settings name a heading that is not there;
        all faults together.
    """
    names = {
        table.name: headings.TableNames.of(table, reading.columns.get(table.name, {}))
        for table in TABLES.values()
    }
    faults = list(known)
    for table, columns in reading.columns.items():
        plain = [g.headings for g in grids if table == g.source.table]
        if plain:
            faults += headings.absent(table, columns, plain)
    faults += _absent_from_all(grids, reading)
    faults += _no_such_rows(grids, reading)
    mapped: list[SourceMapping] = []
    notes: list[str] = []
    for grid in grids:
        raw = f"raw_{len(mapped) + 1}"
        for table in grid.source.tables:
            try:
                if grid.source.rules:
                    slots = _by_rules(grid, TABLES[table], reading)
                else:
                    slots, told = _by_names(grid, names[table])
                    notes += told
            except RecordsError as fault:
                faults.append(fault)
                continue
            number = len(mapped) + 1
            mapped.append(SourceMapping(number, grid, TABLES[table], slots, raw))
        if grid.source.rules:
            notes += _unused(grid, [m for m in mapped if m.grid is grid])
    raise_all(_together(faults))
    return Mapped(tuple(mapped), tuple(notes))


def _together(faults: Sequence[AppError]) -> list[AppError]:
    """Tell once what is wrong alike with several sheets, with the first and their number."""
    alike: dict[tuple[str, ...], list[AppError]] = {}
    for fault in faults:
        said = (type(fault).__name__, fault.what, fault.found, fault.expected, fault.hint)
        alike.setdefault(said, []).append(fault)
    for first, *others in alike.values():
        if others:
            first.where += f", and {len(others)} more" if first.where else ""
    return [first for first, *_ in alike.values()]


# --- by the names of the table


def _by_names(
    grid: Grid, names: headings.TableNames
) -> tuple[tuple[SlotMapping, ...], list[str]]:
    """Map a source's headings; give a note on each column that is not used."""
    name, columns = grid.source.name, grid.columns
    places = headings.map_columns(names, grid.headings, name)
    cells = {ours: CellSource((columns[place],)) for ours, place in places.items()}
    unused = [
        column
        for place, column in enumerate(columns)
        if place not in places.values()
        and headings.tidy(grid.headings[place])
        and column != NO_FORMULAS
    ]
    notes = headings.unused_notes(names, unused, set(cells), name)
    return (SlotMapping(0, cells),), notes


# --- by the rules of the settings


def _by_rules(grid: Grid, table: Table, reading: Reading) -> tuple[SlotMapping, ...]:
    """Map a source by the rules for one table; its slots count on from rule to rule."""
    source = grid.source
    rules = [rule for rule in source.rules if rule.table == table.name]
    several = len(rules) > 1 or any(rule.slots for rule in rules)
    group = reading.habits_of(source.name).group
    # a rule that chooses its rows says of the others nothing: what it reads is not its alone
    others = [r for r in source.rules if r.table != table.name and not r.only]
    shared = _headings_of(grid, others)
    slots: list[SlotMapping] = []
    for rule in rules:
        for slot in rule.slots or ({},):
            cells = _cells(grid, rule, slot)
            if not cells and rule.slots:
                continue
            only = _only(grid, rule, slot)
            cells |= {
                name: CellSource((group_column(name),))
                for name in group
                if name in table.names and name not in cells
            }
            lacking = headings.TableNames(table, {}).missing(cells)
            raise_all([_lacking(grid, table, rule, column) for column in lacking])
            number = len(slots) + 1 if several else 0
            may_be_empty = (several or len(source.tables) > 1) and (
                bool(rule.slots) or not (only or _is_titled(table, rule))
            )
            asked = _made(grid, cells) or _asked(
                cells, rule, slot, shared, may_be_empty
            )
            slots.append(SlotMapping(number, cells, asked, rule.colours, only))
    if not slots:
        raise RecordsError(
            'no slot of "each" has a heading here',
            where=f"{source.name}, {rules[0].place}",
            found=shorten(grid.columns, ", "),
            hint='write the texts of "each" as the headings have them',
        )
    if len(slots) > MOST_SLOTS:
        raise RecordsError(
            "a row holds more records of one table than can be told apart",
            where=f"{source.name}, read as {table.name}",
            found=f"{len(slots)} slots of all its [[read]] together",
            expected=f"at most {MOST_SLOTS}",
            hint="part the sheet into several, each with the queens' labels",
        )
    return tuple(slots)


def _is_titled(table: Table, rule: ReadRule) -> bool:
    """Tell whether every row is a record by what a title says of all, as one that is chosen is.

    Not where a record wants a day of its own, which says whether there is one.
    """
    titled = any(column.title is not None for column in rule.columns.values())
    return titled and table.dated.kind not in ("date", "datetime")


def _find(grid: Grid) -> dict[str, str]:
    return {name.casefold(): name for name in grid.columns}


def _only(grid: Grid, rule: ReadRule, slot: Slot) -> dict[str, tuple[str, ...]]:
    """Give the columns by which a slot chooses rows, with the texts it takes."""
    known, found = _find(grid), {}
    for asked, texts in rule.only.items():
        heading = fill_in(asked, slot, bool(rule.slots))
        if heading is None:
            continue
        column = known.get(headings.tidy(heading).casefold())
        if column is None:
            close = nearest(headings.tidy(heading), grid.columns)
            raise RecordsError(
                f'no heading "{heading}" to choose rows by',
                where=f"{grid.source.name}, {rule.place}, only",
                found=shorten(grid.columns, ", ") or "no headings",
                hint=f'did you mean "{close}"?' if close else "mend that line",
            )
        found[column] = texts
    return found


def _cells(grid: Grid, rule: ReadRule, slot: Slot) -> dict[str, CellSource]:
    """Give where a slot's columns come from; a heading that is not there is left out."""
    known = _find(grid)
    has_slots = bool(rule.slots)
    cells = {}
    for ours, column in rule.columns.items():
        if column.title is not None:
            cells[ours] = CellSource(value=_titled(grid, rule, ours), rule=column)
            continue
        if column.value is not None:
            value = fill_in(column.value, slot, has_slots)
            if value is not None:
                cells[ours] = CellSource(value=value, rule=column)
            continue
        asked = [fill_in(text, slot, has_slots) for text in column.headings]
        there = [
            known[headings.tidy(text).casefold()]
            for text in asked
            if text is not None and headings.tidy(text).casefold() in known
        ]
        if there:
            cells[ours] = CellSource(tuple(there), rule=column)
    return cells


def _titled(grid: Grid, rule: ReadRule, ours: str) -> str:
    """Give the fact of a whole sheet that stands behind a word above its headings."""
    word = str(rule.columns[ours].title)
    found = titles.behind(grid.titles, word)
    if len(found) == 1:
        return found[0]
    above = [" | ".join(row) for row in grid.titles]
    raise RecordsError(
        f'what stands behind "{word}" differs' if found else f'nothing stands behind "{word}"',
        where=f"{grid.source.name}, {rule.place}, {ours}",
        found=shorten(found or above) or "no rows above the headings",
        expected="the word once above the headings, with the fact of the whole sheet behind it",
        hint="write the word as it stands there, or a rule of its own for the sheet",
    )


def _made(grid: Grid, cells: Mapping[str, CellSource]) -> tuple[str, ...]:
    """Give the columns that are parts of a cell: where they are empty, there is no record."""
    made = {name for parts in grid.parts_of.values() for name in parts}
    used = (name for cell in cells.values() for name in cell.columns)
    return tuple(dict.fromkeys(name for name in used if name in made))


def _looked_at(own: list[str], cells: Mapping[str, CellSource], rule: ReadRule) -> list[str]:
    """Give the columns of a row's look without its remark, which may be of anything, and its hive."""
    if rule.table != "checks" or rule.slots:
        return []
    other = {n for ours in ("note", "colony_id") if ours in cells for n in cells[ours].columns}
    return [name for name in own if name not in other]


def _asked(
    cells: Mapping[str, CellSource],
    rule: ReadRule,
    slot: Slot,
    shared: set[str],
    may_be_empty: bool,
) -> tuple[str, ...]:
    """Give the columns of which one must be filled, or the row holds no such record.

    Those that a slot has to itself; else those that no other table reads, but for the
    queen's id; else all but ids. What else stands in the row says nothing about it.
    """
    if not may_be_empty:
        return ()
    table = TABLES[rule.table]
    own: list[str] = []
    for ours, cell in cells.items():
        texts = rule.columns[ours].headings if ours in rule.columns else ()
        if rule.slots and slot and not any(_names(text) for text in texts):
            continue
        if ours == "queen_id":
            continue
        own += [name for name in cell.columns if name not in shared]
    own = _looked_at(own, cells, rule) or own
    if own:
        return tuple(dict.fromkeys(own))
    ids = {c.name for c in table.columns if c.kind == "id"}
    plain = [n for ours, c in cells.items() if ours not in ids for n in c.columns]
    every = [n for c in cells.values() for n in c.columns]
    return tuple(dict.fromkeys(plain or every))


def _headings_of(grid: Grid, rules: Sequence[ReadRule]) -> set[str]:
    return {
        name
        for rule in rules
        for slot in rule.slots or ({},)
        for cell in _cells(grid, rule, slot).values()
        for name in cell.columns
    }


def _lacking(grid: Grid, table: Table, rule: ReadRule, column: str) -> RecordsError:
    wanted = " or ".join(table.either) if column in table.either else column
    said = rule.columns.get(column)
    asked = said.headings[0] if said and said.headings else column
    close = nearest(asked, grid.columns)
    if said:
        what, found = f'no heading "{asked}" for the column "{wanted}"', grid.columns
        hint = f'did you mean "{close}"?' if close else "write the heading as it stands"
    else:
        what, found = f'the required column "{wanted}" is not named', grid.columns
        hint = f"add a line to its [read.columns]: {column} = " + (
            f'"{close}"' if close else '"your heading"'
        )
    return RecordsError(
        what,
        where=f"{grid.source.name}, {rule.place}",
        found=shorten(list(found), ", ") or "no headings",
        expected=wanted,
        hint=hint,
    )


def _absent_from_all(grids: Sequence[Grid], reading: Reading) -> Iterator[AppError]:
    """Tell of headings that none of a rule's sheets has."""
    for rule in reading.rules:
        mine = [grid for grid in grids if rule in grid.source.rules]
        there = {name.casefold(): name for grid in mine for name in grid.columns}
        for ours, column in rule.columns.items() if mine else ():
            asked = [
                text
                for heading in column.headings
                for slot in rule.slots or ({},)
                if (text := fill_in(heading, slot, bool(rule.slots))) is not None
                and headings.tidy(text).casefold() not in there
            ]
            for text in dict.fromkeys(asked):
                if _is_required(TABLES[rule.table], ours):
                    continue  # told for each sheet that lacks it
                close = nearest(headings.tidy(text), there.values())
                yield RecordsError(
                    f'no sheet of this rule has the heading "{text}"',
                    where=f"station.toml {rule.place}, {ours}",
                    found=shorten(list(there.values()), ", ") or "no headings",
                    hint=f'did you mean "{close}"?' if close else "mend that line",
                )


def _no_such_rows(grids: Sequence[Grid], reading: Reading) -> Iterator[AppError]:
    """Tell of headings by which rows are no records, and which no sheet of theirs has.

    And of texts that a rule of such a sheet reads all the same.
    """
    for pattern, habits in reading.habits.items():
        mine = [grid for grid in grids if takes(pattern, grid.source.name)]
        no_record = _choosing(habits.no_record)
        rules = [rule for grid in mine for rule in grid.source.rules]
        for rule in dict.fromkeys(rule.number for rule in rules):
            only = next(one.only for one in rules if one.number == rule)
            both = sorted(no_record & _choosing(only))
            if both:
                yield RecordsError(
                    "rows are read and are no records at once",
                    where=f'station.toml [files."{pattern}"], no_record',
                    found=f'"{both[0][1]}", which [[read]] no. {rule} takes',
                    expected="each text in one of them",
                    hint="take it out of one of them",
                )
        there = {name.casefold(): name for grid in mine for name in grid.columns}
        for heading in habits.no_record if mine else ():
            if headings.tidy(heading).casefold() not in there:
                close = nearest(headings.tidy(heading), there.values())
                yield RecordsError(
                    f'no heading "{heading}" to tell rows that are no records by',
                    where=f'station.toml [files."{pattern}"], no_record',
                    found=shorten(list(there.values()), ", ") or "no headings",
                    hint=f'did you mean "{close}"?' if close else "mend that line",
                )


def _choosing(texts: Mapping[str, Sequence[str]]) -> set[tuple[str, str]]:
    return {
        (headings.tidy(heading).casefold(), text.casefold())
        for heading, said in texts.items()
        for text in said
    }


def _is_required(table: Table, name: str) -> bool:
    if name == FINDINGS:
        return False
    column: Column = table.column(name)
    return column.required


def _unused(grid: Grid, mapped: Sequence[SourceMapping]) -> list[str]:
    used = {
        name
        for one in mapped
        for slot in one.slots
        for cell in slot.cells.values()
        for name in (*cell.columns, *slot.only)
    }
    used |= {
        name for name, parts in grid.parts_of.items() if not used.isdisjoint(parts)
    }
    left = [
        name
        for name, heading in zip(grid.columns, grid.headings, strict=True)
        if name not in used and headings.tidy(heading) and name not in grid.of_others
    ]
    if not left or not mapped:
        return []
    said = ", ".join(f'"{name}"' for name in left)
    return [f"{grid.source.name}: no rule reads the columns {said}"]
