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
from queen_outcomes.facts.exports.outcomes import OVERLOOKED
from queen_outcomes.facts.outcomes import OUTCOMES, Outcome, outcome_named
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.signs import (
    Known,
    days_of,
    overlooked_by,
    overlooking,
)
from queen_outcomes.stats.histories.chain import GONE, REPLACED, TAKEN
from queen_outcomes.stats.histories.fit import (
    PAIR,
    begin_filling,
    even,
    fit_histories,
)
from queen_outcomes.stats.histories.passes import Histories
from queen_outcomes.stats.histories.shares import FilledShare, filled_share

TIMES = 20
"""Fillings of all that is not known: outcomes, and with them gaps in factors."""
FEW_COURSES = 300
"""Of fewer courses a process takes longer to start than the work does."""
HELD_BYTES, COURSE_BYTES = 4e8, 8e3
"""What a worker takes: what it has loaded, and for each course of the station. One that
worked on 100,000 courses took 1.0 GB."""
ENDS = {"dead": GONE, "missing": GONE, "superseded": REPLACED, "culled_fault": TAKEN}
SCORED = 2**17
"""Where chance is taken from for a pattern nobody scored."""
LAST, FIRST = "last", "first"
"""Inseminations of a course that windows may begin with."""
WATCHED = 10
"""Courses seen on a window's last day or later, for a state on that day to be told."""


@dataclass(frozen=True, eq=False)
class Filling:
    """Fillings under way.

    Attributes
    ----------
    known : Known
    overlooked : float
        The share of looks that miss brood, as learned from the looks.
    tasks, supposed : list of Task
        As `begin_filling` gives them; ``supposed`` has one for each of `OVERLOOKED`.
    workers : Workers
    """

    known: Known
    overlooked: float
    tasks: list[Task]
    supposed: list[Task]
    workers: Workers


def beside_for(workers: Workers | None, courses: int) -> Workers:
    """Give who works beside on so many courses: nobody on few, nor where memory is short."""
    if workers is None or courses < FEW_COURSES:
        return Workers(1)
    fitting = workers.memory // (HELD_BYTES + COURSE_BYTES * courses)
    if fitting < 1:
        workers.rest()  # even idle they hold what they have loaded
        return Workers(1)
    if fitting < workers.count:
        workers.at_most(int(fitting))
    return workers


def begin_fills(known: Known, beside: Workers) -> Filling:
    """Learn the histories, and begin to fill them in; ``beside`` as `beside_for` gives it."""
    if not known.courses.height:
        return Filling(known, np.nan, [], [], beside)
    model = fit_histories(known.seen)
    words = known.courses["cluster"].to_numpy()
    clusters = np.unique(words, return_inverse=True)[1]
    signs = [overlooking(known.seen.signs, by / 100) for by in OVERLOOKED]
    given = known.seen, model, known.keys, clusters
    tasks = begin_filling(*given, TIMES, beside, signs)
    return Filling(known, overlooked_by(model.signs), *tasks, beside)


def write_fills(store: Store, settings: Settings, filling: Filling) -> None:
    """Write fills, one row a closed course, outcome, window and clock; and overlooked.

    ``answers`` holds 1 yes and 0 no for each filling, and null where she had not laid in
    it and so was not at risk. Windows begin with a course's last insemination, and once
    more (clock `FIRST`) with its first. A state on a day that hardly a queen was seen on
    has no rows. `overlooked` has a row an outcome and window: by how much its share of
    yes would be another, were brood overlooked by more or fewer looks.
    """
    known, frames = filling.known, []
    courses, grace = known.courses, settings.outcomes.grace_days
    pairs = filling.workers.results(filling.tasks)
    filled = [drawn for pair in pairs for drawn in pair]
    supposed = filling.workers.results(filling.supposed)
    shifts: list[dict] = []
    for name, window in settings.outcomes.windows if filled else ():
        if not _is_told(store, courses, name, window):
            continue
        for clock, later in ((LAST, 0), (FIRST, days_of(courses, "first_days"))):
            until = window - later
            asked = asked_of(courses, name, until, grace)
            question = (name, window)
            answers = _answers(known, filled, question, until)[:, asked]
            frames.append(_frame(courses, (name, window, clock), asked, answers))
            if clock == LAST and asked.any():
                others = [
                    _answers(known, pair, question, until)[:, asked]
                    for pair in supposed
                ]
                shares = [_share(other) - _share(answers[:PAIR]) for other in others]
                found = {"outcome": name, "window_days": window, "by": shares}
                shifts.append(found | {"learned": filling.overlooked})
    ids = {"course_id": pl.String, "outcome": pl.String, "window_days": pl.Int64}
    last = {"clock": pl.String, "answers": pl.List(pl.Int8)}
    empty = pl.DataFrame(schema={**ids, **last})
    with store.lent("written", pl.concat([empty, *frames])):
        order = "outcome, window_days, clock, course_id"
        store.table("fills", f"SELECT * FROM written ORDER BY {order}")
    kinds = {"outcome": pl.String, "window_days": pl.Int64, "learned": pl.Float64}
    moved = pl.DataFrame(shifts, schema=kinds | {"by": pl.List(pl.Float64)})
    with store.lent("written", moved):
        store.table("overlooked", "SELECT * FROM written ORDER BY outcome, window_days")


def _share(answers: np.ndarray) -> float:
    """Give the share of yes of those at risk."""
    at_risk = np.isfinite(answers)
    return float(answers[at_risk].mean()) if at_risk.any() else np.nan


def _answers(known: Known, filled: list[Histories], question, until) -> np.ndarray:
    """Read an outcome's window off the fillings, (fillings, n), ``until`` a day."""
    name, window = question
    pairs = zip(filled, _good(known, filled, window), strict=True)
    outcome = outcome_named(name)
    return np.array([answer(outcome, until, drawn, good) for drawn, good in pairs])


def _frame(courses, place: tuple[str, int, str], asked, answers) -> pl.DataFrame:
    name, window, clock = place
    whole = np.where(np.isnan(answers), -1, answers).astype(np.int8).T
    listed = pl.Series("answers", whole).cast(pl.List(pl.Int8))
    return courses.filter(asked).select(
        "course_id",
        outcome=pl.lit(name),
        window_days=pl.lit(window, pl.Int64),
        clock=pl.lit(clock),
        answers=listed.list.eval(pl.when(pl.element() >= 0).then(pl.element())),
    )


def asked_of(courses: pl.DataFrame, name: str, window, grace: int) -> np.ndarray:
    """Tell of which courses an outcome is asked: closed, and marked where that matters.

    ``window`` is in days from the last insemination, one for all or each course's own.
    """
    event = OUTCOMES[name].event
    closed = courses["watched_days"].to_numpy() >= window + grace
    if event and event.only_marked:
        closed &= courses["is_marked"].fill_null(False).to_numpy()
    return closed


def answer(outcome: Outcome, window, history: Histories, good) -> np.ndarray:
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


def _good(known: Known, filled: list[Histories], window: int) -> np.ndarray:
    """Tell whether her last pattern is good, or would be, (fillings, n).

    Who was watched keeps her last score; who left before, or was never scored, is scored
    once more, as a queen scored until she was good, and sold then, may not be so good.
    Where an outcome asks for no pattern any answer does.
    """
    if window not in known.last_good:
        return np.ones((len(filled), known.courses.height), bool)
    last, again = known.last_good[window], known.again_good[window]
    scored = np.isfinite(last)
    in_hand = known.courses["exit_day"].is_not_null().to_numpy()
    kept = scored & ~in_hand
    drawn = [even(known.keys, k, SCORED) < again for k in range(len(filled))]
    return np.where(kept, last == 1, np.array(drawn))


def read_fills(
    store: Store,
    question: tuple[str, int],
    ids: np.ndarray,
    *,
    from_first: bool = False,
) -> np.ndarray:
    """Read the fillings of an outcome and window.

    Parameters
    ----------
    store : Store
    question : tuple of str and int
    ids : ndarray of str, shape (n,)
        Courses, in code point order.
    from_first : bool
        By the clock of a course's first insemination.

    Returns
    -------
    ndarray, shape (m, n)
        1 yes, 0 no, nan not at risk. Without rows (m = 0) where the outcome of the
        unsettled cannot be told.
    """
    outcome, days = question
    clock = FIRST if from_first else LAST
    frame = store.frame(
        "SELECT course_id, answers FROM fills WHERE outcome = $outcome "
        "AND window_days = $window_days AND clock = $clock",
        {"outcome": outcome, "window_days": days, "clock": clock},
    )
    if not frame.height:
        return np.empty((0, len(ids)))
    times = len(frame["answers"][0])
    found = np.full((times, len(ids)), np.nan)
    some = frame["course_id"].to_numpy().astype(str)
    there = np.isin(some, ids)
    answers = frame["answers"].list.to_array(times).to_numpy().astype(float)
    found[:, np.searchsorted(ids, some[there])] = answers[there].T
    return found


def estimate_rates(store: Store, settings: Settings, known: Known) -> list[dict]:
    """Give the headline of every outcome, window, grouping and level that is shown."""
    courses, rows = known.courses, []
    ids = courses["course_id"].to_numpy().astype(str)
    counted = store.records(
        'SELECT outcome, window_days, "grouping", level, yes + "no" AS known FROM rates '
        # of a level of which nothing is known, only the others would speak
        'WHERE closed >= $min_shown AND yes + "no" > 0',
        {"min_shown": settings.min_shown},
    )
    nobody = np.zeros(0, int)
    questions: dict[tuple[str, int], list[dict]] = {}
    for row in counted:
        questions.setdefault((row["outcome"], row["window_days"]), []).append(row)
    for (name, window), asked in questions.items():
        if OUTCOMES[name].curve == "none":
            continue
        answers = read_fills(store, (name, window), ids)
        if not len(answers):
            continue
        kept = np.isfinite(answers).any(axis=0)
        part, answers = courses.filter(kept), answers[:, kept]
        cluster = part["cluster"].to_numpy()
        members = {name: _members(part, name) for name in {r["grouping"] for r in asked}}
        for row in asked:
            some = members[row["grouping"]].get(row["level"], nobody)
            share = filled_share(answers[:, some], cluster[some], row["known"])
            rows.append({**row, **_told(share)})
    return rows


def _members(courses: pl.DataFrame, grouping: str) -> dict[str, np.ndarray]:
    """Give the rows of each level of a grouping: a network has thousands of batches."""
    numbered = courses.select(grouping).with_row_index("row")
    return {
        level: some["row"].to_numpy() for (level,), some in numbered.group_by(grouping)
    }


def _is_told(store: Store, courses: pl.DataFrame, name: str, window: int) -> bool:
    """Tell whether enough queens were seen so late for a state on a day to be told.

    So it is too where the records settle every course.
    """
    is_open = store.rows(
        "SELECT 1 FROM outcomes WHERE outcome = $outcome AND window_days = $window_days "
        "AND closed AND state NOT IN ('yes', 'no') LIMIT 1",
        {"outcome": name, "window_days": window},
    )
    if OUTCOMES[name].curve != "state" or not is_open:
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
