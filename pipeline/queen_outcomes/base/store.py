"""The build's DuckDB file: run a named SQL step, write a table once, export.

Steps talk through tables in this file, so that each can be looked at alone.
Nothing here knows what a queen is.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import duckdb

from queen_outcomes.base import refs, resources
from queen_outcomes.base.errors import UsageError

OFFLINE = {"autoinstall_known_extensions": False, "autoload_known_extensions": False}
"""DuckDB would otherwise try to download what it lacks."""
UNHURRIED = {"checkpoint_threshold": "2GB", "preserve_insertion_order": False}
"""One checkpoint at the end, not one a step; and rows in any order, since whatever needs
an order asks for it."""

_PARAMETER = re.compile(r"\$([a-z_][a-z0-9_]*)")
_PATTERN = re.compile(r"([\[*?])")
_COMMENT = re.compile(r"--[^\n]*")


def quote(name: str) -> str:
    """Quote an identifier, so that any column heading is safe in SQL."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """Quote a text for SQL that cannot take a parameter."""
    return "'" + text.replace("'", "''") + "'"


def path_literal(path: Path) -> str:
    """Quote a path for SQL that reads it, so that DuckDB takes none of it for a pattern."""
    return literal(_PATTERN.sub(r"[\1]", str(path)))


class Store:
    """An open DuckDB file with the build's tables.

    Parameters
    ----------
    path : Path or ":memory:"
        The file; made when absent unless ``read_only``.
    read_only : bool
        Open a finished build to look at; several may look at once.
    threads, memory : int, str or None
        DuckDB's own limits (`memory` such as "6GB"); None leaves its defaults.
    spill : Path or None
        The folder for what does not fit into memory, removed with what is in it when the
        store is closed; None: beside the file, and never for a store in memory.

    Raises
    ------
    UsageError
        A folder on the way to the file has a name that is no text.
    """

    def __init__(
        self,
        path: Path | str = ":memory:",
        *,
        read_only: bool = False,
        threads: int | None = None,
        memory: str | None = None,
        spill: Path | None = None,
    ) -> None:
        self.path, self._spill = path, spill
        self._limits = {"threads": threads, "memory": memory}
        self._provided: set[str] = set()
        config: dict[str, Any] = {**OFFLINE, **({} if read_only else UNHURRIED)}
        if threads:
            config["threads"] = threads
        if memory:
            config["memory_limit"] = memory
        if spill is not None or path == ":memory:":
            # else DuckDB would make a folder for it wherever the command was called
            config["temp_directory"] = str(spill or "")
        _refuse_unreadable(str(path))
        self.con = duckdb.connect(str(path), read_only=read_only, config=config)
        # a time with an offset is written out the same wherever the build runs
        self.con.execute("SET TimeZone = 'UTC'").fetchall()
        # else DuckDB draws on stdout in a spawned worker, which it takes for a prompt
        self.con.execute("SET enable_progress_bar = false").fetchall()
        for head, body in refs.MACROS.items():
            self.con.execute(f"CREATE TEMP MACRO {head} AS ({body})").fetchall()

    def execute(self, sql: str, parameters: Mapping[str, Any] | None = None) -> None:
        """Run a statement for what it does."""
        self.con.execute(sql, _used(sql, parameters)).fetchall()

    def rows(
        self, sql: str, parameters: Mapping[str, Any] | None = None
    ) -> list[tuple[Any, ...]]:
        """Give a query's rows as tuples."""
        return self.con.execute(sql, _used(sql, parameters)).fetchall()

    def records(
        self, sql: str, parameters: Mapping[str, Any] | None = None
    ) -> list[dict[str, Any]]:
        """Give a query's rows as dictionaries, column order kept."""
        cursor = self.con.execute(sql, _used(sql, parameters))
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]

    def frame(self, sql: str, parameters: Mapping[str, Any] | None = None):
        """Give a query's rows as a polars DataFrame."""
        import polars as pl

        used = _used(sql, parameters)
        # not by the relation's own `pl()`, which wants a library of 170 MB for the way
        return pl.DataFrame(self.con.sql(sql, params=used or None))

    @contextmanager
    def lent(self, name: str, frame) -> Iterator[None]:
        """Let statements read a polars DataFrame under a name, while the block lasts."""
        self.con.register(name, _Lent(frame))
        try:
            yield
        finally:
            self.con.unregister(name)

    def table(
        self,
        name: str,
        select: str,
        parameters: Mapping[str, Any] | None = None,
    ) -> None:
        """Write a table, once, from a SELECT."""
        self.execute(f"CREATE TABLE {quote(name)} AS {select}", parameters)

    def step(self, folder: str, name: str, parameters: Mapping[str, Any]) -> None:
        """Write the table that ``sql/<folder>/<name>.sql`` defines."""
        self.table(name, resources.read("sql", folder, f"{name}.sql"), parameters)

    def more(self, folder: str, name: str, parameters: Mapping[str, Any]) -> None:
        """Add to a table the rows of its SELECT with other parameters."""
        select = resources.read("sql", folder, f"{name}.sql")
        self.execute(f"INSERT INTO {quote(name)} {select}", parameters)

    def has(self, name: str) -> bool:
        """Tell whether the file holds a table of that name."""
        return bool(
            self.rows(
                "SELECT 1 FROM duckdb_tables() WHERE table_name = $name", {"name": name}
            )
        )

    def columns(self, name: str) -> dict[str, str]:
        """Give a table's columns and their types, in order; none where there is no table."""
        try:
            # not by duckdb_columns(), which lists those of every table there is
            rows = self.rows(f"SELECT name, type FROM pragma_table_info({literal(quote(name))})")
        except duckdb.CatalogException:
            return {}
        return dict(rows)

    def drop(self, name: str) -> None:
        """Remove a table that no later step reads."""
        self.execute(f"DROP TABLE IF EXISTS {quote(name)}")

    def filled(self, names: Iterable[str]) -> set[str]:
        """Give those of some tables that have a row, so that none is worked on for nothing."""
        looks = (f"(SELECT {literal(n)} FROM {quote(n)} LIMIT 1)" for n in names)
        return {name for (name,) in self.rows(" UNION ALL ".join(looks))}

    def drop_like(self, *prefixes: str) -> None:
        """Remove every table and view whose name begins so."""
        found = self.rows(
            "SELECT 0, 'VIEW', view_name AS name FROM duckdb_views() WHERE NOT internal "
            "UNION ALL SELECT 1, 'TABLE', table_name FROM duckdb_tables() ORDER BY ALL"
        )
        for _, kind, name in found:
            if name.startswith(prefixes):
                self.execute(f"DROP {kind} {quote(name)}")

    def provide(self, name: str, function: Callable[[str], str]) -> None:
        """Give SQL a function of a text that is not its own, once; null stays null."""
        if name not in self._provided:
            self.con.create_function(name, function, ["VARCHAR"], "VARCHAR")
            self._provided.add(name)

    def plan_plainly(self) -> None:
        """Run statements as they are written: over few rows, planning them costs most."""
        self.con.execute("PRAGMA disable_optimizer").fetchall()

    def plan_fully(self) -> None:
        """Plan statements for many rows again."""
        self.con.execute("PRAGMA enable_optimizer").fetchall()

    @contextmanager
    def looked_at(self) -> Iterator[Callable[[], Store]]:
        """Let others look too, while the block lasts, and nobody write.

        Gives what opens the file to look, here or in another process. All within one
        process must be opened alike, so that this store is looked at in the same way.
        """
        self.con.close()
        look = partial(Store, self.path, read_only=True, **self._limits)
        try:
            with look() as looking:
                self.con = looking.con
                yield look
        finally:
            self.con = Store(self.path, spill=self._spill, **self._limits).con
            self._provided.clear()

    def close(self) -> None:
        """Write everything to the file and let go of it."""
        self.con.close()
        if self._spill is not None:
            shutil.rmtree(self._spill, ignore_errors=True)

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class _Lent:
    """A frame as DuckDB reads it, as often as it likes: a stream in the Arrow C interface.

    A polars DataFrame itself it would read by a library that neither of them needs.
    """

    def __init__(self, frame) -> None:
        import polars as pl

        # a column of nothing has no type, which DuckDB refuses in a stream
        self._frame = frame.with_columns(pl.col(pl.Null).cast(pl.String))

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)


def _refuse_unreadable(path: str) -> None:
    """Refuse a path that DuckDB cannot be told: it takes text in UTF-8 alone."""
    try:
        path.encode()
    except UnicodeEncodeError:
        raise UsageError(
            "the build's file cannot be opened in a folder whose name is no text",
            where=path,
            found="bytes that are no UTF-8",
            expected="a name in UTF-8",
            hint="rename the folder, or move the station into another",
        ) from None


def _used(sql: str, parameters: Mapping[str, Any] | None) -> dict[str, Any]:
    """Keep the parameters that a statement names; DuckDB refuses any other."""
    names = set(_PARAMETER.findall(_COMMENT.sub("", sql)))
    return {name: value for name, value in (parameters or {}).items() if name in names}
