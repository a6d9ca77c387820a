"""The courses of one fit: which are complete, in which factors, and what was left out.

Arrays in, arrays out; every cut is counted and said. Nothing is fitted or filled in here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from queen_outcomes.models.closed import NO_FILLINGS, Fillings, take
from queen_outcomes.models.terms import Term, Values

RECORDED = 0.8
"""Share of courses for which a factor must be recorded."""
NEARLY_ALL = 0.98
"""Share of courses that must be complete to stand for all: what is not written down may
go with what became of the queens."""
RECORDED_WHEN_FIXED = 0.5
"""The same share for a factor whose form was fixed: it does not flicker about 80 %."""
GROUPINGS = ("operator", "graft_batch", "semen_batch")


@dataclass(frozen=True, eq=False)
class AnalysisSet:
    """The courses that a fit stands on.

    Attributes
    ----------
    values : mapping of str to ndarray, shape (n,)
    y : ndarray, shape (n,)
        0 or 1; NaN: the records do not settle it.
    terms : tuple of Term
        Recorded often enough, in order of priority.
    rows : ndarray of int
        Places of these courses among those handed in.
    left_out : tuple of str
        Terms that went, and why.
    message : str
        What to know of the cuts; empty when no course was lost.
    decided : int
        Courses handed in.
    answers : ndarray, shape (m, n), or None
        Of each filling of the outcome, NaN: not at risk; None: ``y`` is all there is.
    fillings : Fillings
        Of the factors, in each of them.
    weights : ndarray, shape (n,), or None
        0 for who is not at risk, else 1; None: everybody is.
    """

    values: Values
    y: np.ndarray
    terms: tuple[Term, ...]
    rows: np.ndarray
    left_out: tuple[str, ...]
    message: str
    decided: int
    answers: np.ndarray | None = None
    fillings: Fillings = NO_FILLINGS
    weights: np.ndarray | None = None

    @property
    def rarer(self) -> int:
        """Courses of the rarer answer, of those that the records settle."""
        at_risk = True if self.weights is None else self.weights > 0
        yes, no = ((self.y == value) & at_risk for value in (1, 0))
        return int(min(yes.sum(), no.sum()))

    def filling(self, number: int) -> AnalysisSet:
        """Give one filling of outcome and factors; who is not at risk has no weight."""
        answer = self.answers[number]
        values = self.fillings.of(self.values, number)
        at_risk = np.isfinite(answer)
        weights = None if at_risk.all() else at_risk.astype(float)
        return replace(
            self,
            values=values,
            y=np.nan_to_num(answer),
            weights=weights,
            answers=None,
            fillings=NO_FILLINGS,
        )

    @property
    def is_short(self) -> bool:
        """Tell whether too few courses are complete to stand for all."""
        return len(self.y) < NEARLY_ALL * self.decided


def is_recorded(term: Term, values: Values) -> np.ndarray:
    """Tell for which courses a factor's value is recorded.

    The time between two exposures is asked only where there were two, or may have been.
    """
    x = values[term.column]
    if x.dtype.kind not in "fiu":
        return x != ""
    if term.kind == "gap":
        known = values["co2_schedule"] != ""
        return np.isfinite(x) | (known & ~has_two(values))
    return np.isfinite(x)


def has_two(values: Values) -> np.ndarray:
    """Tell which courses had a second CO2 exposure."""
    return np.char.startswith(values["co2_schedule"], "other")


def analysis_set(
    values: Values, y: np.ndarray, terms: Sequence[Term], recorded: float = RECORDED
) -> AnalysisSet:
    """Leave out factors with too many gaps, then courses with a gap in the rest."""
    kept, left_out = [], []
    complete = np.ones(len(y), bool)
    for term in terms:
        seen = is_recorded(term, values)
        share = float(seen.mean()) if len(seen) else 0.0
        if share < recorded:
            left_out.append(
                f"{term.label}: recorded for {100 * share:.0f} % of courses"
            )
        else:
            kept.append(term)
            complete &= seen
    rows = np.flatnonzero(complete)
    return AnalysisSet(
        take(values, rows),
        y[rows],
        tuple(kept),
        rows,
        tuple(left_out),
        _said(len(rows), len(y)),
        len(y),
    )


def complete_rows(courses: AnalysisSet) -> np.ndarray:
    """Give the places of the courses that are recorded in every factor."""
    seen = [is_recorded(term, courses.values) for term in courses.terms]
    return np.flatnonzero(np.all(seen, axis=0)) if seen else np.arange(len(courses.y))


def with_gaps(courses: AnalysisSet, values: Values, y: np.ndarray) -> AnalysisSet:
    """Give all courses with the same factors, their gaps to be filled."""
    said = f"{len(courses.y)} of {len(y)} courses are complete in every factor"
    rows = np.arange(len(y))
    return AnalysisSet(values, y, courses.terms, rows, courses.left_out, said, len(y))


def filled_set(
    values: Values,
    y: np.ndarray,
    answers: np.ndarray,
    fillings: Fillings,
    terms: Sequence[Term],
    recorded: float = RECORDED,
) -> AnalysisSet:
    """Give every course that is at risk in some filling, gaps in its factors and all.

    Parameters
    ----------
    values : mapping of str to ndarray, shape (n,)
    y : ndarray, shape (n,)
        As the records settle it; NaN: not.
    answers : ndarray, shape (m, n)
    fillings : Fillings
    terms : sequence of Term
    recorded : float
        Share of courses for which a factor must be recorded.
    """
    rows = np.flatnonzero(np.isfinite(answers).any(axis=0))
    values, y = take(values, rows), y[rows]
    found = analysis_set(values, y, terms, recorded)
    whole = with_gaps(found, values, y)
    settled = int(np.isfinite(y).sum())
    said = f"the records settle {settled} of {len(y)} courses" if len(y) else ""
    if len(found.y) < len(y):
        said = "; ".join(part for part in (said, whole.message) if part)
    some = fillings.some(rows) if len(found.y) < len(y) else NO_FILLINGS
    return replace(whole, answers=answers[:, rows], fillings=some, message=said)


def _said(complete: int, decided: int) -> str:
    if complete == decided:
        return ""
    return (
        f"{complete} of {decided} decided courses are complete in every factor, and "
        "these figures stand on them"
    )


def own_level(x: np.ndarray) -> np.ndarray:
    """Give codes 0..k-1 of a grouping; a course without a level stands alone."""
    codes = np.unique(x, return_inverse=True)[1].astype(np.int64)
    alone = x == ""
    codes[alone] = codes.max(initial=0) + 1 + np.arange(alone.sum())
    return np.unique(codes, return_inverse=True)[1]


def numbered(names: np.ndarray) -> np.ndarray:
    """Number names as they first come, 0..k-1: sooner than in their order."""
    known: dict[str, int] = {}
    return np.array([known.setdefault(name, len(known)) for name in names.tolist()])
