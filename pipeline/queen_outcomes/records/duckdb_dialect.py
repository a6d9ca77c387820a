"""Great Expectations over the build's open DuckDB connection.

Great Expectations knows no DuckDB and gives a connection back before it fetches,
which empties a DuckDB result; so cursors here buffer. Only `expectations.py` may
import this, and late: it pulls in Great Expectations, which takes seconds.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any, ClassVar, Literal

import duckdb
import sqlalchemy as sa
from great_expectations.datasource.fluent import SQLDatasource
from great_expectations.execution_engine import SqlAlchemyExecutionEngine
from sqlalchemy import pool
from sqlalchemy.dialects import postgresql, registry
from sqlalchemy.dialects.postgresql.base import PGDialect

_COLUMNS = """
    SELECT column_name, data_type, is_nullable FROM duckdb_columns()
    WHERE table_name = $1 AND schema_name = coalesce($2, current_schema())
      AND database_name = current_database()
    ORDER BY column_index
"""
_TYPES = {
    "BIGINT": sa.BigInteger,
    "INTEGER": sa.Integer,
    "DOUBLE": sa.Float,
    "VARCHAR": sa.String,
    "DATE": sa.Date,
    "BOOLEAN": sa.Boolean,
    "TIMESTAMP": sa.DateTime,
}


class Driver:
    """The face of a database module that SQLAlchemy asks for."""

    paramstyle = "numeric_dollar"
    apilevel = "2.0"
    threadsafety = 1
    Error = DatabaseError = InterfaceError = DataError = OperationalError = duckdb.Error
    IntegrityError = InternalError = ProgrammingError = NotSupportedError = duckdb.Error


class BufferedCursor:
    """A cursor that keeps its rows, so that a later rollback cannot empty it."""

    arraysize = 1
    rowcount = -1

    def __init__(self, con: duckdb.DuckDBPyConnection) -> None:
        self._con = con
        self._rows: Iterator[tuple[Any, ...]] = iter(())
        self.description: Any = None

    def execute(self, sql: str, parameters: Sequence[Any] = ()) -> None:
        """Run a statement and keep all of its rows."""
        result = self._con.execute(sql, list(parameters) if parameters else None)
        self.description = result.description
        self._rows = iter(result.fetchall() if result.description else ())

    def fetchall(self) -> list[tuple[Any, ...]]:
        """Give the rows that are left."""
        return list(self._rows)

    def fetchone(self) -> tuple[Any, ...] | None:
        """Give the next row."""
        return next(self._rows, None)

    def fetchmany(self, size: int | None = None) -> list[tuple[Any, ...]]:
        """Give the next rows."""
        return list(itertools.islice(self._rows, size or 1))

    def close(self) -> None:
        """Let go of the rows."""
        self._rows = iter(())


class SharedConnection:
    """A connection beside the build's own; the checks only read, so none commits."""

    def __init__(self, con: duckdb.DuckDBPyConnection) -> None:
        self._con = con.cursor()

    def cursor(self) -> BufferedCursor:
        """Give a buffering cursor."""
        return BufferedCursor(self._con)

    def commit(self) -> None:
        """Do nothing: every statement stands alone."""

    def rollback(self) -> None:
        """Do nothing: there is nothing to undo."""

    def close(self) -> None:
        """Close this connection; the build's own stays open."""
        self._con.close()


class DuckDBDialect(PGDialect):
    """DuckDB's SQL is PostgreSQL's, as far as Great Expectations goes."""

    name = "duckdb"
    driver = "shared"
    supports_statement_cache = False
    supports_sane_rowcount = False
    default_paramstyle = "numeric_dollar"
    _has_native_hstore = False

    @classmethod
    def import_dbapi(cls) -> Any:
        """Give the driver's face."""
        return Driver

    def initialize(self, connection: Any) -> None:
        """Set what PostgreSQL would be asked for."""
        self.default_schema_name = "main"
        self.server_version_info = (14, 0)

    def on_connect(self) -> None:
        """Set nothing up on a new connection."""

    def do_rollback(self, dbapi_connection: Any) -> None:
        """Do nothing: the checks only read."""

    def do_commit(self, dbapi_connection: Any) -> None:
        """Do nothing: the checks only read."""

    def get_columns(
        self, connection: Any, table_name: str, schema: str | None = None, **_: Any
    ) -> list[Any]:
        """Describe a table's columns."""
        rows = connection.exec_driver_sql(
            _COLUMNS, (str(table_name), schema)
        ).fetchall()
        if not rows:
            raise sa.exc.NoSuchTableError(table_name)
        return [
            {
                "name": name,
                "type": _TYPES.get(kind, sa.types.NullType)(),
                "nullable": bool(nullable),
                "default": None,
            }
            for name, kind, nullable in rows
        ]

    def get_pk_constraint(self, *_: Any, **__: Any) -> Any:
        """Say that tables carry no primary key."""
        return {"constrained_columns": [], "name": None}


registry.register("duckdb.shared", __name__, "DuckDBDialect")
registry.register("duckdb", __name__, "DuckDBDialect")


def _engine(con: duckdb.DuckDBPyConnection) -> sa.Engine:
    return sa.create_engine(
        "duckdb+shared://",
        creator=lambda: SharedConnection(con),
        poolclass=pool.StaticPool,
    )


class DuckDBExecutionEngine(SqlAlchemyExecutionEngine):
    """Runs the expectations' queries over the connection that was shared."""

    shared: ClassVar[dict[str, duckdb.DuckDBPyConnection]] = {}

    def __init__(
        self, *args: Any, connection_string: str | None = None, **_: Any
    ) -> None:
        # what else is offered speaks of making engines, and of copies of the tables
        super().__init__(
            *args, engine=engine_of(str(connection_string)), create_temp_table=False
        )
        # regular expressions and types are written as PostgreSQL's
        self.dialect_module = postgresql


class DuckDBDatasource(SQLDatasource):
    """A data source of the kind that Great Expectations lacks."""

    type: Literal["duckdb"] = "duckdb"  # type: ignore[assignment]

    @property
    def execution_engine_type(self) -> type[SqlAlchemyExecutionEngine]:
        """The engine that runs the queries."""
        return DuckDBExecutionEngine

    def _create_engine(self) -> sa.Engine:
        return engine_of(str(self.connection_string))


def engine_of(url: str) -> sa.Engine:
    """Give an engine over the connection that an address stands for."""
    return _engine(DuckDBExecutionEngine.shared[str(sa.make_url(url).database)])


def share(con: duckdb.DuckDBPyConnection) -> str:
    """Offer an open connection and give the address that stands for it."""
    DuckDBExecutionEngine.shared["build"] = con
    return "duckdb+shared:///build"


def unshare() -> None:
    """Let go of the connection, so that the build can close its file."""
    DuckDBExecutionEngine.shared.clear()
