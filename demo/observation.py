"""What a checker writes down, derived from what is truly in the colony."""

from __future__ import annotations

import numpy as np

from demo.biology import Columns
from demo.fates import CODE, NEVER
from demo.truth import Truth

SPRING = (300, 365)  # days after d0 between which the last look falls
YES, NO, EMPTY = 1, 0, -1


def plan_looks(
    truth: Truth, c: Columns, cutoff: np.datetime64, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Course and day of every look that took place, in course and day order.

    Looks stop when the station stopped watching, and at ``cutoff``; some are
    missed or late, and some are repeated next day by a second person.
    """
    n, planned = len(c["d0"]), np.array(truth.check_days)
    spread = np.array([1.0 if d < 30 else 2.0 + d / 30 for d in planned])
    day = planned + np.rint(rng.standard_normal((n, len(planned))) * spread)
    day += (rng.random(day.shape) < truth.check_late) * rng.integers(3, 9, day.shape)
    # nobody opens a hive before 5 April: day 459 from the season's new year
    april = (c["d0"].astype("M8[Y]").astype("M8[D]") - c["d0"]).astype(int) + 459
    low = np.clip(april, SPRING[0], SPRING[1] - 1)
    spring = rng.integers(low, SPRING[1])[:, None]
    day = np.hstack([day.astype(int), spring])
    kept = rng.random(day.shape) >= truth.check_missed
    kept &= day >= np.maximum(c["placed_day"], 2)[:, None]
    kept &= day <= c["watched_until"][:, None]
    kept &= c["d0"][:, None] + day.astype("m8[D]") <= cutoff
    course, column = np.nonzero(kept)
    t = day[course, column]
    again = (rng.random(len(t)) < 0.02) & (t + 1 <= c["watched_until"][course])
    again &= c["d0"][course] + (t + 1).astype("m8[D]") <= cutoff
    course = np.concatenate([course, course[again]])
    t = np.concatenate([t, t[again] + 1])
    rows = np.lexsort((t, course))
    return course[rows], t[rows]


def foreign_brood(c: Columns, rng: np.random.Generator) -> Columns:
    """Brood of other queens: in the nucleus at placing, or given at a check."""
    n = len(c["d0"])
    u = rng.random(n)
    at_placing, at_check = u < 0.03, (u >= 0.03) & (u < 0.05)
    day = np.where(at_placing, c["placed_day"], NEVER)
    day = np.where(at_check, rng.integers(6, 9, n), day)
    return {"foreign_day": day, "brood_at_placing": at_placing}


def true_state(
    course: np.ndarray, t: np.ndarray, c: Columns, rng: np.random.Generator
) -> Columns:
    """What is in the colony on each look: brood stages and whose queen."""
    gone = np.isin(c["end_reason"], [CODE["dead"], CODE["missing"],
                                     CODE["superseded"]])  # fmt: skip
    stop = np.where(gone, c["end_day"], NEVER)[course]
    onset = c["onset_day"][course]
    replaced = (c["end_reason"] == CODE["superseded"])[course]
    given = t - c["foreign_day"][course]
    heir = np.where(replaced, t - stop - 14, -1)
    slow = rng.integers(0, 2, len(t))
    stages = {}
    for name, starts, lasts in (("eggs", 0, 3), ("larvae", 3, 9),
                                ("sealed", 8 + slow, 21)):  # fmt: skip
        hers = (t >= onset + starts) & (t < stop + lasts) & (onset < stop)
        foreign = (given >= 0) & (given < lasts)
        stages[name] = hers | foreign | (heir >= starts)
    workers = gone[course] & ~replaced & (t > stop + 26)
    workers &= rng.random(len(t)) < 0.4
    stages["eggs"] |= workers
    return stages | {
        "present": t < stop, "heir": replaced & (t >= stop + 5), "stop": stop,
        "laying_workers": workers, "replaced": replaced,
    }  # fmt: skip


def _look(
    true: np.ndarray, looked: float, wrong: float, rng: np.random.Generator
) -> np.ndarray:
    """Yes, no or empty: not always looked for, at times misread."""
    seen = true ^ (rng.random(len(true)) < wrong)
    return np.where(rng.random(len(true)) < looked, seen.astype(int), EMPTY)


def write_looks(truth: Truth, course: np.ndarray, t: np.ndarray, c: Columns,
                rng: np.random.Generator) -> Columns:  # fmt: skip
    """The fields of each check as codes (-1 empty, 0 no, 1 yes, or a level)."""
    n = len(t)
    s = true_state(course, t, c, rng)
    out = {
        "eggs": _look(s["eggs"], 0.96, truth.misjudged, rng),
        "larvae": _look(s["larvae"], 0.85, truth.misjudged / 2, rng),
        "sealed": _look(s["sealed"], 0.85, truth.misjudged / 2, rng),
    }
    there = s["present"] | s["heir"]
    out["queen_seen"] = _look(there & (rng.random(n) < 0.82), 0.85, 0.0, rng)
    seen = out["queen_seen"] == YES
    u = rng.random(n)
    own = seen & s["present"] & c["marked"][course]
    out["mark_seen"] = np.where(own & (u < 0.93), YES, EMPTY)
    misread = (own & (u > 0.997)) | (seen & s["heir"] & ~s["present"] & (u < 0.85))
    out["mark_seen"][misread] = NO
    sealed = out["sealed"] == YES
    out["pattern_pct"] = _pattern(truth, course, t, c, s, sealed, rng)
    out["drone_in_worker"] = _drone_brood(course, t, c, s, sealed, rng)
    out["multiple_eggs"] = np.where(
        s["laying_workers"], YES, np.where(rng.random(n) < 0.1, NO, EMPTY)
    )
    given = (t == c["foreign_day"][course]) & ~c["brood_at_placing"][course]
    out["brood_given"] = np.where(given, YES, np.where(rng.random(n) < 0.05, NO, EMPTY))
    out["queen_cells"] = _cells(course, t, c, s, rng)
    return out


def _pattern(truth: Truth, course: np.ndarray, t: np.ndarray, c: Columns,
             s: Columns, sealed: np.ndarray, rng: np.random.Generator
             ) -> np.ndarray:  # fmt: skip
    """Filled share of sealed cells (percent); NaN where it was not scored."""
    n = len(t)
    own = np.where(s["heir"], truth.pattern_mean, c["pattern_own"][course])
    turned = t > c["drone_layer_day"][course] + 9
    value = own + c["colony_effect"][course] - 25 * turned + rng.normal(0, 3, n)
    scored = sealed & (t >= 26) & (rng.random(n) < 0.8)
    return np.where(scored, np.clip(np.rint(value), 5, 99), np.nan)


def _drone_brood(course: np.ndarray, t: np.ndarray, c: Columns, s: Columns,
                 sealed: np.ndarray, rng: np.random.Generator
                 ) -> np.ndarray:  # fmt: skip
    """0 none, 1 few, 2 many drone cells among worker cells; -1 empty."""
    n = len(t)
    since = t - c["drone_layer_day"][course]
    level = np.where(rng.random(n) < 0.03, 1, 0)
    level = np.where(since > 12, 1 + (since > 18), level)
    level = np.where(s["laying_workers"], 2, np.where(s["heir"], 0, level))
    noted = (sealed & (rng.random(n) < 0.75)) | s["laying_workers"]
    return np.where(noted, level, EMPTY)


def _cells(course: np.ndarray, t: np.ndarray, c: Columns, s: Columns,
           rng: np.random.Generator) -> np.ndarray:  # fmt: skip
    """0 none, 1 supersedure, 2 swarm, 3 emergency cells; -1 empty."""
    u = rng.random(len(t))
    reason, end = c["end_reason"][course], c["end_day"][course]
    cells = np.where(u < 0.35, 0, EMPTY)
    near = (t >= end - 12) & (t <= end + 3)
    cells = np.where(s["replaced"] & near, 1, cells)
    cells = np.where((reason == CODE["swarmed"]) & (t >= end - 9), 2, cells)
    lost = (t >= s["stop"] + 2) & (t <= s["stop"] + 12) & ~s["replaced"]
    return np.where(lost & (u > 0.5), 3, cells)
