"""What the records of each course rule out, and what its looks tell, for its history.

Reads histories, findings and course_factors, and gives `SeenCourses`, on which the chain of
`stats/histories` learns. The trade's part of it stands here and in those SQL files: for
how long brood outlives a queen, which exits show her alive, what a second insemination
says. How likely a look is to find her, her mark or her brood is learned from the looks;
the chances below are where learning starts, and how many looks they count for.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
from scipy.sparse import csr_array, hstack

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import THERE_REASONS
from queen_outcomes.stats.histories.chain import (
    DRONE,
    FINE,
    GONE,
    MEAN_QUALITY,
    QUALITIES,
    REPLACED,
    STATES,
    TAKEN,
    WAITING,
    WORKING,
    DaySteps,
    FactorColumns,
    SeenCourses,
    Sign,
)

DAYS = (
    *range(31),
    *(
        33,
        36,
        40,
        45,
        50,
        55,
        60,
        67,
        75,
        82,
        90,
        97,
        115,
        145,
        190,
        240,
        300,
        365,
        800,
    ),
)
"""Days at which states are told; every window and its close are added."""
LATE = 11
"""From this day on, beginning to lay counts as late."""
WRITTEN_DAYS = 14
"""An end that is to be written down is so within this time; a judgement."""
FEWEST = 10
"""Courses of a level; those with fewer are pooled."""
FEW_PAIRS = 30
"""Scores that follow on others, below which a last score stands for the next."""
NUMBER, WORD = 1.0, 2.0
"""By how much a factor's slope is pulled to none, in events, for one deviation of a
number and for a level of a word."""
BENT = ("drone_age", "queen_age")
"""Numbers with a best in the middle, which enter squared too."""
FIXED = np.inf
UNSEEN = 0.003
"""Least chance that a supersedure which nobody saw is written down all the same."""
IN_HAND = ("sold", "sampled", "culled_other")
"""Exits for which somebody takes hold of a queen, and sees which one it is."""

EXIT = Sign(
    np.array([(1.0, 1.0), (0.25, 0.75), (0.4, 0.6)]),
    (0, 0, 0, 1, 2, 0),
    np.array([FIXED, 10, 10]),
)
SIGNS = {
    # findings: none, with eggs, without eggs
    "brood": Sign(
        np.array(
            [(0.98, 0.01, 0.01), (0.03, 0.93, 0.04), (0.25, 0.65, 0.1), (1, 0.02, 0.9)]
        ),
        (0, 1, 1, 3, 2, 3),
        np.array([100, 30, 20, FIXED]),
    ),
    # the first brood was young: she had hardly begun earlier
    "young": Sign(
        np.array([(1.0,), (0.03,)]), (0, 1, 1, 0, 1, 0), np.array([FIXED, FIXED])
    ),
    # no, yes
    "queen": Sign(
        np.array([(0.3, 0.7), (0.25, 0.75), (0.45, 0.55), (1.0, 0.003)]),
        (0, 1, 1, 3, 2, 3),
        np.array([20, 20, 20, FIXED]),
    ),
    # of a queen seen, known to be marked: not noted, hers, not hers
    "mark": Sign(
        np.array([(0.15, 0.849, 0.001), (0.3, 0.005, 0.695), (1.0, 1.0, 1.0)]),
        (0, 0, 0, 2, 1, 2),
        np.array([300, 30, FIXED]),
    ),
    # none, few, many
    "drones": Sign(
        np.array([(0.95, 0.049, 0.001), (0.08, 0.27, 0.65), (1.0, 1.0, 1.0)]),
        (0, 0, 1, 2, 0, 2),
        np.array([300, 20, FIXED]),
    ),
    # an end's exit: not written down, written down
    "exit": EXIT,
    # the same of a marked queen where nobody saw one without the mark
    "exit unseen": EXIT,
}
STRETCHES = (3, 10, 17, 27, 45, 75, 120, 200, 365)
"""Days between which it is asked whether anybody looked: whose queen is gone may be looked
at less, and then a course without looks tells something."""
for _from, _to in pairwise(STRETCHES):
    # not looked at, looked at; her daughter's colony looks like hers from outside
    SIGNS[f"looked {_from} to {_to}"] = Sign(
        np.full((2, 2), 0.5), (0, 0, 0, 1, 0, 1), np.full(2, 20.0), alike=True
    )
PLACE = {name: number for number, name in enumerate(SIGNS)}


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of every course, in the order of the ids.

    Attributes
    ----------
    courses : DataFrame
        `histories`.
    seen : SeenCourses
    keys : ndarray of uint64, shape (n,)
        Of each course's id.
    last_good : dict of int to ndarray, shape (n,)
        By window: 1 or 0 by her last score up to its close; nan without any.
    again_good : dict of int to ndarray, shape (n,)
        By window: chance that one more score of hers, on its last day, would be good.
    """

    courses: pl.DataFrame
    seen: SeenCourses
    keys: np.ndarray
    last_good: dict[int, np.ndarray]
    again_good: dict[int, np.ndarray]


def overlooking(signs: tuple[Sign, ...], chance: float) -> tuple[Sign, ...]:
    """Give the signs were the brood of a working queen overlooked by so many looks.

    The brood they see is with eggs, and without, in the proportion learning starts from.
    """

    def brood(sign: Sign) -> Sign:
        chances, weight = sign.chances.copy(), sign.weight.copy()
        row = sign.row[WORKING]
        seen = chances[row, 1:] / chances[row, 1:].sum()
        chances[row] = (chance, *((1.0 - chance) * seen))
        weight[row] = FIXED
        return replace(sign, chances=chances, weight=weight)

    at = list(SIGNS).index("brood")
    return (*signs[:at], brood(signs[at]), *signs[at + 1 :])


def overlooked_by(signs: tuple[Sign, ...]) -> float:
    """Give the chance that a look at a working queen finds no brood."""
    brood = signs[list(SIGNS).index("brood")]
    return float(brood.chances[brood.row[WORKING], 0])


def histories_given() -> dict[str, Any]:
    """Give the parameters of `histories.sql`."""
    return {"there_reasons": list(THERE_REASONS)}


def read_known(store: Store, settings: Settings) -> Known:
    """Read what was seen of every course.

    Parameters
    ----------
    store : Store
        Derived, and with course_groups.
    settings : Settings
    """
    rules = settings.outcomes
    sql = resources.read("sql", "05_rates", "histories.sql")
    courses = store.frame(sql, histories_given())
    looks = store.frame(
        resources.read("sql", "05_rates", "findings.sql"),
        {
            "hatch_days": rules.hatch_days,
            "seal_days": rules.seal_days,
            "emerge_days": rules.emerge_days,
        },
    )
    ids = courses["course_id"].to_numpy().astype(str)
    # ids in the order of the frames, which the database sorted by code point
    place = {name: number for number, name in enumerate(ids.tolist())}
    course = np.array([place[name] for name in looks["course_id"].to_list()], int)
    # by then: only looks up to the day of which the courses tell
    by_then = days_of(looks, "day") <= days_of(courses, "watched_days")[course]
    looks, course = looks.filter(by_then), course[by_then]
    windows = {days for _, days in rules.windows}
    days = sorted({*DAYS, *windows, *(days + rules.grace_days for days in windows)})
    steps = DaySteps(np.array(days), days.index(LATE))
    table = store.frame(resources.read("sql", "05_rates", "course_factors.sql"))
    score = looks["pattern_pct"].to_numpy().astype(float)
    day, n, window = days_of(looks, "day"), len(ids), max(rules.established_days)
    scored = np.isfinite(score)
    scores = course[scored], day[scored], score[scored]
    quality = _quality(*scores, window)
    good, again = {}, {}
    for until in sorted({*rules.established_days, *rules.pattern_days}):
        close = until + rules.grace_days
        told = _pattern_by(scores, n, (until, close), rules.pattern_good_pct)
        good[until], again[until] = told
    known = _known_by_step(steps, course[scored], day[scored], quality, n)
    found = _findings(steps, courses, looks, course)
    seen = SeenCourses(
        steps,
        _ruled_out(steps, courses),
        *found,
        _signs(courses, looks, course),
        factor_columns(table),
        tuple(_codes(table[name]) for name in ("graft_batch", "semen_batch")),
        known,
    )
    keys = np.array([zlib.crc32(name.encode()) for name in ids.tolist()], np.uint64)
    return Known(courses, seen, keys, good, again)


def _signs(courses, looks, course) -> tuple[Sign, ...]:
    """Give the signs that learning starts from.

    Where supersedures are written down by who saw a queen without the mark, nobody writes
    down one that nobody saw: that no exit was written is then no sign that she is there.
    Some come to light all the same when somebody wants to sell the queen. Whose turn that
    was is not among those without an exit, so as many as are taken hold of anyway tell
    nothing of the others.
    """
    marked, strangers = _strangers(courses, looks, course)
    reason = courses["exit_reason"].fill_null("").to_numpy().astype(str)
    told = (reason == "superseded") & marked
    by_sight = strangers[told].mean() if told.any() else float(strangers.any())
    held = np.isin(reason, IN_HAND)[marked].mean() if marked.any() else 0.0
    at = EXIT.row[REPLACED]
    chances, weight = EXIT.chances.copy(), EXIT.weight.copy()
    written = chances[at, 1] * (1.0 - by_sight)
    written = max((written - held) / max(1.0 - held, UNSEEN), UNSEEN)
    chances[at] = 1.0 - written, written
    if written == UNSEEN:
        weight[at] = FIXED  # else it would be learned from those that were taken hold of
    signs = SIGNS | {"exit unseen": replace(EXIT, chances=chances, weight=weight)}
    return tuple(signs.values())


def _strangers(courses, looks, course) -> tuple[np.ndarray, np.ndarray]:
    """Give which queens are marked, and where of such a one without the mark was seen."""
    marked = courses["is_marked"].fill_null(False).to_numpy()
    strange = days_of(looks, "mark") == 0
    seen = np.bincount(course[strange], minlength=courses.height) > 0
    return marked, marked & seen


def _codes(words: pl.Series) -> np.ndarray:
    return np.unique(words.to_numpy().astype(str), return_inverse=True)[1]


def days_of(frame: pl.DataFrame, column: str) -> np.ndarray:
    """Give a column as floats, nan for null."""
    return frame[column].cast(pl.Float64).to_numpy()


def factor_columns(table: pl.DataFrame) -> FactorColumns:
    """Give columns of numbers, and of words' levels.

    A number that is missing stands at the mean; a level with few courses goes with the
    others of its kind.
    """
    numbers, levels = [], []
    for name in table.columns[1:]:
        if name.endswith("_batch"):
            continue
        if table[name].dtype.is_numeric():
            x = days_of(table, name)
            known = np.isfinite(x)
            if known.sum() < FEWEST or not x[known].std() > 0:
                continue
            x = np.where(known, (x - x[known].mean()) / x[known].std(), 0.0)
            numbers += [x, x**2 - (x**2).mean()] if name in BENT else [x]
        else:
            words = table[name].to_numpy().astype(str)
            named, codes, count = np.unique(
                words, return_inverse=True, return_counts=True
            )
            kept = np.flatnonzero((count >= FEWEST) & (count < table.height))
            place = np.full(len(named), -1)
            place[kept] = np.arange(len(kept))
            rows = np.flatnonzero(place[codes] >= 0)
            cells = np.ones(len(rows)), (rows, place[codes[rows]])
            levels.append(csr_array(cells, shape=(table.height, len(kept))))
    columns = np.column_stack([np.zeros((table.height, 0)), *numbers])
    found = hstack([csr_array((table.height, 0)), *levels], format="csr")
    pulls = np.repeat([NUMBER, WORD], [columns.shape[1], found.shape[1]])
    return FactorColumns(columns, found, pulls)


def _quality(course, day, score, window) -> np.ndarray:
    """Give her quality by each score and those before, (k,), by scores in order.

    Quality is what one more score would be, in deviations of first scores from their mean:
    who is not scored yet is one whose first score is still to come, so that she stands at
    0, and has no level of her own. Later scores are of a choice, since the good ones are
    sold by the first.
    """
    if len(score) < FEWEST:
        return np.zeros(len(score))
    middle, _ = _one_more((course, day, score), window, np.inf)
    usual = middle[_firsts(course)]
    return (middle - usual.mean()) / max(usual.std(), 1.0)


def _pattern_by(scores, n: int, window: tuple[int, int], good_pct: float):
    """Give whether her pattern is good by a window's close, and the chance that it would be.

    A score that comes later tells of an older queen: by it the share of good ones would
    sink with every week that a station watches, though the window closed long ago. Who has
    none by the close is not known; the first one after it tells what it would have been.

    Parameters
    ----------
    scores : tuple of ndarray, each of shape (k,)
        Course, day and score, course by course and by days.
    n : int
        Courses.
    window : tuple of int
        Its last day, and its close.
    good_pct : float

    Returns
    -------
    last, again : ndarray, shape (n,)
        As in `Known`. Who was never scored has the mean chance.
    """
    course, day, score = scores
    last, again = np.full(n, np.nan), np.full(n, 1.0)
    if not len(score):
        return last, again
    until, close = window
    start = np.flatnonzero(_firsts(course))
    count = np.add.reduceat((day <= close).astype(int), start)
    final = start + np.maximum(count - 1, 0)
    by_close = final[count > 0]
    last[course[by_close]] = score[by_close] >= good_pct
    if len(score) < FEWEST:
        return last, again
    middle, stray = _one_more(scores, until, close)
    chance = 1 - np.searchsorted(stray, good_pct - 0.5 - middle[final]) / len(stray)
    again[:] = chance.mean()
    again[course[final]] = chance
    return last, again


def _firsts(course) -> np.ndarray:
    return np.append(True, course[1:] != course[:-1])


def _one_more(scores, window, close):
    """Give what one more score after each would be, and how others strayed from that, sorted.

    Learned from scores that follow on others: from the one before, the mean of all before
    and the days between; from those up to ``close`` alone, where there are enough. Her
    last score flatters where a queen is scored until she is good, and then sold; as that
    is done by the scores before, it does not bend this rule as it bends how scores rise
    with the days.
    """
    course, day, y = scores
    x, first = np.log(np.maximum(day, 1.0)), _firsts(course)
    start = np.maximum.accumulate(np.where(first, np.arange(len(y)), 0))
    total = np.append(0.0, np.cumsum(y))
    mean = (total[1:] - total[start]) / (np.arange(len(y)) - start + 1)
    told = np.column_stack([np.ones(len(y)), y, mean])
    follows = np.flatnonzero(~first)
    by_then = follows[day[follows] <= close]
    if len(by_then) >= FEW_PAIRS:
        follows = by_then
    if len(follows) < FEW_PAIRS:
        return y, np.zeros(1)
    gap = (x[follows] - x[follows - 1])[:, None]
    Z = np.column_stack([told[follows - 1], gap])
    pull = np.diag([0.0, 1.0, 1.0, 1.0])
    rule = np.linalg.solve(Z.T @ Z + pull, Z.T @ y[follows])
    to_go = np.maximum(np.log(window) - x, 0.0)[:, None]
    stray = np.sort(y[follows] - Z @ rule)
    return np.column_stack([told, to_go]) @ rule, stray


def _known_by_step(steps: DaySteps, course, day, quality, n: int) -> np.ndarray:
    """Give codes of the quality known at each step's begin, (g, n), by scores in order.

    A score acts from the first step that begins on its day or later: until then a queen
    that was to be scored cannot have ended, and what acted on those days would make those
    that are scored well, and sold, look as if they lived longer for it.
    """
    found = np.zeros((len(steps.days) + 2, n), np.int16)  # 0: as before
    at = np.searchsorted(steps.days, day) + 1
    code = np.rint(quality * FINE) + MEAN_QUALITY
    found[at, course] = np.clip(code, 0, len(QUALITIES) - 1) + 1  # the last one stays
    now = np.full(n, MEAN_QUALITY + 1, np.int16)
    for row in found:
        np.copyto(now, row, where=row > 0)
        row[:] = now
    return (found[: len(steps.days)] - 1).astype(np.uint8)


def _ruled_out(steps: DaySteps, courses: pl.DataFrame) -> np.ndarray:
    """Give what exits and further inseminations rule out, (steps, states, courses)."""
    n = courses.height
    out = np.zeros((len(steps.days), len(STATES), n), bool)
    reason = courses["exit_reason"].fill_null("").to_numpy().astype(str)
    left, anew = days_of(courses, "exit_day"), days_of(courses, "next_day")
    behind, watched = days_of(courses, "end_behind"), days_of(courses, "watched_days")
    unlaid = np.isfinite(anew) & np.isnan(days_of(courses, "onset_by"))
    ends = (GONE, REPLACED, TAKEN)

    def rule(states, rows, step) -> None:
        rows = np.flatnonzero(rows)
        for state in states:
            out[step[rows], state, rows] = True

    def only(state, rows, day) -> None:
        rule(set(range(len(STATES))) - {state}, rows, steps.behind(day))

    nobody = np.zeros(n)
    day = np.where(np.isnan(left), nobody, left)
    lost = np.isin(reason, ("dead", "missing"))
    only(GONE, lost, day)
    only(REPLACED, reason == "superseded", day)
    # found dead is dead since then; since when one is missing the looks must tell
    found = (reason == "dead") & (behind >= 0)
    rule(ends, found, steps.before(np.nan_to_num(behind)))
    taken = np.isin(reason, ("culled_fault", "drone_layer"))
    only(TAKEN, taken, day)
    rule(ends, taken & (day > 0), steps.before(day - 1))
    was = np.maximum(steps.behind(day) - 1, 0)
    rule((WAITING, WORKING), reason == "drone_layer", was)
    rule(ends, np.isin(reason, THERE_REASONS) & ~taken, steps.before(day))
    # inseminated anew without brood of hers: this course has failed
    next_day = np.where(np.isnan(anew), nobody, anew)
    only(TAKEN, unlaid, next_day)
    rule(ends, unlaid, steps.before(next_day - 1))
    rule((WORKING, DRONE), unlaid, np.maximum(steps.behind(next_day) - 1, 0))
    rule((GONE, REPLACED), np.isfinite(anew) & ~unlaid, steps.before(next_day))
    # somebody takes her out, and writes it down: nobody did, so she was not
    until = np.fmin(np.fmin(left, anew), watched)
    rule((TAKEN,), ~taken & ~unlaid, steps.before(until))
    return out


class _Findings:
    """Findings gathered sign by sign: course, sign, finding and step by state."""

    def __init__(self) -> None:
        self._parts: list[tuple[np.ndarray, ...]] = []

    def add(self, name, who, rows, finding, at) -> None:
        """Add what some rows find of the courses they tell of."""
        if at.ndim == 1:
            at = np.repeat(at[:, None], len(STATES), axis=1)
        sign = np.full(int(rows.sum()), PLACE[name], np.int8)
        # narrow: a network of stations has millions of findings
        whose, told = who[rows].astype(np.int32), finding[rows].astype(np.int8)
        self._parts.append((whose, sign, told, at[rows].astype(np.int16)))

    def joined(self) -> tuple[np.ndarray, ...]:
        """Give all of them, course by course."""
        parts = [np.concatenate(part) for part in zip(*self._parts, strict=True)]
        order = np.argsort(parts[0], kind="stable")
        return tuple(part[order] for part in parts)


def _findings(steps: DaySteps, courses, looks, course):
    """Give the looks' findings: course, sign, finding and step by state."""
    found, day = _Findings(), days_of(looks, "day")
    marked, strangers = _strangers(courses, looks, course)
    _add_looks(found, steps, looks, course, marked[course])
    _add_exits(found, steps, courses, marked & ~strangers)
    who = np.arange(courses.height)
    left = np.fmin(days_of(courses, "exit_day"), days_of(courses, "next_day"))
    until = np.fmin(left, days_of(courses, "watched_days"))
    for start, stop in pairwise(STRETCHES):
        inside = course[(day > start) & (day <= stop)]
        looked = np.bincount(inside, minlength=courses.height) > 0
        step = np.full(courses.height, steps.before(start))
        found.add(f"looked {start} to {stop}", who, until > stop, looked, step)
    return found.joined()


def _add_looks(found: _Findings, steps: DaySteps, looks, course, marked) -> None:
    """Add what each look found; ``marked``: whether her queen is known to be."""
    day = days_of(looks, "day")
    before, behind = steps.before(day), steps.behind(day)
    brood = days_of(looks, "brood")
    older, fresh = (
        np.nan_to_num(days_of(looks, c)) for c in ("older_days", "fresh_days")
    )
    at = np.repeat(np.where(brood > 0, before, behind)[:, None], len(STATES), axis=1)
    at[:, WAITING] = np.where(brood > 0, steps.behind(day - older), behind)
    for state in (GONE, TAKEN):
        at[:, state] = np.where(brood > 0, steps.before(day - fresh), behind)
    found.add("brood", course, np.isfinite(brood), brood, at)
    young = days_of(looks, "young_by")
    none = np.zeros(len(day))
    found.add("young", course, young > 0, none, steps.before(np.nan_to_num(young)))
    queen = days_of(looks, "queen_seen")
    seen = np.where(queen == 1, before, behind)
    found.add("queen", course, np.isfinite(queen), queen, seen)
    mark = days_of(looks, "mark")
    told = np.where(np.isnan(mark), 0, np.where(mark == 1, 1, 2))
    at = np.where(mark == 0, behind, before)
    found.add("mark", course, (queen == 1) & marked, told, at)
    drones = days_of(looks, "drones")
    at = np.where(drones > 0, behind, before)
    found.add("drones", course, np.isfinite(drones), drones, at)


def _add_exits(found: _Findings, steps: DaySteps, courses, unseen) -> None:
    """Add whether an end was written down; ``unseen``: no stranger in a marked one's place."""
    who = np.arange(courses.height)
    reason = courses["exit_reason"].fill_null("").to_numpy().astype(str)
    told = np.isin(reason, ("dead", "missing", "superseded"))
    exit_day = days_of(courses, "exit_day")
    left = np.fmin(exit_day, days_of(courses, "next_day"))
    until = days_of(courses, "watched_days") - WRITTEN_DAYS
    at = np.where(told, steps.behind(np.nan_to_num(exit_day)), steps.before(until))
    rows = told | (np.isnan(left) & (until >= 0))
    found.add("exit", who, rows & ~unseen, told, at)
    found.add("exit unseen", who, rows & unseen, told, at)
