"""The weekly build: the ordered list of steps, timed, journalled, swapped in at the end.

Each step reads and writes tables in the build's DuckDB file. What a step does is
elsewhere; here is only the order, and heavy imports wait until a step needs them.
"""

from __future__ import annotations

import datetime as dt
import os
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from queen_outcomes import folders, journal
from queen_outcomes import settings as station_settings
from queen_outcomes.console import Console
from queen_outcomes.errors import UsageError, nearest
from queen_outcomes.settings import Settings

if TYPE_CHECKING:
    from queen_outcomes.store import Store

MEMORY_SHARE = 0.6
MEMORY_MOST_GIB = 5.0
"""DuckDB spills to disk beyond the smaller of this share of the machine and this size."""


@dataclass
class Work:
    """What every step is given.

    Parameters
    ----------
    store : Store
        The build's open DuckDB file.
    records, folder : Path
        The station's records, and the folder this build is made in.
    settings : Settings
        The station's choices.
    as_of : date
        The day the figures stand for.
    earlier : Path or None
        The build before, for what changed.
    """

    store: Store
    records: Path
    folder: Path
    settings: Settings
    as_of: dt.date
    earlier: Path | None = None
    staged: Any = None
    results: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Step:
    """One named step; ``run`` gives the rows (or pages) it made."""

    name: str
    run: Callable[[Work], int]


def _count(store: Store, what: str, table: str) -> int:
    return int(store.rows(f"SELECT coalesce({what}, 0) FROM {table}")[0][0])


def _read(work: Work) -> int:
    from queen_outcomes.records.staging import stage_records

    work.staged = stage_records(work.store, work.records, work.settings)
    work.notes += work.staged.notes
    return _count(work.store, "sum(rows_read)", "sources_read")


def _check(work: Work) -> int:
    from queen_outcomes.records.accept import accept_records

    sources = [source.name for source in work.staged.sources]
    accept_records(work.store, work.settings, work.as_of, sources)
    for done_with in ("raw_", "staged_"):  # a finished build holds accepted rows only
        work.store.drop_like(done_with)
    return _count(work.store, "sum(accepted)", "sources")


def _derive(work: Work) -> int:
    from queen_outcomes.outcomes.derive import derive
    from queen_outcomes.outcomes.listing import write_listed

    derive(work.store, work.settings, work.as_of)
    write_listed(work.store)
    return _count(work.store, "count(*)", "outcomes")


def _rates(work: Work) -> int:
    from queen_outcomes.outcomes.rates import count_rates

    count_rates(work.store, work.settings)
    return _count(work.store, "count(*)", "rates")


def _curves(work: Work) -> int:
    from queen_outcomes.outcomes.curves import draw_curves

    draw_curves(work.store, work.settings)
    return _count(work.store, "count(*)", "estimates")


def _models(work: Work) -> int:
    from queen_outcomes.models.results import fit_models

    fit_models(work.store, work.settings)
    return _count(work.store, "count(*)", "model_fits")


def _changes(work: Work) -> int:
    from queen_outcomes.changes import compare

    return compare(work.store, work.earlier)


def _tables(work: Work) -> int:
    from queen_outcomes.contract import TABLES
    from queen_outcomes.export import write_tables

    work.results = write_tables(work.store, work.folder / folders.TABLES)
    return sum(_count(work.store, "count(*)", name) for name in TABLES)


def _draw(work: Work) -> int:
    from queen_outcomes.dashboard.site import draw

    target = work.folder / "dashboard"
    return len(draw(work.store, work.settings, work.as_of, target))


STEPS: tuple[Step, ...] = (
    Step("read", _read),
    Step("check", _check),
    Step("derive", _derive),
    Step("rates", _rates),
    Step("curves", _curves),
    Step("models", _models),
    Step("changes", _changes),
    Step("tables", _tables),
    Step("draw", _draw),
)


def memory_limit() -> str:
    """Give DuckDB's memory limit, so that a station of any size leaves room."""
    whole = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return f"{min(MEMORY_MOST_GIB, MEMORY_SHARE * whole):.1f}GiB"


def run_steps(
    work: Work, console: Console, until: str | None = None
) -> list[dict[str, Any]]:
    """Run the steps in order, and give name, rows and seconds of each."""
    done = []
    for step in STEPS:
        console.started(step.name)
        begin = time.perf_counter()
        rows = step.run(work)
        seconds = time.perf_counter() - begin
        console.finished(step.name, rows, seconds)
        done.append({"step": step.name, "rows": rows, "seconds": round(seconds, 3)})
        if step.name == until:
            break
    return done


def check_step(until: str | None) -> None:
    """Refuse a step there is not.

    Raises
    ------
    UsageError
        The nearest step is suggested.
    """
    names = [step.name for step in STEPS]
    if until is not None and until not in names:
        close = nearest(until, names)
        raise UsageError(
            "there is no such step",
            where="--until",
            found=until,
            expected="one of " + ", ".join(names),
            hint=f"did you mean {close}?" if close else "",
        )


def pick_day(flag: dt.date | None, settings: Settings, now: dt.datetime) -> dt.date:
    """Give the as-of day: the flag, else the settings', else today."""
    return flag or settings.as_of or now.date()


@dataclass(frozen=True)
class Built:
    """A build that came to its end, or to the step it was asked to stop after."""

    folder: Path
    journal: dict[str, Any]
    quarantined: int
    complete: bool


def build(
    station: Path,
    console: Console,
    *,
    as_of: dt.date | None = None,
    until: str | None = None,
    now: dt.datetime | None = None,
) -> Built:
    """Rebuild a station's tables and dashboard, and switch ``latest`` to them.

    Parameters
    ----------
    station : Path
        The station's folder.
    console : Console
        Told of each step.
    as_of : date or None
        The day the figures stand for; see `pick_day`.
    until : str or None
        Stop after this step and leave the DuckDB file in the build's folder,
        without switching ``latest``; the next build removes it.
    now : datetime or None
        The clock, for the build's name and journal only.

    Raises
    ------
    AppError
        Whatever a step refuses; nothing has changed then.
    """
    check_step(until)
    now = now or dt.datetime.now().astimezone()
    settings = station_settings.load(station)
    day = pick_day(as_of, settings, now)
    place = station / "build"
    with folders.hold(place, now):
        run_id = folders.new_run_id(now)
        folder = folders.prepare(place, run_id)
        try:
            told = journal.begin(station, settings, day, now)
            work, quarantined = _make(station, folder, (settings, day), console, until)
            told.update(work)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        if until not in (None, STEPS[-1].name):
            return Built(folder, told, quarantined, complete=False)
        folders.write_run(folder, told)
        _swap(place, run_id, settings.history_builds)
        return Built(place / folders.LATEST, told, quarantined, complete=True)


def _make(
    station: Path,
    folder: Path,
    chosen: tuple[Settings, dt.date],
    console: Console,
    until: str | None,
) -> tuple[dict[str, Any], int]:
    """Run the steps in the build's own file; give what they add to the journal."""
    from queen_outcomes.store import Store

    settings, day = chosen
    earlier = folders.latest(station / "build")
    with Store(folder / folders.STORE_FILE, memory=memory_limit()) as store:
        work = Work(store, station / "records", folder, settings, day, earlier)
        steps = run_steps(work, console, until)
        for note in work.notes:
            console.note(f"note: {note}")
        sources, quarantined = [], 0
        if store.has("sources"):
            sources = store.records("SELECT * FROM sources ORDER BY ALL")
            quarantined = _count(store, "sum(quarantined)", "sources")
    made = {"sources": sources, "steps": steps, "results": work.results}
    return {**made, "notes": work.notes}, quarantined


def _swap(place: Path, run_id: str, keep: int) -> None:
    """Switch first; only then trim the build before, so that `latest` is always whole."""
    before = folders.latest(place)
    folders.switch(place, run_id)
    if before is not None and before.parent == place.resolve():
        folders.retire(place, before)
    folders.prune(place, keep)
