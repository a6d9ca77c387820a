"""Reading the last complete build: its tables, its day, and whether records are newer."""

from __future__ import annotations

import datetime as dt
import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from queen_outcomes.base import folders, resources
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError

if TYPE_CHECKING:
    from queen_outcomes.base.store import Store
    from queen_outcomes.facts.settings import Settings

DUE = 'SELECT * FROM due ORDER BY status, useful_until, "on", queen_id, course_id, day'
"""Due before missed; soonest to close first."""


@dataclass(frozen=True)
class LatestBuild:
    """A finished build, opened to read."""

    store: Store
    journal: dict[str, Any]

    @property
    def as_of(self) -> dt.date:
        """The day its figures stand for."""
        return dt.date.fromisoformat(self.journal["as_of"])

    def stands_on(self, settings: Settings, season: Mapping[str, Any]) -> bool:
        """Tell whether it was made with these settings and left the season's file so.

        Parameters
        ----------
        settings : Settings
        season : mapping
            As `season_plan.journalled` gives it.
        """
        left = self.journal.get("season") or {}
        is_same = self.journal.get("settings") == settings.resolved()
        return is_same and left.get("sha256") == season["sha256"]


@contextmanager
def open_latest(station: Path, console: Console) -> Iterator[LatestBuild]:
    """Open the last build; say its day, and when the records are newer.

    Raises
    ------
    UsageError
        There is no build yet, its file is damaged or held by another program, or another
        version of the tool made it.
    """
    journal, store = _newest(station)
    with store:
        _tell_day(station, journal, console)
        _refuse_other_version(store, station)
        try:
            yield LatestBuild(store, journal)
        except Exception as problem:
            if not _lacks_something(problem) or journal.get("code") == resources.fingerprint():
                raise
            raise _of_other_version(str(problem).splitlines()[0], station) from problem


def _newest(station: Path) -> tuple[dict[str, Any], Store]:
    """Open what `latest` names; once open, it stays until it is let go of.

    A build that ends just then may trim the one that is being opened: its successor is
    whole by that time, and is opened in its place.
    """
    while True:
        folder = folders.latest(station / "build")
        if folder is None:
            if not station.is_dir():
                raise UsageError(
                    "there is no station",
                    where=str(station),
                    found="no such folder",
                    expected="a station's folder, with a station.toml",
                    hint="name the right folder, or make one with `queen-outcomes new DIR`",
                )
            raise UsageError(
                "there is no build yet",
                where=str(station),
                hint=f"run `{_command(station)}` first",
            )
        try:
            return _journal(folder), _open(folder / folders.STORE_FILE)
        except (UsageError, FileNotFoundError):
            if folders.latest(station / "build") == folder:
                raise


def _tell_day(station: Path, journal: dict[str, Any], console: Console) -> None:
    console.note(f"as of {journal['as_of']}")
    if folders.fingerprint(station) != journal["files"]:
        console.note(
            f"note: records are newer than this build: run {_command(station)}"
        )


def _command(station: Path) -> str:
    place = "" if station == Path() else f" {station}"
    return f"queen-outcomes build{place}"


def _journal(folder: Path) -> dict[str, Any]:
    try:
        journal = folders.read_run(folder)
        dt.date.fromisoformat(journal["as_of"])
        dict(journal["files"])
    except (ValueError, KeyError, TypeError) as problem:
        raise UsageError(
            "the last build's journal is damaged",
            where=str(folder / folders.RUN_FILE),
            found=str(problem),
            hint="build again; the records are not touched",
        ) from None
    return journal


def _refuse_other_version(store: Store, station: Path) -> None:
    from queen_outcomes.facts import exports

    other = exports.differences({name: store.columns(name) for name in exports.TABLES})
    if other:
        raise _of_other_version(other[0], station)


def _lacks_something(problem: Exception) -> bool:
    """Tell whether a table or a column that is asked for is not in the store."""
    import duckdb

    return isinstance(problem, (duckdb.CatalogException, duckdb.BinderException))


def _of_other_version(found: str, station: Path) -> UsageError:
    return UsageError(
        "the last build was made by another version of the tool",
        found=found,
        hint=f"run `{_command(station)}` again",
    )


def _open(path: Path) -> Store:
    import duckdb

    from queen_outcomes.base.store import Store

    try:
        # its own folder may be gone by the time that something must wait on disk
        spill = Path(tempfile.gettempdir()) / f"queen-outcomes-{os.getpid()}"
        return Store(path, read_only=True, spill=spill)
    except duckdb.IOException as problem:
        raise UsageError(
            "the last build's file cannot be opened",
            where=str(path),
            found=str(problem).splitlines()[0],
            hint="close the program that holds it open, or build again",
        ) from None
