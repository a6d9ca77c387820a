"""Small folders of records for tests, and what staging makes of them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from mapped import rows_of
from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import load, parse
from queen_outcomes.records.accept import accept_records
from queen_outcomes.records.staging import Staged, stage_records

INSEMINATIONS = "queen_id,inseminated_at\nQ1,2025-06-01\n"
CHECKS = "queen_id,checked_on\nQ1,2025-06-20\n"


def folder(path: Path, **more: str | bytes) -> Path:
    """Make a folder of records; `a__csv` is a.csv, a None leaves a usual one out."""
    files = {"inseminations__csv": INSEMINATIONS, "checks__csv": CHECKS, **more}
    path.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        if content is None:
            continue
        file = path / name.replace("___", "/").replace("__", ".")
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def stage(path: Path, settings: dict | None = None, **more) -> tuple[Store, Staged]:
    """Stage a folder made by `folder`."""
    store = Store()
    return store, stage_records(store, folder(path, **more), parse(settings or {}))


def checks(path: Path, text: str | bytes, settings: dict | None = None) -> list[dict]:
    """Stage a table of checks, and give its rows without what is empty."""
    store, _ = stage(path, settings, checks__csv=text)
    rows = store.records("SELECT * FROM staged_checks ORDER BY ref")
    store.close()
    return [
        {name: value for name, value in row.items() if value is not None}
        for row in rows
    ]


def accepted(station: Path, as_of: dt.date) -> dict[str, list[dict]]:
    """Read a station's own folder by its settings, and give its accepted rows as texts."""
    with Store() as store:
        settings = load(station)
        staged = stage_records(store, station / "records", settings)
        names = [source.name for source in staged.sources]
        accept_records(store, settings, as_of, names, verified=False)
        tables = {table: rows_of(store.con, f"accepted_{table}") for table in TABLES}
    return {table: rows for table, rows in tables.items() if rows}
