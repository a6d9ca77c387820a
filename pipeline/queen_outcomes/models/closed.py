"""The closed courses of one question, as models, audit, doses and trial see them.

A station's factors and answers are read from its tables as arrays in the order of the ids.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from scipy.special import expit, logit

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.outcomes import outcome_named
from queen_outcomes.models.terms import Values
from queen_outcomes.outcomes.fills import read_fills
from queen_outcomes.stats.logistic.odds_shift import odds_shift
from queen_outcomes.stats.shares.shared_effects import SharedEffects

Question = tuple[str, int]
"""An outcome and its window in days."""
BATCHES = ("graft_batch", "semen_batch")
"""Groups of courses that share their fate."""


ALL_ALIKE = 1e-3
"""Failures by which courses that all end alike are kept from certainty."""


@dataclass(frozen=True, eq=False)
class Fillings:
    """What stands in the place of gaps in the factors of n courses, in every filling.

    Only gaps are kept: there are many fillings, and few gaps.

    Attributes
    ----------
    gaps : mapping of str to ndarray of int, shape (g,)
        Courses without a value, of each factor that has such; empty: nothing is filled.
    made : mapping of str to ndarray, shape (m, g)
        Their values in each of m fillings.
    """

    gaps: Mapping[str, np.ndarray] = field(default_factory=dict)
    made: Mapping[str, np.ndarray] = field(default_factory=dict)

    def of(self, values: Values, number: int) -> Values:
        """Give the courses' values in one filling.

        What has no gap is one array in ``values`` and in all fillings.
        """
        found = dict(values)
        for name, gaps in self.gaps.items():
            x, made = values[name], self.made[name][number]
            whole = x.astype(np.result_type(x, made))  # a copy
            whole[gaps] = made
            found[name] = whole
        return found

    def some(self, rows: np.ndarray) -> Fillings:
        """Give the fillings of some of the courses, in the order of ``rows``."""
        rows = np.flatnonzero(rows) if rows.dtype == bool else rows
        gaps, made = {}, {}
        for name, own in self.gaps.items():
            place = np.full(max(own.max(), rows.max(initial=0)) + 1, -1)
            place[own] = np.arange(len(own))
            at = place[rows]
            if (at >= 0).any():
                gaps[name] = np.flatnonzero(at >= 0)
                made[name] = self.made[name][:, at[at >= 0]]
        return Fillings(gaps, made)


NO_FILLINGS = Fillings()


@dataclass(frozen=True, eq=False)
class ClosedCourses:
    """The closed courses of an outcome and window, in the order of the ids.

    Attributes
    ----------
    question : tuple of str and int
        The outcome, and its window in days.
    values : mapping of str to ndarray, shape (n,)
        Factors and groups by column (see `read_factors`).
    state : ndarray of str, shape (n,)
        yes, no, undecided or left.
    laid : ndarray of bool, shape (n,)
        Her brood was seen by the window's end.
    d0, known_on : ndarray of datetime64[D], shape (n,)
        Day 0, and the day the window closed.
    inseminated_at : ndarray of str, shape (n,)
        ISO 8601; sorts as the times do.
    risk : ndarray, shape (n,)
        Of failing, at the station's average hand; NaN until a risk model has said it.
    answers : ndarray, shape (m, n)
        In every filling: 1 yes, 0 no, NaN not at risk. Without rows where the outcome of
        the unsettled cannot be told.
    fillings : Fillings
    """

    question: Question
    values: Values
    state: np.ndarray
    laid: np.ndarray
    d0: np.ndarray
    known_on: np.ndarray
    inseminated_at: np.ndarray
    risk: np.ndarray
    answers: np.ndarray
    fillings: Fillings = NO_FILLINGS

    def __len__(self) -> int:
        return len(self.state)

    @property
    def course_id(self) -> np.ndarray:
        """Ids, in code point order."""
        return self.values["course_id"]

    @property
    def operator(self) -> np.ndarray:
        """Operators; empty where none is recorded."""
        return self.values["operator"]

    @property
    def season(self) -> np.ndarray:
        """Seasons, as texts."""
        return self.values["year"]

    @property
    def graft_batch(self) -> np.ndarray:
        """Graft batches; empty where none is recorded."""
        return self.values["graft_batch"]

    @property
    def semen_batch(self) -> np.ndarray:
        """Semen batches; empty where none is recorded."""
        return self.values["semen_batch"]

    @property
    def operator_case(self) -> np.ndarray:
        """Running number of the operator's inseminations; NaN without an operator."""
        return self.values["operator_case"]

    @property
    def month(self) -> np.ndarray:
        """Month of day 0, as in "2025-06"."""
        return np.datetime_as_string(self.d0, unit="M")

    @property
    def answer(self) -> np.ndarray:
        """1 yes, 0 no, NaN: undecided, or left."""
        return np.where(self.decided, (self.state == "yes").astype(float), np.nan)

    @property
    def decided(self) -> np.ndarray:
        """Tell which courses the records settle."""
        return (self.state == "yes") | (self.state == "no")

    @property
    def failed(self) -> np.ndarray:
        """1 failed, 0 not, NaN: the records do not settle it."""
        return failures_of(self.question[0], self.answer)

    @property
    def failures(self) -> np.ndarray:
        """Failures in every filling: 1, 0, NaN not at risk, shape (m, n)."""
        return failures_of(self.question[0], self.answers)

    def on_settled(self) -> ClosedCourses:
        """Move all risks alike so that they foretell the failures of settled courses.

        For what looks at these alone: they fail more or less often than the others.
        """
        counted = self.counted
        number = float(counted.sum())
        if not number:
            return self
        # where all of them failed, as before any queen is old enough for a no, each was
        # to be expected, and no batch of them stands out
        failures = float(self.failed[counted].sum())
        failures = min(max(failures, ALL_ALIKE), number - ALL_ALIKE)
        levels = logit(self.risk)
        return self.with_risk(expit(levels + odds_shift(levels[counted], failures)))

    @property
    def counted(self) -> np.ndarray:
        """Tell which courses are decided and have a known risk."""
        return self.decided & np.isfinite(self.risk)

    def some(self, rows: np.ndarray) -> ClosedCourses:
        """Give some of the courses, in the order of ``rows``."""
        return ClosedCourses(
            self.question,
            take(self.values, rows),
            *(x[rows] for x in (self.state, self.laid, self.d0, self.known_on)),
            *(x[rows] for x in (self.inseminated_at, self.risk)),
            self.answers[:, rows],
            self.fillings.some(rows),
        )

    def with_risk(self, risk: np.ndarray) -> ClosedCourses:
        """Give the same courses with other risks."""
        return replace(self, risk=risk)

    def shared(self, deviations: Mapping[str, float]) -> SharedEffects:
        """Give which batches these courses share, and how far batches deviate."""
        levels = np.column_stack([_codes(self.values[name]) for name in BATCHES])
        return SharedEffects(
            levels, np.array([deviations.get(name, 0.0) for name in BATCHES])
        )

    def by_operator(self) -> dict[str, np.ndarray]:
        """Give each named operator's courses, in the order they were inseminated."""
        order = np.lexsort((self.course_id, self.inseminated_at, self.operator))
        names, starts = np.unique(self.operator[order], return_index=True)
        parts = np.split(order, starts[1:])
        pairs = zip(names.tolist(), parts, strict=True) if len(order) else ()
        return {name: rows for name, rows in pairs if name}


def _codes(names: np.ndarray) -> np.ndarray:
    codes = np.unique(names, return_inverse=True)[1]
    return np.where(names == "", -1, codes)


def failures_of(outcome: str, answers: np.ndarray) -> np.ndarray:
    """Give failures from answers: 1 failed, 0 not, NaN undecided."""
    return answers if yes_fails(outcome) else 1.0 - answers


def yes_fails(outcome: str) -> bool:
    """Tell whether an outcome's yes is the failure; of the others it is the no."""
    return outcome_named(outcome).fails == "yes"


def as_columns(question: Question) -> dict[str, str | int]:
    """Give a question as the columns of the tables that hold it."""
    return dict(zip(("outcome", "window_days"), question, strict=True))


def take(values: Values, rows: np.ndarray) -> dict[str, np.ndarray]:
    """Give the values of some courses."""
    return {name: column[rows] for name, column in values.items()}


def read_factors(store: Store, prior: Mapping[str, int]) -> dict[str, np.ndarray]:
    """Give every course's factors; ``prior`` are operators' cases before the records."""
    frame = store.frame(resources.read("sql", "06_models", "factors.sql"))
    values = {
        name: frame[name].cast(pl.Float64).to_numpy()
        if frame[name].dtype.is_numeric()
        else frame[name].to_numpy().astype(str)
        for name in frame.columns
    }
    values = {
        name: np.where(np.isfinite(x), x, np.nan) if x.dtype.kind == "f" else x
        for name, x in values.items()
    }
    before = np.array([prior.get(name, 0) for name in values["operator"]], float)
    values["experience"] = np.log(np.maximum(values["operator_case"] + before, 1))
    values["semen_age"] = np.log1p(values["semen_age_h"])
    return values


def read_closed(
    store: Store,
    values: Values,
    question: Question,
    grace_days: int,
    *,
    from_first: bool = False,
    fillings: Fillings = NO_FILLINGS,
) -> ClosedCourses:
    """Read the closed courses of one outcome and window, without risks.

    Parameters
    ----------
    store : Store
        Holds courses, onset and outcomes.
    values : mapping of str to ndarray
        Factors of all courses.
    question : tuple of str and int
    grace_days : int
        Days that a window stays open for a late check.
    from_first : bool
        Answers by the clock of a course's first insemination, from outcomes_from_first.
    fillings : Fillings
        Of all courses.
    """
    answers = "outcomes_from_first" if from_first else "outcomes"
    found = store.frame(
        resources.read("sql", "06_models", "closed_courses.sql"),
        {**as_columns(question), "answers": answers, "grace_days": grace_days},
    )
    ids = found["course_id"].to_numpy().astype(str)
    rows = np.flatnonzero(np.isin(values["course_id"], ids))
    # numpy orders texts by code point, whatever the database does: both are put so
    rows = rows[np.argsort(values["course_id"][rows], kind="stable")]
    found = found[np.argsort(ids, kind="stable")]
    return ClosedCourses(
        question,
        take(values, rows),
        found["state"].to_numpy().astype(str),
        found["laid"].to_numpy().astype(bool),
        found["d0"].to_numpy().astype("datetime64[D]"),
        found["known_on"].to_numpy().astype("datetime64[D]"),
        found["inseminated_at"].to_numpy().astype(str),
        np.full(len(ids), np.nan),
        read_fills(store, question, np.sort(ids), from_first=from_first),
        fillings.some(rows),
    )
