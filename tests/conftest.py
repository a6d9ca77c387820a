"""A command runner, an empty promise kept in a store, and a build of small steps."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass
from pathlib import Path

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before numpy, as the command does

import demo_station
import pytest
from made_once import Shared
from queen_outcomes.base import workers
from queen_outcomes.base.store import Store, quote
from queen_outcomes.build import steps as weekly
from queen_outcomes.commands import cli
from queen_outcomes.facts import exports as contract
from queen_outcomes.facts.dictionary import TABLES as RECORDS
from queen_outcomes.outcomes import fills

# the tests of this run share the cores already
workers.cores = lambda: 1
# what a table or a page holds does not hang on how often gaps are filled in; the demo,
# built by the installed command, and `whole_fillings` have as many fillings as a station
WHOLE, fills.TIMES = fills.TIMES, 6

LONG = (
    *("habits/", "faults/test_campaigns.py", "faults/test_fuzzed_sets.py"),
    *("outcomes/test_foreign_stations.py", "test_recovery.py", "test_trial_claims.py"),
    *("audit/test_season_series.py", "stats/", "commands/test_no_network.py"),
    *("commands/test_cli_bad_records.py", "build/test_pseudonymous.py"),
    "build/test_cores.py",
    *("browser/test_small_stations.py", "browser/test_queens_at_scale.py"),
    *("browser/test_queen_story.py", "commands/test_cli_compare.py"),
    *("doses/test_trials.py", "doses/test_verdict.py", "trial/", "test_planned_trial.py"),
    *("paper/test_typed_back.py", "records/map/test_map_properties.py"),
)
"""Where slow tests are simulations, campaigns and whole stations by the dozen: marked long."""
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


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config) -> int | None:
    """Start no more workers than files are named, and none for one file: a start takes seconds."""
    if "PYTEST_XDIST_AUTO_NUM_WORKERS" in os.environ:
        return None
    named = {config.invocation_params.dir / word.split("::")[0] for word in config.args}
    cores = os.cpu_count() or 1
    if any(path.is_dir() for path in named):
        return cores
    return min(len(named), cores) if len(named) > 1 else 0


def place_of(path: Path) -> str:
    """Give where a test file stands below the tests, as `LONG` has it."""
    return path.relative_to(Path(__file__).parent).as_posix()


def pytest_collection_modifyitems(config, items):
    """Mark the long among the slow tests, and order the files.

    Files with slow ones come first, so no worker is left with a long one at the end; the
    pages before them all, as one worker has them by itself and builds the demo for them,
    and what else stands on the demo last of these, so that nobody waits while it is built.
    """
    for item in items:
        if item.get_closest_marker("slow") and place_of(item.path).startswith(LONG):
            item.add_marker("long")
    if hasattr(config, "workerinput"):
        slow = {item.path for item in items if item.get_closest_marker("slow")}
        on_demo = {item.path for item in items if "built_demo" in item.fixturenames}

        def when(item) -> int:
            if item.path.parent.name == "browser":
                return 0
            return 1 + 2 * (item.path not in slow) + (item.path in on_demo)

        items.sort(key=when)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Keep a file's tests on one worker, for what they share, and all pages in one browser."""
    from xdist.scheduler import LoadFileScheduling

    class Files(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return "browser" if "/browser/" in nodeid else super()._split_scope(nodeid)

    return Files(config, log) if config.getvalue("dist") == "loadfile" else None


@pytest.fixture(scope="session")
def shared(tmp_path_factory):
    """Folders that the workers of this run share, to be read only."""
    place = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:  # then it is this worker's own
        place = place.parent
    folders = Shared(place / "shared")
    yield folders
    assert folders.changed() == [], "a test wrote to what others read; let it copy"


@pytest.fixture(scope="session")
def built_demo(shared) -> Path:
    """The invented station's finished build, made once a run; tests that change it copy it."""
    return shared.folder("demo", demo_station.make) / "build" / "latest"


@pytest.fixture(scope="module")
def whole_fillings():
    """Fill gaps in as often as a station's build does, in all tests of a file."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(fills, "TIMES", WHOLE)
        yield


@pytest.fixture(scope="module", autouse=True)
def _whole_where_long(request):
    """Do so in every file whose slow tests are long: they hold figures against the truth."""
    if place_of(request.path).startswith(LONG):
        request.getfixturevalue("whole_fillings")


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
        _make_no_records(work.store)
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


def _make_no_records(store: Store) -> None:
    """Make the records that sheets look into, without a row."""
    for name in ("inseminations", "co2", "checks"):
        columns = ", ".join(f"{c.name} {c.sql_type}" for c in RECORDS[name].columns)
        store.execute(f"CREATE TABLE accepted_{name} (ref BIGINT, {columns})")
    store.table("linked_checks", "SELECT * FROM accepted_checks")


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
        "useful_until": dt.date(2026, 7, 17),
        "status": "due",
        "look_for": "eggs, larvae, sealed brood; the queen, or eggs",
        "settles": "laying, lost",
    }
