"""Unsettled courses filled in many times, and the shares that stand on the fillings.

Writes fills: for every closed course of an outcome and window, what became of her in each
filling. Every figure of an outcome stands on the same fillings, so that they agree. The
history behind them is learned in `stats/histories`, from what `signs` gives.

Asked of a course is what would have become of her had nobody sold, moved, sampled or lost
sight of her; an end of her own, and one for a fault, is part of the answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from queen_outcomes.base.store import Store
from queen_outcomes.base.workers import Task, Workers
from queen_outcomes.facts.outcomes import OUTCOMES, Outcome, outcome_named
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.signs import Known, days_of, read_known
from queen_outcomes.stats.histories.chain import GONE, REPLACED, TAKEN
from queen_outcomes.stats.histories.fit import (
    begin_filling,
    even,
    fit_histories,
)
from queen_outcomes.stats.histories.passes import Histories
from queen_outcomes.stats.histories.shares import FilledShare, filled_share

TIMES = 20
FEW_COURSES, MANY_COURSES = 300, 30_000
"""Numbers of courses between which workers fill in at once: one that fills in 100,000
takes over 2 GB."""
ENDS = {"dead": GONE, "missing": GONE, "superseded": REPLACED, "culled_fault": TAKEN}
SCORED = 2**17
"""Where chance is taken from for a pattern nobody scored."""
WATCHED = 10
"""Courses seen on a window's last day or later, for a state on that day to be told."""


@dataclass(frozen=True, eq=False)
class Filling:
    """Fillings under way.

    Attributes
    ----------
    known : Known
    tasks : list of Task
        As `begin_filling` gives them.
    workers : Workers
    """

    known: Known
    tasks: list[Task]
    workers: Workers


def begin_fills(store: Store, settings: Settings, workers: Workers) -> Filling:
    """Learn the histories, and begin to fill them in."""
    known = read_known(store, settings)
    number = known.courses.height
    # fewer take less time than a process takes to start; more would not leave memory
    beside = workers if FEW_COURSES <= number <= MANY_COURSES else Workers(1)
    tasks: list[Task] = []
    if number:
        model = fit_histories(known.seen)
        words = known.courses["cluster"].to_numpy()
        clusters = np.unique(words, return_inverse=True)[1]
        tasks = begin_filling(known.seen, model, known.keys, clusters, TIMES, beside)
    return Filling(known, tasks, beside)


def write_fills(store: Store, settings: Settings, filling: Filling) -> None:
    """Write fills, one row a closed course, outcome and window, ordered so.

    ``answers`` holds 1 yes and 0 no for each filling, and null where she had not laid in
    it and so was not at risk.
    """
    known, frames = filling.known, []
    pairs = filling.workers.results(filling.tasks)
    filled = [drawn for pair in pairs for drawn in pair]
    grace = settings.outcomes.grace_days
    for name, window in settings.outcomes.windows if filled else ():
        asked = asked_of(known.courses, name, window, grace)
        answers = _answers(known, filled, name, window)[:, asked]
        frames.append(_frame(known.courses, name, window, asked, answers))
    ids = {"course_id": pl.String, "outcome": pl.String, "window_days": pl.Int64}
    empty = pl.DataFrame(schema={**ids, "answers": pl.List(pl.Int8)})
    store.con.register("written", pl.concat([empty, *frames]))
    store.table(
        "fills", "SELECT * FROM written ORDER BY outcome, window_days, course_id"
    )
    store.con.unregister("written")


def fill_courses(store: Store, settings: Settings) -> Known:
    """Write fills, all worked out here; see `write_fills`."""
    filling = begin_fills(store, settings, Workers(1))
    write_fills(store, settings, filling)
    return filling.known


def _answers(
    known: Known, filled: list[Histories], name: str, window: int
) -> np.ndarray:
    """Read an outcome off the fillings, (fillings, n)."""
    pairs = zip(filled, _good(known, filled), strict=True)
    outcome = outcome_named(name)
    return np.array([answer(outcome, window, drawn, good) for drawn, good in pairs])


def _frame(courses, name: str, window: int, asked, answers) -> pl.DataFrame:
    whole = np.where(np.isnan(answers), -1, answers).astype(np.int8).T
    listed = pl.Series("answers", whole).cast(pl.List(pl.Int8))
    return courses.filter(asked).select(
        "course_id",
        outcome=pl.lit(name),
        window_days=pl.lit(window, pl.Int64),
        answers=listed.list.eval(pl.when(pl.element() >= 0).then(pl.element())),
    )


def asked_of(courses: pl.DataFrame, name: str, window: int, grace: int) -> np.ndarray:
    """Tell of which courses an outcome is asked: closed, and marked where that matters."""
    event = OUTCOMES[name].event
    closed = courses["watched_days"].to_numpy() >= window + grace
    if event and event.only_marked:
        closed &= courses["is_marked"].fill_null(False).to_numpy()
    return closed


def answer(outcome: Outcome, window: int, history: Histories, good) -> np.ndarray:
    """Read an outcome off drawn histories: 1, 0, nan not at risk, shape (n,)."""
    laid, event = history.onset <= window, outcome.event
    if outcome.curve == "onset":
        found = laid
    elif outcome.curve == "state":
        found = laid & (history.end > window) & (history.drone > window) & good
    elif event is None:
        found = good
    elif event.reasons:
        kinds = [ENDS[reason] for reason in event.reasons]
        found = np.isin(history.ended_as, kinds) & (history.end <= window)
    else:
        found = history.drone <= window
    return np.where(laid | (not outcome.among_layers), found, np.nan)


def _good(known: Known, filled: list[Histories]) -> np.ndarray:
    """Tell whether her last pattern is good, or would be, (fillings, n).

    Who was watched keeps her last score; who left before, or was never scored, is scored
    once more, as a queen scored until she was good, and sold then, may not be so good.
    """
    scored = np.isfinite(known.last_good)
    in_hand = known.courses["exit_day"].is_not_null().to_numpy()
    kept = scored & ~in_hand
    drawn = [even(known.keys, k, SCORED) < known.again_good for k in range(len(filled))]
    return np.where(kept, known.last_good == 1, np.array(drawn))


@dataclass(frozen=True, eq=False)
class Fills:
    """The fillings of one outcome and window.

    Attributes
    ----------
    course_id : ndarray of str, shape (n,)
    answers : ndarray, shape (m, n)
        1 yes, 0 no, nan not at risk.
    """

    course_id: np.ndarray
    answers: np.ndarray


def read_fills(store: Store, name: str, window: int) -> Fills:
    """Read the fillings of an outcome and window, in the order of the ids."""
    frame = store.frame(
        "SELECT course_id, answers FROM fills WHERE outcome = $outcome "
        "AND window_days = $window_days ORDER BY course_id",
        {"outcome": name, "window_days": window},
    )
    answers = frame["answers"].list.to_array(TIMES).to_numpy().astype(float)
    return Fills(frame["course_id"].to_numpy().astype(str), answers.T)


def estimate_rates(store: Store, settings: Settings, known: Known) -> list[dict]:
    """Give the headline of every outcome, window, grouping and level that is shown."""
    courses, rows = known.courses, []
    place = {name: at for at, name in enumerate(courses["course_id"].to_list())}
    counted = store.records(
        'SELECT outcome, window_days, "grouping", level, yes + "no" AS known, '
        'yes + "no" < closed AS is_open FROM rates '
        # of a level of which nothing is known, only the others would speak
        'WHERE closed >= $min_shown AND yes + "no" > 0',
        {"min_shown": settings.min_shown},
    )
    questions: dict[tuple[str, int], list[dict]] = {}
    for row in counted:
        questions.setdefault((row["outcome"], row["window_days"]), []).append(row)
    for (name, window), asked in questions.items():
        if OUTCOMES[name].curve == "none":
            continue
        is_open = any(row["is_open"] for row in asked)
        if is_open and not _supported(courses, name, window):
            continue
        fills = read_fills(store, name, window)
        part = courses[[place[course] for course in fills.course_id.tolist()]]
        cluster = part["cluster"].to_numpy()
        levels = {row["grouping"]: part[row["grouping"]].to_numpy() for row in asked}
        for row in asked:
            some = levels[row["grouping"]] == row["level"]
            share = filled_share(fills.answers[:, some], cluster[some], row["known"])
            rows.append({**row, **_told(share)})
    return rows


def _supported(courses: pl.DataFrame, name: str, window: int) -> bool:
    """Tell whether enough queens were seen so late for a state on a day to be told."""
    if OUTCOMES[name].curve != "state":
        return True
    return int((days_of(courses, "alive_day") >= window).sum()) >= WATCHED


def _told(share: FilledShare) -> dict[str, float | None]:
    """Give no figure where more than half of what it rests on is not known."""
    told = {
        "estimate": share.estimate,
        "estimate_low": share.low,
        "estimate_high": share.high,
    }
    unsure = not share.unsettled <= 0.5
    return {k: None if unsure or np.isnan(v) else float(v) for k, v in told.items()}
