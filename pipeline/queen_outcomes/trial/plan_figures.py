"""The figures a trial is planned with: this station's own, or what stands in for them.

Every figure carries where it comes from, so that a plan shows what it leans on.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from queen_outcomes.base import resources
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.store import Store
from queen_outcomes.doses.costs import UL_A_YIELDING_DRONE, YIELDING, read_drone_yield
from queen_outcomes.facts.dose_words import success
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.closed import yes_fails
from queen_outcomes.stats.shares.clustering import anova_icc, arms_within_batches
from queen_outcomes.trial.plan_request import Request

STATION = "this station's records"
STATED = "stated with the command"
ASSUMED = "assumed for this plan; no source"
RULE_OF_THUMB = (
    "rule of thumb: Standard methods for instrumental insemination, J. Apic. Res. "
    "52(4), 2013 (read); common practice"
)
EVERTED = "Rhodes et al. 2011, Apidologie 42:29-38 (read)"
ASSUMED_ICC, ASSUMED_DECIDED = 0.05, 0.9
ENOUGH_SHARED_BATCHES = 10
"""Batches that held two arms or more, from which on they tell how arms differ there."""


@dataclass(frozen=True)
class PlanFigure:
    """One number of a plan, with what it stands on.

    ``source`` says whose figure it is, ``basis`` from how much, and what was done to it.
    """

    name: str
    value: float
    unit: str
    source: str
    basis: str = ""


@dataclass(frozen=True)
class Figures:
    """All figures that a plan uses.

    ``share``: successes among decided courses. ``asked``: share of the queens
    inseminated of whom the outcome is asked; ``decided``: share of those, once closed,
    that have an answer. ``icc``, ``arm_by_batch``: see `doses.icc`. ``per_graft``,
    ``per_load``: queens inseminated of a graft batch, and with a semen batch. ``cv``: of
    the batches' sizes. ``ul_a_drone``: semen of a drone handled, yielding or not.
    ``queens_a_season``, ``drones_a_season``: inseminated and handled in the fullest season;
    0: not recorded.
    """

    share: PlanFigure
    asked: PlanFigure
    decided: PlanFigure
    icc: PlanFigure
    arm_by_batch: PlanFigure
    per_graft: PlanFigure
    cv: PlanFigure
    per_load: PlanFigure
    yielding: PlanFigure
    ul_a_drone: PlanFigure
    queens_a_season: PlanFigure
    drones_a_season: PlanFigure

    def listed(self) -> list[PlanFigure]:
        """Give them in the order they are printed."""
        return list(vars(self).values())


def station_figures(
    store: Store, settings: Settings, as_of: dt.date, request: Request
) -> Figures:
    """Take every figure of a plan from a finished build.

    Parameters
    ----------
    store : Store
        Holds ``rates``, ``courses``, ``outcomes`` and ``accepted_semen``.
    settings : Settings
    as_of : date
        Of the build.
    request : Request

    Raises
    ------
    UsageError
        A figure that nothing can stand in for is not to be had; it may be stated.
    """
    outcome, days = request.question
    given = {
        "outcome": outcome,
        "window_days": days,
        "grace_days": settings.outcomes.grace_days,
        "as_of": as_of,
    }
    sql = resources.read("sql", "09_trial", "planned_courses.sql")
    courses = store.records(sql, given)
    answers = _successes(courses, outcome)
    graft = np.array([row["graft_batch"] or "" for row in courses], object)
    in_batch = graft != ""
    arm = np.array([row["arm"] or "" for row in courses], object)
    icc = _icc(answers[in_batch], graft[in_batch], request)
    known = in_batch & (arm != "")
    sizes = _sizes(graft[in_batch])
    per_graft = _per_graft(sizes, request)
    yielding, ul_a_drone = _drones(store, as_of)
    fullest = [_fullest(store, what) for what in ("queens", "drones")]
    return Figures(
        share=_share(store, request, settings),
        asked=_asked(courses, outcome),
        decided=_decided(courses, answers),
        icc=icc,
        arm_by_batch=_arm_by_batch(answers[known], arm[known], graft[known], icc),
        per_graft=per_graft,
        cv=_cv(sizes),
        per_load=_per_load(courses, request, per_graft),
        yielding=yielding,
        ul_a_drone=ul_a_drone,
        queens_a_season=fullest[0],
        drones_a_season=fullest[1],
    )


def _successes(courses: list[dict[str, Any]], outcome: str) -> np.ndarray:
    """Give 1 for a success, 0 for a failure, NaN where there is no answer."""
    good, bad = ("no", "yes") if yes_fails(outcome) else ("yes", "no")
    values = {good: 1.0, bad: 0.0}
    return np.array([values.get(row["state"], np.nan) for row in courses], float)


def _share(store: Store, request: Request, settings: Settings) -> PlanFigure:
    outcome, days = request.question
    name = success(*request.question)
    if request.share is not None:
        return PlanFigure(name, request.share, "share", STATED)
    rows = store.records(
        "SELECT * FROM rates WHERE outcome = $outcome AND window_days = $days "
        "AND \"grouping\" = 'all'",
        {"outcome": outcome, "days": days},
    )
    row = rows[0] if rows else None
    if row is None or row["rate"] is None:
        closed = row["closed"] if row else 0
        answered = row["yes"] + row["no"] if row else 0
        raise UsageError(
            "there is no share of successes to plan with",
            where=f"{outcome} by day {days}",
            found=f"{closed} closed courses, {answered} of them decided",
            expected=f"at least {settings.min_shown} closed courses, some decided",
            hint="state the share that you expect, such as --share 0.8",
        )
    kind = "rate" if row["estimate"] is None else "estimate"
    limits = ("low", "high") if kind == "rate" else ("estimate_low", "estimate_high")
    value, low, high = (row[key] for key in (kind, *limits))
    if yes_fails(outcome):
        value, low, high = (None if x is None else 1 - x for x in (value, high, low))
    span = "" if low is None else f", 95 % limits {100 * low:.0f}-{100 * high:.0f} %"
    basis = f"{kind} over {row['closed']} closed courses{span}"
    if not 0 < value < 1:
        raise UsageError(
            "all courses turned out alike, which leaves nothing to plan with",
            where=f"{outcome} by day {days}",
            found=f"{100 * value:.0f} % successes: {basis}",
            hint="state a share inside the limits, such as --share 0.9",
        )
    return PlanFigure(name, float(value), "share", STATION, basis)


def _asked(courses: list[dict[str, Any]], outcome: str) -> PlanFigure:
    name = "inseminated queens of whom it is asked"
    asked = sum(row["state"] is not None for row in courses)
    if not asked:
        return PlanFigure(name, 1.0, "share", ASSUMED, "none has been asked so far")
    basis = f"{asked} of {len(courses)} courses whose window has closed"
    return PlanFigure(name, asked / len(courses), "share", STATION, basis)


def _decided(courses: list[dict[str, Any]], answers: np.ndarray) -> PlanFigure:
    name = "closed courses that are decided"
    closed = sum(row["state"] is not None for row in courses)
    decided = int(np.isfinite(answers).sum())
    if not decided:
        return PlanFigure(
            name, ASSUMED_DECIDED, "share", ASSUMED, "none is decided yet"
        )
    basis = f"{decided} of {closed} closed courses"
    return PlanFigure(name, decided / closed, "share", STATION, basis)


def _icc(answers: np.ndarray, graft: np.ndarray, request: Request) -> PlanFigure:
    name = "correlation of two queens of one graft batch"
    if request.icc is not None:
        return PlanFigure(name, request.icc, "", STATED)
    found = anova_icc(answers, graft)
    if not np.isfinite(found.icc):
        return PlanFigure(name, ASSUMED_ICC, "", ASSUMED, f"own: {found.message}")
    basis = f"{found.courses} decided courses in {found.batches} graft batches"
    if found.icc < 0:
        basis += f"; estimated {found.icc:.3f}, a plan counts on no less than 0"
    elif found.message:
        basis += f"; {found.message}"
    return PlanFigure(name, found.for_planning, "", STATION, basis)


def _arm_by_batch(
    answers: np.ndarray, arm: np.ndarray, graft: np.ndarray, icc: PlanFigure
) -> PlanFigure:
    """Give the part of the correlation that arms within a batch do not share."""
    name = "part of it that two arms do not share"
    seen = np.isfinite(answers)
    held = {(g, a) for g, a in zip(graft[seen], arm[seen], strict=True)}
    arms_held = Counter(g for g, _ in held)
    shared = sum(arms > 1 for arms in arms_held.values())
    found = arms_within_batches(answers, arm, graft).arm_by_batch if shared else np.nan
    if shared < ENOUGH_SHARED_BATCHES or not np.isfinite(found):
        basis = f"half of it; {shared} graft batches held two arms or more"
        return PlanFigure(name, icc.value / 2, "", ASSUMED, basis)
    used = min(max(found, 0.0), icc.value)
    basis = f"{shared} graft batches held two arms or more, not drawn by lot"
    if used != found:
        basis += f"; estimated {found:.3f}, kept from 0 to the whole"
    return PlanFigure(name, used, "", STATION, basis)


def _sizes(names: np.ndarray) -> np.ndarray:
    return np.unique(names.astype(str), return_counts=True)[1].astype(float)


def _per_graft(sizes: np.ndarray, request: Request) -> PlanFigure:
    name = "queens inseminated of a graft batch"
    if request.queens_per_graft is not None:
        return PlanFigure(name, float(request.queens_per_graft), "queens", STATED)
    if not len(sizes):
        raise UsageError(
            "it is not known how many queens a graft batch has",
            found="no closed course with a graft batch",
            hint="state it, such as --queens-per-graft 30",
        )
    basis = f"mean of {len(sizes)} graft batches"
    return PlanFigure(name, float(sizes.mean()), "queens", STATION, basis)


def _cv(sizes: np.ndarray) -> PlanFigure:
    name = "variation of the graft batches' sizes (SD / mean)"
    if len(sizes) < 2:
        return PlanFigure(name, 0.0, "", ASSUMED, "taken as alike")
    value = float(sizes.std() / sizes.mean())
    return PlanFigure(name, value, "", STATION, f"{len(sizes)} graft batches")


def _per_load(
    courses: list[dict[str, Any]], request: Request, per_graft: PlanFigure
) -> PlanFigure:
    name = "queens inseminated with a semen batch"
    if request.queens_per_load is not None:
        return PlanFigure(name, float(request.queens_per_load), "queens", STATED)
    loads = [row["semen_batch"] for row in courses if row["semen_batch"]]
    if not loads:
        basis = "one semen batch for each graft batch"
        return PlanFigure(name, per_graft.value, "queens", ASSUMED, basis)
    sizes = _sizes(np.array(loads, object))
    basis = f"mean of {len(sizes)} semen batches"
    return PlanFigure(name, float(sizes.mean()), "queens", STATION, basis)


def _fullest(store: Store, what: str) -> PlanFigure:
    """Give what the station raised in its fullest season."""
    rows = store.records(resources.read("sql", "09_trial", "seasons.sql"))
    done = {"queens": "inseminated", "drones": "handled"}[what]
    name = f"{what} {done} in the fullest season"
    top = max(rows, key=lambda row: row[what] or 0, default={what: None})
    if not top[what]:
        return PlanFigure(name, 0.0, what, STATION, "none recorded")
    return PlanFigure(name, float(top[what]), what, STATION, f"season {top['season']}")


def _drones(store: Store, as_of: dt.date) -> tuple[PlanFigure, PlanFigure]:
    """Give the share of drones that yield, and the semen of a drone handled."""
    row = read_drone_yield(store, as_of)
    name, unit = "semen of a drone handled, yielding or not", "uL"
    yielding = PlanFigure(
        "drones handled that yield", YIELDING, "share", EVERTED, "no own count"
    )
    if row["yielding"] and row["yield_drones"]:
        drones = int(row["yield_drones"])
        own = float(row["yielding"]) / drones
        yielding = PlanFigure(yielding.name, own, "share", STATION, f"{drones} drones")
    if row["volume_ul"] and row["volume_drones"]:
        drones, loads = int(row["volume_drones"]), row["loads"]
        basis = f"{row['volume_ul']:.0f} uL from {drones} drones, {loads} semen batches"
        return yielding, PlanFigure(
            name, row["volume_ul"] / drones, unit, STATION, basis
        )
    basis = f"{UL_A_YIELDING_DRONE:g} uL a yielding drone x share that yields"
    value = UL_A_YIELDING_DRONE * yielding.value
    return yielding, PlanFigure(name, value, unit, RULE_OF_THUMB, basis)
