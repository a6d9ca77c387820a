"""What enters the onset model: the factors of both parts, and the graft batches.

Chosen from the courses, or taken as they were fixed at the season's first build.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from queen_outcomes.models.analysis_set import AnalysisSet, take
from queen_outcomes.models.choose import Design, Earlier, choose, take_earlier
from queen_outcomes.models.clustered import cluster_codes
from queen_outcomes.models.fit import EACH, RARE, TOO_RARE, groupings
from queen_outcomes.models.terms import Term
from queen_outcomes.stats.logistic.robust import FEW_FOR_CR2, MANY_FOR_CR1

DAY_TERMS = ("co2_schedule", "dose", "queen_age")
"""Factors of the days to laying, numbers as lines, in order of priority."""
BATCH = "graft_batch"


@dataclass(frozen=True, eq=False)
class OnsetForm:
    """What was fixed earlier of both parts; ``left_out`` went before either chose."""

    chance: Earlier
    days: Earlier
    left_out: tuple[str, ...] = ()

    @property
    def terms(self) -> tuple[Term, ...]:
        """Give every factor once: those of the chance, then those of the days alone."""
        names = {term.name for term in self.chance.terms}
        own = (term for term in self.days.terms if term.name not in names)
        return (*self.chance.terms, *own)


@dataclass(frozen=True, eq=False)
class Batches:
    """How graft batches enter: as clusters, as levels, or not at all."""

    clusters: np.ndarray | None
    levels: tuple[str, ...]
    said: str


def find_batches(courses: AnalysisSet) -> Batches:
    """Let limits allow for batches where there are enough, else make them levels."""
    codes = cluster_codes(courses)
    count = len(np.unique(codes))
    if count >= FEW_FOR_CR2:
        said = f"limits by graft batch, over {count} batches"
        few = ", raised because they are few" if count < MANY_FOR_CR1 else ""
        return Batches(codes, (), said + few)
    if count == 1:
        return Batches(None, (), "one graft batch: nothing is said of others")
    if count < len(codes):
        return Batches(None, (BATCH,), f"{count} graft batches")
    return Batches(None, (), "each course stands by itself")


def choose_chance(
    courses: AnalysisSet,
    unlaid: np.ndarray,
    adjust_for: Sequence[str],
    batches: Batches,
    form: OnsetForm | None,
) -> Design:
    """Choose what goes with laying at all, on courses that laid or did not.

    A level seen in open courses alone would have no answer: it is not a level then.
    """
    rarer = int(min(courses.y.sum(), unlaid.sum()))
    settled = _part(courses, np.flatnonzero((courses.y > 0) | unlaid))
    levels = [name for name in groupings(settled)[1] if name != BATCH]
    fixed = [*levels, *batches.levels] if rarer >= TOO_RARE else []
    if form:
        settled = replace(settled, terms=_among(settled.terms, form.chance))
        return take_earlier(settled, form.chance, fixed=fixed)
    return choose(
        settled,
        fixed=fixed,
        adjust_for=adjust_for if rarer >= RARE else (),
        each=EACH,
        counted=(rarer, "of the rarer answer"),
    )


def choose_days(
    courses: AnalysisSet, batches: Batches, form: OnsetForm | None
) -> Design:
    """Choose what goes with the day, on courses known to have laid."""
    layers = _part(courses, np.flatnonzero(courses.y > 0))
    there = {term.name: term for term in courses.terms}
    terms = [there[name] for name in DAY_TERMS if name in there]
    lines = tuple(
        replace(term, kind="line", knots=None) if term.kind == "spline" else term
        for term in terms
    )
    if form:
        layers = replace(layers, terms=_among(lines, form.days))
        return take_earlier(layers, form.days, fixed=batches.levels)
    return choose(
        replace(layers, terms=lines),
        fixed=batches.levels,
        adjust_for=(),
        each=EACH,
        counted=(len(layers.y), "courses known to have laid"),
    )


def _among(terms: Sequence[Term], earlier: Earlier) -> tuple[Term, ...]:
    """Give the terms that were fixed for one part."""
    names = {term.name for term in earlier.terms}
    return tuple(term for term in terms if term.name in names)


def _part(courses: AnalysisSet, rows: np.ndarray) -> AnalysisSet:
    values, y = take(courses.values, rows), courses.y[rows]
    return replace(courses, values=values, y=y, rows=courses.rows[rows])
