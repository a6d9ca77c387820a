"""SQL that turns a source's columns into typed ones, and keeps what it could not read.

Only puts the parts together: texts are read as `text_readers.py` says, and typed Parquet
columns take the way of `native.py` around that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from queen_outcomes.base.store import literal, quote
from queen_outcomes.facts.column import UNITS, Column, Table
from queen_outcomes.facts.settings import Reading
from queen_outcomes.records.native import native_value
from queen_outcomes.records.text_readers import (
    NO,
    YES,
    Form,
    clean_text,
    folded,
    integer,
    label,
    listed,
    moment,
    number,
    word,
    yes_no,
)

UNREAD = "__unread"
LISTED_KINDS = ("date", "datetime", "number", "integer", "yes_no", "word")


def staged_columns(table: Table) -> dict[str, str]:
    """Give the columns of a staged table and their types, in order."""
    columns = {
        "ref": "BIGINT",
        "source_no": "INTEGER",
        "source_line": "BIGINT",
        "broken": "VARCHAR",
    }
    for column in table.columns:
        columns[column.name] = column.sql_type
        if column.kind in LISTED_KINDS:
            columns[column.name + UNREAD] = "VARCHAR"
    return columns


def cast_query(
    table: Table,
    mapped: Mapping[str, str],
    types: Mapping[str, str],
    *,
    source: str,
    reading: Reading,
    form: Form,
) -> str:
    """Write the SELECT that reads a source's columns.

    Parameters
    ----------
    table : Table
        The dictionary's table.
    mapped : mapping
        Our column -> the source's heading.
    types : mapping
        The source's heading -> its DuckDB type.
    source : str
        What to select from, in SQL: the raw table.
    reading : Reading
        How the station writes.
    form : Form
        What about the source decides how its texts are read.

    Returns
    -------
    str
        A SELECT of source_line, broken and the columns of `staged_columns` after it.
    """
    cells, outer = ["source_line"], ["source_line", "broken"]
    texts, values = ["*"], ["*"]
    cells.append("broken" if "broken" in types else "NULL::VARCHAR AS broken")
    for place, column in enumerate(table.columns):
        heading = mapped.get(column.name)
        is_listed = column.kind in LISTED_KINDS
        if heading is None:
            outer += [f"NULL::{column.sql_type}"] + ["NULL::VARCHAR"] * is_listed
            continue
        cell, text, value = f"cell_{place}", f"text_{place}", f"value_{place}"
        cast = _one(column, cell, text, types[heading], (table, reading, form))
        cells.append(f"{quote(heading)} AS {cell}")
        if cast.needs_text:
            texts.append(f"{cast.text} AS {text}")
        values.append(f"{cast.value} AS {value}")
        outer.append(value)
        if is_listed:
            # only a cell that was not read needs its text, so only there is it made
            plain = text if cast.needs_text else cast.text
            outer.append(
                f"CASE WHEN {value} IS NULL AND {cell} IS NOT NULL THEN {plain} END"
            )
    return (
        f"SELECT {', '.join(outer)} FROM (SELECT *, {', '.join(values[1:] or ['1'])} "
        f"FROM (SELECT {', '.join(texts)} FROM (SELECT {', '.join(cells)} "
        f"FROM {source})))"
    )


@dataclass(frozen=True)
class _Cast:
    """SQL of a column's value, and of the text that stood in its cell."""

    value: str
    text: str
    needs_text: bool
    """The value is worked out from the text, which is made for every row."""


def _one(
    column: Column,
    cell: str,
    text: str,
    sql_type: str,
    context: tuple[Table, Reading, Form],
) -> _Cast:
    table, reading, form = context
    native = native_value(column, cell, sql_type)
    if native is not None:
        value, plain = native
        return _Cast(_in_our_unit(column, value, table.name, reading), plain, False)
    plain = clean_text(cell, sql_type, reading.empty)
    if column.kind == "text":
        value = f"CASE WHEN {text} IS NOT NULL THEN {cell}::VARCHAR END"
        return _Cast(value, plain, True)
    if column.kind in ("yes_no", "word"):
        return _Cast(_choice(column, cell, plain, reading), plain, False)
    value = _readers(column, text, reading, form)
    return _Cast(_in_our_unit(column, value, table.name, reading), plain, True)


def _choice(column: Column, cell: str, plain: str, reading: Reading) -> str:
    """Read a word; one written just so is known at once, and most are."""
    is_word = column.kind == "word"
    theirs = reading.words.get(column.name if is_word else "yes_no", {})
    station = {word.lower() for words in theirs.values() for word in words}
    usual = dict(zip(column.words, map(literal, column.words), strict=True))
    if not is_word:
        usual = dict.fromkeys(YES, "TRUE") | dict.fromkeys(NO, "FALSE")
    known = {
        word: value
        for word, value in usual.items()
        if word not in station | folded(reading.empty)
    }
    at_once = " ".join(
        f"WHEN {cell}::VARCHAR IN ({listed(w for w, v in known.items() if v == value)}) "
        f"THEN {value}"
        for value in dict.fromkeys(known.values())
    )
    slow = word(plain, column.words, theirs) if is_word else yes_no(plain, theirs)
    return f"CASE WHEN {cell} IS NULL THEN NULL {at_once} ELSE {slow} END"


def _readers(column: Column, text: str, reading: Reading, form: Form) -> str:
    kind = column.kind
    if kind in ("id", "label"):
        return label(text, is_id=kind == "id")
    if kind in ("date", "datetime"):
        return f"CAST({moment(text, reading.date_order, form)} AS {column.sql_type})"
    if kind == "number":
        return number(text, reading.decimal, form)
    return integer(text, reading.decimal)


def _in_our_unit(column: Column, value: str, table: str, reading: Reading) -> str:
    kept = reading.units.get(table, {}).get(column.name)
    if kept is None or kept == column.unit:
        return value
    factor, offset = UNITS[column.unit][kept]
    return f"round(({value}) * {factor!r}::DOUBLE + {offset!r}::DOUBLE, 9)"
