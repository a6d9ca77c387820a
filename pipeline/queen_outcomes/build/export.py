"""The contract's tables as files: the build's Parquet, and `export` for others.

Rows have one order and files the same bytes whatever the thread count. Reads the
tables and never changes them.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from queen_outcomes import __version__
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.folders import sha256
from queen_outcomes.base.outputs import new_folder
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.base.text_layout import FORMULA_SIGNS
from queen_outcomes.facts import exports as contract
from queen_outcomes.facts.exports.exported import ExportColumn, ExportTable

DESCRIPTION = "datapackage.json"
NAME = "queen-outcomes"
FORMATS = ("parquet", "csv")
_OPTIONS = {
    # fixed, so that a later DuckDB with other defaults does not change the files
    "parquet": "FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE 122880",
    "csv": "FORMAT csv, HEADER true, DELIMITER ',', QUOTE '\"', NULLSTR ''",
}
_MEDIA = {"parquet": "application/vnd.apache.parquet", "csv": "text/csv"}
_FIELD_TYPES = {
    "text": "string",
    "integer": "integer",
    "number": "number",
    "yes_no": "boolean",
    "day": "date",
    "time": "datetime",
    "texts": "array",
}


def write_tables(store: Store, folder: Path) -> dict[str, str]:
    """Write every table of the contract as Parquet.

    Parameters
    ----------
    store : Store
        Holds the tables.
    folder : Path
        Where to write; made when absent.

    Returns
    -------
    dict
        table -> hash of its file.

    Raises
    ------
    LedgerError
        A table is missing, or has not the promised columns.
    """
    found = {name: store.columns(name) for name in contract.TABLES}
    contract.refuse(contract.differences(found))
    folder.mkdir(parents=True, exist_ok=True)
    return {
        table.name: _write(store, table, folder, "parquet")
        for table in contract.TABLES.values()
    }


def _write(store: Store, table: ExportTable, folder: Path, form: str) -> str:
    path = folder / f"{table.name}.{form}"
    store.execute(
        f"COPY ({select(table, form)}) TO {literal(str(path))} ({_OPTIONS[form]})"
    )
    return sha256(path)


def select(table: ExportTable, form: str = "parquet") -> str:
    """Give the SELECT that reads a table as the contract promises it."""
    columns = ", ".join(
        f"{_expression(column, form)} AS {quote(column.name)}"
        for column in table.columns
    )
    order = ", ".join(f"made.{quote(name)} NULLS LAST" for name in table.order)
    return f"SELECT {columns} FROM {quote(table.name)} AS made ORDER BY {order}"


def _expression(column: ExportColumn, form: str) -> str:
    name = f"made.{quote(column.name)}"
    if form == "csv" and column.kind == "texts":
        return f"CAST(to_json({name}) AS VARCHAR)"
    if form == "csv" and column.kind == "time":
        return f"strftime({name}, '%Y-%m-%dT%H:%M:%S')"
    if form == "csv" and column.kind == "text":
        signs = literal(FORMULA_SIGNS)
        begins = f"contains({signs}, left({name}, 1)) AND {name} <> ''"
        return f"CASE WHEN {begins} THEN '''' || {name} ELSE {name} END"
    return f"CAST({name} AS {column.sql_type})"


def export(store: Store, dest: Path, form: str, *, as_of: str) -> list[Path]:
    """Write all tables and their machine-readable description.

    Parameters
    ----------
    store : Store
        A finished build, opened to read.
    dest : Path
        A folder: new, empty, or an earlier export, which is replaced.
    form : {"parquet", "csv"}
        The files' format.
    as_of : str
        The build's as-of day.

    Returns
    -------
    list of Path
        The files written, the description last.

    Raises
    ------
    UsageError
        The folder holds something else.
    """
    _refuse_others(dest)
    with new_folder(dest) as made:
        tables = list(contract.TABLES.values())
        hashes = {table.name: _write(store, table, made, form) for table in tables}
        package = _package(made, hashes, form, as_of)
        text = json.dumps(package, indent=2, ensure_ascii=False) + "\n"
        (made / DESCRIPTION).write_text(text, encoding="utf-8", newline="\n")
    return [dest / f"{table.name}.{form}" for table in tables] + [dest / DESCRIPTION]


def _refuse_others(dest: Path) -> None:
    """Refuse a folder that holds anything but an earlier export."""
    if not dest.exists():
        return
    if not dest.is_dir():
        raise _refusal(dest, "a file")
    there = {path.name for path in dest.iterdir()}
    strangers = sorted(there - _described(dest)) if there else []
    if strangers:
        raise _refusal(dest, ", ".join(strangers[:3]))


def _described(dest: Path) -> set[str]:
    try:
        package = json.loads((dest / DESCRIPTION).read_text(encoding="utf-8"))
        ours = package["name"] == NAME
        paths = {resource["path"] for resource in package["resources"]}
    except (OSError, ValueError, KeyError, TypeError):
        return set()
    return {DESCRIPTION, *paths} if ours else set()


def _refusal(dest: Path, found: str) -> UsageError:
    return UsageError(
        "the folder to export to holds something else",
        where=str(dest),
        found=found,
        expected="a new or empty folder, or an earlier export",
        hint="name another folder",
    )


def _package(
    folder: Path, hashes: dict[str, str], form: str, as_of: str
) -> dict[str, Any]:
    """Describe the files as a Frictionless tabular data package."""
    return {
        "profile": "tabular-data-package" if form == "csv" else "data-package",
        "name": NAME,
        "title": "What became of each queen",
        "version": __version__,
        "as_of": as_of,
        "resources": [
            _resource(table, folder / f"{table.name}.{form}", form, hashes[table.name])
            for table in contract.TABLES.values()
        ],
    }


def _resource(table: ExportTable, path: Path, form: str, digest: str) -> dict[str, Any]:
    text = {"encoding": "utf-8"} if form == "csv" else {}
    schema: dict[str, Any] = {
        "fields": [_field(column) for column in table.columns],
        "missingValues": [""],
    }
    if table.key:
        schema["primaryKey"] = list(table.key)
    return {
        "profile": "tabular-data-resource" if form == "csv" else "data-resource",
        "name": table.name,
        "path": path.name,
        "description": f"One row: {table.grain}.",
        "format": form,
        "mediatype": _MEDIA[form],
        **text,
        "bytes": path.stat().st_size,
        "hash": f"sha256:{digest}",
        "schema": schema,
    }


def _field(column: ExportColumn) -> dict[str, Any]:
    empty = f"; empty: {column.null}" if column.null else ""
    field: dict[str, Any] = {
        "name": column.name,
        "type": _FIELD_TYPES[column.kind],
        "description": f"{column.meaning}{empty}",
    }
    if column.unit:
        field["unit"] = column.unit
    if not column.null:
        field["constraints"] = {"required": True}
    return field
