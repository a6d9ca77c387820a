"""The steps of the weekly build, in order, and what each of them is given.

What a step does is elsewhere; heavy imports wait until a step needs them.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from queen_outcomes.base import folders
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.memory import give_back
from queen_outcomes.base.workers import Workers
from queen_outcomes.build.unchanged import Unchanged
from queen_outcomes.facts.exports.outcomes import SEASON_CHANGES, SEASON_FIXED
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.season_plan import SeasonPlan

if TYPE_CHECKING:
    from queen_outcomes.base.store import Store


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
    plan : SeasonPlan or None
        What is fixed for the season, and takes up what this build fixes; None: nothing
        is fixed and nothing kept.
    pdf : bool
        Print the week on a sheet of paper too.
    written : str
        The text of the settings: it may hold questions that nobody has answered.
    looking : bool
        Only look: what contradicts the settings, and what would refuse a build, is kept
        in ``notes``, ``open_questions``, ``unanswered`` and ``refusal`` for whoever tells everything
        first, and stops nothing.
    verified : bool
        Count the failing rows a second time, by the expectations.
    key : bytes or None
        The station's secret, where what is written leaves it: names are hidden before
        the first table is, and ``mask`` says by which codes.
    workers : Workers
        Who does what the next steps need not wait for.
    unchanged : Unchanged or None
        The build whose tables ``store`` holds already; None: it is empty.
    """

    store: Store
    records: Path
    folder: Path
    settings: Settings
    as_of: dt.date
    earlier: Path | None = None
    plan: SeasonPlan | None = None
    pdf: bool = False
    written: str = ""
    looking: bool = False
    verified: bool = True
    key: bytes | None = None
    mask: Any = None
    workers: Workers = field(default_factory=lambda: Workers(1))
    unchanged: Unchanged | None = None
    refusal: RecordsError | None = None
    staged: Any = None
    results: dict[str, str] = field(default_factory=dict)
    pages_sha256: str | None = None
    """Hash of all pages, where an unchanged build may take them over."""
    notes: list[str] = field(default_factory=list)
    unread: list[Any] = field(default_factory=list)
    """Columns of which some cells cannot be read as set."""
    open_questions: list[Any] = field(default_factory=list)
    unanswered: list[Any] = field(default_factory=list)
    """Questions of `map` that the settings leave open."""
    awaited: list[Callable[[], int]] = field(default_factory=list)
    """What is under way beside the steps, each to be asked for its end, giving rows."""


@dataclass(frozen=True)
class Step:
    """One named step; ``run`` gives the rows (or pages) it made.

    ``kept``: an unchanged build's tables of it are taken over.
    """

    name: str
    run: Callable[[Work], int]
    kept: bool = False


def count_rows(store: Store, what: str, table: str) -> int:
    """Give a count over a table; 0 where it is empty."""
    return int(store.rows(f"SELECT coalesce({what}, 0) FROM {table}")[0][0])


def _read(work: Work) -> int:
    from queen_outcomes.base.errors import raise_all
    from queen_outcomes.records import evidence, unanswered
    from queen_outcomes.records.sources import loud_note
    from queen_outcomes.records.staging import stage_records

    work.staged = stage_records(work.store, work.records, work.settings)
    work.notes += work.staged.notes
    reading = work.settings.reading
    orders = evidence.OrdersSeen(work.store, work.staged.sources, reading)
    work.unread = evidence.unread_columns(orders)
    if work.looking or unanswered.stand_in(work.written):
        work.open_questions = evidence.open_questions(orders)
        work.unanswered = unanswered.unanswered(
            work.written,
            work.staged.sources,
            [*work.unread, *work.open_questions],
        )
    if not work.looking:  # who looks is told all of this as advice
        raise_all([question.error() for question in work.unanswered])
        raise_all([column.error() for column in work.unread if column.contradicts])
        work.notes += [column.note for column in work.unread if column.telling]
        work.notes += loud_note(work.staged.unread)
    return count_rows(work.store, "sum(rows_read)", "sources_read")


def _check(work: Work) -> int:
    from queen_outcomes.records.accept import accept_records, useless

    sources = [source.name for source in work.staged.sources]
    with work.staged.naming_damaged(work.store):
        verdict = accept_records(
            work.store,
            work.settings,
            work.as_of,
            sources,
            verified=work.verified,
            workers=work.workers,
        )
    work.awaited += [verdict.join] if verdict else []
    work.staged.refuse_changed()
    work.refusal = useless(work.store, work.staged.unread, work.as_of)
    if work.refusal and not work.looking:
        raise work.refusal
    if not work.looking:  # a finished build holds accepted rows only
        work.store.drop_like("raw_", "staged_")
        work.store.drop("repeats")
    return count_rows(work.store, "sum(accepted)", "sources")


def _derive(work: Work) -> int:
    from queen_outcomes.outcomes.derive import derive, write_listed

    work.store.plan_fully()  # courses by days are many more than rows of records
    derive(work.store, work.settings, work.as_of)
    write_listed(work.store)
    return count_rows(work.store, "count(*)", "outcomes")


def _rates(work: Work) -> int:
    from queen_outcomes.outcomes.derive import count_rates

    count_rates(work.store, work.settings)
    return count_rows(work.store, "count(*)", "rates")


def _curves(work: Work) -> int:
    from queen_outcomes.outcomes.curves import begin_curves

    work.awaited.append(begin_curves(work.store, work.settings, work.workers))
    return count_rows(work.store, "count(*)", "estimates")


def _has_earlier_season(work: Work, season: str) -> bool:
    """Tell whether a course of an earlier season has closed for some outcome."""
    return bool(
        work.store.rows(
            "SELECT 1 FROM outcomes JOIN courses USING (course_id) "
            "WHERE closed AND season < $season LIMIT 1",
            {"season": season},
        )
    )


def _models(work: Work) -> int:
    from queen_outcomes.models.results import fit_models

    if work.plan:
        work.plan.provisional = not _has_earlier_season(work, work.plan.season)
    fit_models(work.store, work.settings, work.plan, work.earlier, work.workers)
    return count_rows(work.store, "count(*)", "model_fits")


def _audit(work: Work) -> int:
    from queen_outcomes.audit.results import audit_station

    audit_station(work.store, work.settings, work.plan, work.workers)
    return count_rows(work.store, "count(*)", "operators")


def _doses(work: Work) -> int:
    from queen_outcomes.doses.results import compare_station

    compare_station(work.store, work.settings, work.as_of, work.plan, work.workers)
    return count_rows(work.store, "count(*)", "arm_contrasts")


def _changes(work: Work) -> int:
    from queen_outcomes.outcomes.changes import compare

    if work.plan:
        _keep_plan(work.store, work.plan)
        work.notes += [f"the plan changed: {row['what']}" for row in work.plan.changed]
    return compare(work.store, work.earlier)


def _keep_plan(store: Store, plan: SeasonPlan) -> None:
    """Write what is fixed for the season, and its changes, for the pages to show."""
    from queen_outcomes.facts.exports.writing import write_rows

    sections = {**plan.sections, **plan.fresh}
    fixed = [
        {"name": name, "fixed_on": section["fixed_on"]}
        for name, section in sorted(sections.items())
        if section["fixed_on"] <= plan.as_of
    ]
    write_rows(store, SEASON_FIXED, fixed)
    write_rows(store, SEASON_CHANGES, [*plan.changes, *plan.changed])


def _await(work: Work) -> int:
    """Wait for what was under way beside the steps; a build without it is none."""
    awaited, work.awaited = work.awaited, []
    return sum(end() for end in awaited)


def _attention(work: Work) -> int:
    from queen_outcomes.outcomes.attention import gather

    return gather(work.store, work.settings, work.as_of, work.earlier)


def _tables(work: Work) -> int:
    from queen_outcomes.build.export import write_tables
    from queen_outcomes.facts.exports import TABLES
    from queen_outcomes.facts.pseudonyms import hide_names, mask_of

    if work.key is not None:
        work.mask = mask_of(work.store, work.key, work.settings)
        hide_names(work.store, work.mask)
        work.settings = work.mask.settings(work.settings)
    work.results = write_tables(work.store, work.folder / folders.TABLES)
    return sum(count_rows(work.store, "count(*)", name) for name in TABLES)


def _draw(work: Work) -> int:
    target = work.folder / folders.DASHBOARD
    pages = _drawn(work, target)
    # a sheet to print, or codes in the place of names: the next build draws its own
    is_plain = not work.pdf and work.key is None
    work.pages_sha256 = folders.tree_sha256(target) if is_plain else None
    return pages


def _drawn(work: Work, target: Path) -> int:
    is_plain = not work.pdf and work.key is None
    if work.unchanged and is_plain and work.unchanged.copy_pages(work.results, target):
        return work.unchanged.rows("draw")
    from queen_outcomes.dashboard.site import draw
    from queen_outcomes.outcomes.fills import beside_for

    beside = beside_for(work.workers, count_rows(work.store, "count(*)", "courses"))
    pages = draw(work.store, work.settings, work.as_of, target, beside)
    if work.pdf:
        from queen_outcomes.paper import week

        pages.append(week.write(work.store, work.settings, work.as_of, target))
    return len(pages)


STEPS: tuple[Step, ...] = (
    Step("read", _read, kept=True),
    Step("check", _check, kept=True),
    Step("derive", _derive, kept=True),
    Step("rates", _rates, kept=True),
    Step("curves", _curves, kept=True),
    Step("models", _models, kept=True),
    Step("audit", _audit, kept=True),
    Step("doses", _doses, kept=True),
    Step("changes", _changes),
    Step("await", _await),
    Step("attention", _attention),
    Step("tables", _tables),
    Step("draw", _draw),
)


WORDS = {
    "read": "reading the records",
    "check": "checking every row and linking looks to queens",
    "derive": "working out what became of each queen",
    "rates": "counting rates",
    "curves": "filling in the courses left open",
    "models": "fitting which factors go with success",
    "audit": "simulating null seasons for the audit's limits",
    "doses": "comparing dose protocols",
    "changes": "setting the outcomes beside those of the build before",
    "attention": "gathering what needs a person",
    "tables": "writing the tables",
    "draw": "drawing the pages",
}
"""What a step does, for who waits."""


def run_steps(
    work: Work, console: Console, until: str | None = None
) -> list[dict[str, Any]]:
    """Run the steps in order, and give name, rows and seconds of each."""
    done = []
    if work.verified and not work.unchanged and until != STEPS[0].name:
        from queen_outcomes.records import expectations

        expectations.get_ready(work.workers)
    for step in STEPS:
        console.started(step.name, WORDS.get(step.name, ""))
        begin = time.perf_counter()
        done_before = work.unchanged if step.kept else None
        rows = done_before.rows(step.name) if done_before else step.run(work)
        give_back()
        seconds = time.perf_counter() - begin
        console.finished(step.name, rows, seconds)
        done.append({"step": step.name, "rows": rows, "seconds": round(seconds, 3)})
        if step.name == until:
            break
    _await(work)  # asked to stop earlier: nothing is left half done
    return done
