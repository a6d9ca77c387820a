"""A command runner, an empty promise kept in a store, and a build of small steps."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, as the command does

import demo_station
import pytest
from queen_outcomes.base.store import Store, quote
from queen_outcomes.build import steps as weekly
from queen_outcomes.commands import cli
from queen_outcomes.facts import exports as contract

EMPTY_STATION = 'name = "Test station"\nas_of = 2026-07-01\n'


@dataclass
class Ran:
    """What a command gave."""

    code: int
    out: str
    err: str


@pytest.fixture
def command(capsys):
    """Run a command line in this process."""

    def run(*argv) -> Ran:
        code = cli.run([str(word) for word in argv])
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return run


@pytest.fixture(scope="session")
def built_demo(tmp_path_factory) -> Path:
    """The invented station's finished build, made once; tests that change it copy it."""
    return demo_station.make(tmp_path_factory.mktemp("demo") / "station")


def make_table(store: Store, name: str, rows=()) -> None:
    """Write one table of the contract; a row gives the columns it cares about."""
    columns = contract.TABLES[name].columns
    described = ", ".join(f"{quote(c.name)} {c.sql_type}" for c in columns)
    store.execute(f"CREATE TABLE {name} ({described})")
    for row in rows:
        names = ", ".join(quote(key) for key in row)
        marks = ", ".join("?" for _ in row)
        store.con.execute(
            f"INSERT INTO {name} ({names}) VALUES ({marks})", list(row.values())
        )


@pytest.fixture
def full_store():
    """Give a maker of stores that hold every promised table."""

    def make(path: Path | str = ":memory:", *, threads=None, **rows) -> Store:
        store = Store(path, threads=threads)
        for name in contract.TABLES:
            make_table(store, name, rows.get(name, ()))
        return store

    return make


@pytest.fixture
def station(tmp_path) -> Path:
    """A station's folder without records."""
    place = tmp_path / "station"
    (place / "records").mkdir(parents=True)
    (place / "station.toml").write_text(EMPTY_STATION, encoding="utf-8")
    return place


@pytest.fixture
def small_steps(monkeypatch):
    """Replace the steps by ones that make the given rows; give the rows to change."""
    rows: dict[str, list[dict]] = {}

    def read(work: weekly.Work) -> int:
        made = [name for name in contract.TABLES if name != "changes"]
        for name in made:
            make_table(work.store, name, rows.get(name, ()))
        return len(rows.get("outcomes", ()))

    kept = [step for step in weekly.STEPS if step.name in ("changes", "tables")]
    steps = (
        weekly.Step("read", read),
        weekly.Step("check", lambda _: 0),
        *kept,
        weekly.Step("draw", _draw_nothing),
    )
    monkeypatch.setattr(weekly, "STEPS", steps)
    return rows


def _draw_nothing(work: weekly.Work) -> int:
    (work.folder / "dashboard").mkdir()
    (work.folder / "dashboard" / "index.html").write_text("page", encoding="utf-8")
    return 1


@pytest.fixture
def outcome():
    """Give a maker of a row of ``outcomes``."""

    def make(course_id="Q1/1", state="yes", settled_by=("checks.csv:2",), **other):
        row = {
            "course_id": course_id,
            "outcome": "laying",
            "window_days": 21,
            "state": state,
            "closed": True,
            "settled_by": list(settled_by),
        }
        return {**row, **other}

    return make


@pytest.fixture
def due_row():
    """Give a row of ``due``."""
    return {
        "queen_id": "Q1",
        "course_id": "Q1/1",
        "colony_id": "N7",
        "day": 14,
        "on": dt.date(2026, 7, 3),
        "status": "due",
        "look_for": "eggs, larvae; sealed brood",
        "settles": "laying, lost",
    }
