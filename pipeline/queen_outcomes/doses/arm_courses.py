"""A station's courses for comparing doses: their arms, and the comparisons that they allow.

Everything stands as it was known on the day of the first insemination; the answers are
those of the windows that begin on that day.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import COMPARED_BY
from queen_outcomes.models.closed import (
    NO_FILLINGS,
    Fillings,
    Question,
    failures_of,
    read_closed,
    read_factors,
    take,
    yes_fails,
)
from queen_outcomes.models.factor_fills import read_filled_factors
from queen_outcomes.models.terms import Values

PROTOCOL, MEANT, GIVEN = "protocol", "dose meant", "dose given"
USUAL = 0.5
"""Share of courses for which a source must be kept to be the station's way."""
GUESSED = (
    "arms were guessed from doses given: a queen that died between two doses counts "
    "against the single dose"
)
PARTLY = (
    "how many doses were meant is not recorded, only how many were given: a queen that "
    "died between two doses counts against the single dose"
)
SINCE = "day"
"""Courses before and since a day, in the place of the protocol."""
TOGETHER = (
    "whatever else changed on that day goes with it, the time of year and what the "
    "operators learnt among it"
)
DOSE = ("dose", "doses")
"""Main factors that protocols stand for."""
MIXED = 0.5
"""Share of a trial's courses in blocks that hold two arms, for these to be by lot."""
IN_BLOCKS = 0.8
"""Share of a trial's courses whose block must be recorded."""


@dataclass(frozen=True, eq=False)
class ArmCourses:
    """Every course of a station, in the order of the ids; arrays of one length n.

    Attributes
    ----------
    values : mapping of str to ndarray
        Factors, by column; texts that are missing are empty.
    trial, block, protocol : ndarray of str
    doses, meant, given : ndarray
        Inseminations; uL of all of them, NaN where one is not recorded.
    fillings : Fillings
        Of the factors.
    """

    values: Values
    trial: np.ndarray
    block: np.ndarray
    protocol: np.ndarray
    doses: np.ndarray
    meant: np.ndarray
    given: np.ndarray
    fillings: Fillings = NO_FILLINGS


@dataclass(frozen=True, eq=False)
class Comparison:
    """Courses whose arms are compared with each other.

    Attributes
    ----------
    trial : str or None
        None: courses outside of trials.
    rows : ndarray of int
        Places among the station's courses.
    arm, block : ndarray of str
        Of these courses; empty where it is not recorded.
    source : str
        What the arms' names were taken from.
    intended : bool
    said : str
        Why the arms do not stand for what was meant; empty when they do.
    randomised : bool
        A trial with blocks in which arms are mixed.
    """

    trial: str | None
    rows: np.ndarray
    arm: np.ndarray
    block: np.ndarray
    source: str
    intended: bool
    said: str
    randomised: bool

    def only(self, kept: np.ndarray) -> Comparison:
        """Give the comparison of some of its courses."""
        return replace(
            self, rows=self.rows[kept], arm=self.arm[kept], block=self.block[kept]
        )

    @property
    def stands_for(self) -> tuple[str, ...]:
        """Name the main factors that the arms take the place of."""
        other = {SINCE: ("year", "season"), **{name: (name,) for name in COMPARED_BY}}
        return other.get(self.source, DOSE)

    @property
    def commonest(self) -> list[str]:
        """Names of the arms, the one with most courses first."""
        names, counts = np.unique(self.arm[self.arm != ""], return_counts=True)
        return [str(name) for name in names[np.lexsort((names, -counts))]]


def read_courses(store: Store, prior: Mapping[str, int], until: int) -> ArmCourses:
    """Read every course.

    ``prior`` are operators' cases before the records; looks from day 0 to ``until`` count
    as visits.
    """
    sql = resources.read("sql", "08_doses", "arm_courses.sql")
    found = store.frame(sql, {"until": until})
    ids = found["course_id"].to_numpy().astype(str)
    order = np.argsort(ids, kind="stable")
    columns = {
        name: found[name].cast(pl.Float64).fill_null(np.nan).to_numpy()[order]
        if found[name].dtype.is_numeric()
        else found[name].to_numpy().astype(str)[order]
        for name in found.columns
    }
    values = read_factors(store, prior)
    values = take(values, np.argsort(values["course_id"], kind="stable"))
    ours = ("queen_age", "day_of_year", "co2_before", "diluent", "first_on")
    ours += ("bench_minutes", "visits")
    values |= {name: columns[name] for name in ours}
    names = ("trial", "block", "protocol", "doses", "dose_meant", "dose_given")
    fillings = read_filled_factors(store, values)
    return ArmCourses(values, *(columns[name] for name in names), fillings)


def comparisons_by(
    courses: ArmCourses, by: str | None, since: dt.date | None
) -> list[Comparison]:
    """Compare by one of `COMPARED_BY`, or before and since a day: all courses, and each trial's."""
    if since is None:
        arm, source, said = courses.values[by], by, ""
    else:
        later = courses.values["first_on"] >= since.isoformat()
        arm = np.where(later, f"since {since}", f"before {since}")
        source, said = SINCE, TOGETHER
    whole = Comparison(
        *(None, np.arange(len(arm)), arm, courses.block, source, not said, said),
        randomised=False,
    )
    trials = [str(name) for name in np.unique(courses.trial) if name]
    parts = [replace(whole.only(courses.trial == t), trial=t) for t in trials]
    return [whole, *parts]


def find_comparisons(courses: ArmCourses) -> list[Comparison]:
    """Part the courses into those outside of trials and each trial's, by protocol.

    A comparison without any course is not given.
    """
    found = []
    for trial in np.unique(courses.trial):
        rows = np.flatnonzero(courses.trial == trial)
        labels = label_arms(
            *(x[rows] for x in (courses.protocol, courses.doses)),
            *(x[rows] for x in (courses.meant, courses.given)),
        )
        block = courses.block[rows]
        by_lot = trial != "" and is_mixed(labels.label, block)
        found.append(
            Comparison(
                *(str(trial) or None, rows, labels.label, block, labels.source),
                *(labels.intended, labels.said, by_lot),
            )
        )
    return found


def is_mixed(arm: np.ndarray, block: np.ndarray) -> bool:
    """Tell whether blocks are recorded and arms stand side by side within them."""
    known = (arm != "") & (block != "")
    if not known.any() or known.sum() < IN_BLOCKS * (arm != "").sum():
        return False
    names, code = np.unique(block[known], return_inverse=True)
    pairs = np.unique(np.column_stack([code, _codes(arm[known])]), axis=0)
    arms_in = np.bincount(pairs[:, 0], minlength=len(names))
    return float((arms_in[code] > 1).mean()) >= MIXED


def _codes(x: np.ndarray) -> np.ndarray:
    return np.unique(x, return_inverse=True)[1]


@dataclass(frozen=True, eq=False)
class Answers:
    """The answers to one question, for all courses of a station; shape (n,).

    ``state`` is yes, no, undecided or left; empty where the window is not over.
    ``answers``, shape (m, n), are those of every filling: 1 yes, 0 no, NaN not at risk, or
    the window is not over; without rows where the unsettled cannot be told.
    """

    question: Question
    state: np.ndarray
    answers: np.ndarray

    @property
    def closed(self) -> np.ndarray:
        """Tell which courses' windows are over."""
        return self.state != ""

    @property
    def yes(self) -> np.ndarray:
        """1 yes, 0 no, NaN: not closed, or not settled by the records."""
        return np.select([self.state == "yes", self.state == "no"], [1.0, 0.0], np.nan)

    @property
    def is_yes_failure(self) -> bool:
        """Tell whether a success is to be without what is asked for."""
        return yes_fails(self.question[0])

    @property
    def success(self) -> np.ndarray:
        """1 a success, 0 a failure, NaN: not closed, or not settled.

        Where the outcome itself is the failure (lost, superseded, drone-laying), a
        success is to be without it.
        """
        return 1.0 - failures_of(self.question[0], self.yes)

    @property
    def successes(self) -> np.ndarray:
        """The same in every filling, NaN: not at risk, shape (m, n)."""
        return 1.0 - failures_of(self.question[0], self.answers)


def read_answers(
    store: Store, question: Question, ids: np.ndarray, grace_days: int
) -> Answers:
    """Read the answers by the clock of the first insemination, in the order of the ids."""
    closed = read_closed(
        store, {"course_id": ids}, question, grace_days, from_first=True
    )
    state = np.full(len(ids), "", closed.state.dtype if len(closed) else "U1")
    at = np.searchsorted(ids, closed.course_id)
    state[at] = closed.state
    answers = np.full((len(closed.answers), len(ids)), np.nan)
    answers[:, at] = closed.answers
    return Answers(question, state, answers)


@dataclass(frozen=True, eq=False)
class ArmLabels:
    """Arms by name.

    Attributes
    ----------
    label : ndarray of str, shape (n,)
        Empty where the source is not recorded for a course.
    source : str
        PROTOCOL, MEANT or GIVEN.
    intended : bool
        The arms stand for what was meant, whatever became of the queen.
    said : str
        Why they do not; empty when they do.
    """

    label: np.ndarray
    source: str
    intended: bool
    said: str = ""


def label_arms(
    protocol: np.ndarray, doses: np.ndarray, meant: np.ndarray, given: np.ndarray
) -> ArmLabels:
    """Name every course's arm by the first source that the station usually keeps.

    Parameters
    ----------
    protocol : ndarray of str, shape (n,)
        Empty: not recorded.
    doses : ndarray, shape (n,)
        Inseminations of the course.
    meant, given : ndarray, shape (n,)
        All doses of the course together, uL; NaN: not recorded.

    Returns
    -------
    ArmLabels
        One source for all, so that no arm is one of two names. Where none is usual, the
        one kept most often. Doses meant say what one insemination was to hold, and not
        how many there were to be: where numbers differ, the number is one given.
    """
    kept = {
        PROTOCOL: protocol != "",
        MEANT: np.isfinite(meant) & (doses > 0),
        GIVEN: np.isfinite(given) & (doses > 0),
    }
    shares = {
        name: float(known.mean()) if len(known) else 0.0 for name, known in kept.items()
    }
    usual = [name for name in kept if shares[name] >= USUAL]
    source = usual[0] if usual else max(kept, key=shares.__getitem__)
    known = kept[source]
    if source == PROTOCOL:
        return ArmLabels(protocol, source, intended=True)
    each = _each(meant, doses) if source == MEANT else np.round(_each(given, doses))
    label = np.array(
        [
            f"{int(number)} x {part:.3g} uL" if there else ""
            for number, part, there in zip(doses, each, known, strict=True)
        ],
        dtype=str,
    )
    if source == GIVEN:
        return ArmLabels(label, source, intended=False, said=GUESSED)
    alike = len(np.unique(doses[known])) <= 1
    return ArmLabels(label, source, intended=alike, said="" if alike else PARTLY)


def _each(volume: np.ndarray, doses: np.ndarray) -> np.ndarray:
    return np.divide(volume, doses, out=np.full(len(doses), np.nan), where=doses > 0)
