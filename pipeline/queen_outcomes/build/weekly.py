"""The weekly build: steps run in a folder of their own, journalled, swapped in at the end.

Each step reads and writes tables in the build's DuckDB file; `steps` has their order.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import platform
import shutil
import time
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from queen_outcomes import __version__
from queen_outcomes.base import folders, memory, resources
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.base.workers import Workers
from queen_outcomes.build import pseudonymous, steps, unchanged
from queen_outcomes.dashboard.charts import scripts
from queen_outcomes.facts import settings as station_settings
from queen_outcomes.facts.outcomes import refuse_unfinished
from queen_outcomes.facts.pseudonyms import Mask, station_key
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models import season_plan
from queen_outcomes.models.season_plan import SeasonPlan

JOURNALLED = (
    *("polars", "duckdb", "great-expectations", "altair"),
    *("numpy", "scipy", "jinja2"),
)
"""Libraries whose version could change a result; the charts' scripts count as code."""
MEMORY_SHARE = 0.6
MEMORY_MOST_GIB = 5.0
"""DuckDB spills to disk beyond the smaller of this share of the machine and this size."""
WORKERS_SHARE, WORKERS_LEAST_BYTES = 0.25, 6.5e8
"""What workers may take together: a share of the machine's memory, and at least as much as
one needs on 30,000 courses."""


def memory_limit(settings: Settings) -> str:
    """Give DuckDB's memory limit, so that a station of any size leaves room."""
    if settings.memory is not None:
        return f"{settings.memory}GB"
    whole = memory.whole() / 2**30
    return f"{min(MEMORY_MOST_GIB, MEMORY_SHARE * whole):.1f}GiB"


def worker_memory(settings: Settings) -> float:
    """Give how many bytes workers may take together.

    Where the station says how much memory there is, only what few of them need on some ten
    thousands of courses.
    """
    if settings.memory is not None:
        return WORKERS_LEAST_BYTES
    return max(WORKERS_LEAST_BYTES, WORKERS_SHARE * memory.whole())


def check_step(until: str | None) -> None:
    """Refuse a step there is not.

    Raises
    ------
    UsageError
        The nearest step is suggested.
    """
    names = [step.name for step in steps.STEPS]
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
    unread: int = 0
    """Files and sheets in the records that nothing reads."""


def build(  # noqa: PLR0913 - each is a choice of whoever asks
    station: Path,
    console: Console,
    *,
    as_of: dt.date | None = None,
    until: str | None = None,
    now: dt.datetime | None = None,
    pdf: bool = False,
    leaving: Path | None = None,
    cores: int | None = None,
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
    pdf : bool
        Print the week on a sheet of paper too.
    leaving : Path or None
        Write a dashboard and tables with codes in the place of names there, and neither
        switch ``latest`` nor fix anything for the season.
    cores : int or None
        How many to use; None: all there are. No byte depends on it.

    Raises
    ------
    AppError
        Whatever a step refuses; nothing has changed then.
    """
    check_step(until)
    refuse_unfinished()
    if until in (None, steps.STEPS[-1].name):
        scripts.read()  # else it is refused where all but the pages is done
    if leaving is not None:
        pseudonymous.refuse_place(station, leaving, until)
    now = now or dt.datetime.now().astimezone()
    settings = station_settings.load(station)
    day = pick_day(as_of, settings, now)
    place = station / "build"
    with folders.hold(place, now):
        run_id = folders.new_run_id(now)
        folder = folders.prepare(place, run_id)
        _mend(place, console)
        season = season_plan.season_of(day, settings.season_first_month)
        plan = season_plan.read(station, season, day)
        try:
            told = _begin_journal(station, settings, day, now)
            told["number"] = folders.next_number(place)
            told["season_read"] = season_plan.journalled(station, plan)["sha256"]
            key = None if leaving is None else station_key(station)
            chosen = _Chosen(settings, day, plan, pdf, until, cores, key)
            made, quarantined, mask = _make(station, folder, chosen, console, told)
            told.update(made)
            if leaving is not None:
                left = pseudonymous.journal_of(told, mask, key)
                pseudonymous.hand_over(folder, leaving, left)
                shutil.rmtree(folder)
                return Built(
                    leaving, left, quarantined, complete=True, unread=told["unread"]
                )
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        if until not in (None, steps.STEPS[-1].name):
            return Built(
                folder, told, quarantined, complete=False, unread=told["unread"]
            )
        season_plan.write(station, plan)
        told["season"] = season_plan.journalled(station, plan)
        told["plan_changed"] = bool(plan.changed)
        folders.write_run(folder, told)
        _swap(place, run_id, settings.history_builds)
        latest = place / folders.LATEST
        return Built(latest, told, quarantined, complete=True, unread=told["unread"])


def _begin_journal(
    station: Path, settings: Settings, day: dt.date, now: dt.datetime
) -> dict[str, Any]:
    """Give what is known of a build before its first step.

    The journal is the only part of a build's results that carries the clock.
    """
    resolved = settings.resolved()
    text = json.dumps(resolved, sort_keys=True)
    return {
        "version": __version__,
        "as_of": day.isoformat(),
        "started": now.isoformat(timespec="seconds"),
        "python": platform.python_version(),
        "libraries": {name: metadata.version(name) for name in JOURNALLED},
        "code": resources.fingerprint(),
        "settings_sha256": hashlib.sha256(text.encode()).hexdigest(),
        "settings": resolved,
        "files": folders.fingerprint(station),
    }


@dataclass(frozen=True)
class _Chosen:
    """What a build was asked for."""

    settings: Settings
    day: dt.date
    plan: SeasonPlan
    pdf: bool
    until: str | None
    cores: int | None
    key: bytes | None


def _make(
    station: Path,
    folder: Path,
    chosen: _Chosen,
    console: Console,
    told: dict[str, Any],
) -> tuple[dict[str, Any], int, Mask | None]:
    """Run the steps in the build's own file; give what they add to the journal.

    Also how many rows were quarantined, and the codes by which names were hidden, where a
    key says so.
    """
    from queen_outcomes.base.store import Store

    earlier = folders.before(station / "build")
    taken = None
    if _reaches_beyond_kept(chosen.until):
        taken = unchanged.find(earlier, told)
    path = folder / folders.STORE_FILE
    if taken:
        taken.copy_to(path)
        chosen.plan.provisional = taken.journal["season"]["provisional"]
    limits = {
        "memory": memory_limit(chosen.settings),
        "spill": folder / folders.SPILL,
    }
    room = worker_memory(chosen.settings)
    with Workers(chosen.cores, room) as workers, Store(path, **limits) as store:
        for table in unchanged.ANEW if taken else ():
            store.drop(table.name)
        work = steps.Work(
            store,
            station / "records",
            folder,
            chosen.settings,
            chosen.day,
            earlier,
            chosen.plan,
            chosen.pdf,
            station_settings.text_of(station),
            key=chosen.key,
            workers=workers,
            unchanged=taken,
            notes=list(taken.journal["notes"]) if taken else [],
        )
        done = steps.run_steps(work, console, chosen.until)
        for note in work.notes:
            console.note(f"note: {note}")
        if store.has("attention"):
            from queen_outcomes.outcomes import attention

            for line in attention.told(store):
                console.note(line)
        sources, quarantined = [], 0
        if store.has("sources"):
            sources = store.records("SELECT * FROM sources ORDER BY ALL")
            quarantined = steps.count_rows(store, "sum(quarantined)", "sources")
        begin = time.perf_counter()
    seconds = time.perf_counter() - begin
    console.finished("close", 0, seconds)
    done.append({"step": "close", "rows": 0, "seconds": round(seconds, 3)})
    unread = (
        taken.journal["unread"]
        if taken
        else len(work.staged.unread)
        if work.staged
        else 0
    )
    made = {"sources": sources, "steps": done, "results": work.results}
    made["store_sha256"] = folders.sha256(path)
    made["pages_sha256"] = work.pages_sha256
    return {**made, "notes": work.notes, "unread": unread}, quarantined, work.mask


def _reaches_beyond_kept(until: str | None) -> bool:
    """Tell whether a build goes on after the steps whose tables could be taken over."""
    kept = [step.name for step in steps.STEPS if step.kept]
    return bool(kept) and until not in kept


def _mend(place: Path, console: Console) -> None:
    """Mend a lost link before anything is built: a build that fails must leave it sound."""
    found = folders.mend(place)
    if found is not None:
        link = place / folders.LATEST
        console.note(
            f"note: {link} was missing or led nowhere; it now leads to {found.name}, "
            "the last complete build"
        )


def _swap(place: Path, run_id: str, keep: int) -> None:
    """Switch first; only then trim the build before, so that `latest` is always whole."""
    before = folders.linked(place)
    folders.switch(place, run_id)
    if before is not None and before.parent == place.resolve():
        folders.retire(place, before)
    folders.prune(place, keep)
