"""The onset model of a station: its courses, the factors of both parts, and the fit.

What may enter is chosen as for the other models. Where the records do not determine a
factor it is left out and named; a model that cannot be had is a reason in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from queen_outcomes.models.analysis_set import (
    RECORDED,
    RECORDED_WHEN_FIXED,
    AnalysisSet,
    analysis_set,
)
from queen_outcomes.models.choose import Design, as_earlier, by_reason, leave_out
from queen_outcomes.models.fit import RARE
from queen_outcomes.models.fitted import join
from queen_outcomes.models.onset import NARROW, WIDE, OnsetFit, fit_onset
from queen_outcomes.models.onset_choice import (
    BATCH,
    Batches,
    OnsetForm,
    choose_chance,
    choose_days,
    find_batches,
)
from queen_outcomes.models.separation import find_separation
from queen_outcomes.models.terms import Term, Values

NOTHING_LEFT = "no factor is left to compare"
UNDETERMINED = "with it the records do not determine the model"


@dataclass(frozen=True, eq=False)
class Seen:
    """What the records tell of each course's onset: arrays of one length.

    Laying began in ``(after, by]`` days after day 0, ``by`` inf including never; with
    ``or_never`` in that time or never.
    """

    after: np.ndarray
    by: np.ndarray
    or_never: np.ndarray

    @property
    def laid(self) -> np.ndarray:
        """Courses known to have laid."""
        return np.isfinite(self.by) & ~self.or_never

    def unlaid(self, day: int) -> np.ndarray:
        """Courses that ended unlaid, or were not laying on a day."""
        return ~self.laid & (self.or_never | (self.after >= day))

    def take(self, rows: np.ndarray) -> Seen:
        """Give some of the courses."""
        return Seen(self.after[rows], self.by[rows], self.or_never[rows])


@dataclass(frozen=True, eq=False)
class OnsetModel:
    """The fitted onset model of a station, or why there is none.

    Attributes
    ----------
    courses : AnalysisSet
        Complete courses, whatever became of them; ``y`` is 1 where known to have laid.
    seen : Seen
        Of these courses.
    chance, days : Design
        Of the chance of laying, and of the log day among layers.
    fit : OnsetFit or None
    message : str
    """

    courses: AnalysisSet
    seen: Seen
    chance: Design
    days: Design
    fit: OnsetFit | None
    message: str

    @property
    def method(self) -> str:
        """Give "mixture", or "none" where there is no model."""
        return "mixture" if self.fit is not None and self.fit.converged else "none"

    @property
    def form(self) -> OnsetForm:
        """Give both parts' factors and knots, so that they can be fixed."""
        gone = by_reason(self.courses.left_out)
        return OnsetForm(as_earlier(self.chance), as_earlier(self.days), gone)

    @property
    def left_out(self) -> tuple[str, ...]:
        """Give what was left out of both parts or one, and why."""
        parts = (("chance", self.chance), ("days", self.days))
        own = [
            f"{name}: {said}"
            for name, part in parts
            for said in by_reason(part.left_out)
        ]
        return (*by_reason(self.courses.left_out), *own)

    def columns(self, values: Values) -> tuple[np.ndarray, np.ndarray]:
        """Give the columns of both parts for these values."""
        return self.chance.matrix(values), self.days.matrix(values)


def fit_station(
    values: Values,
    seen: Seen,
    terms: Sequence[Term],
    adjust_for: Sequence[str],
    day: int,
    form: OnsetForm | None = None,
) -> OnsetModel:
    """Choose the factors of both parts and fit.

    Parameters
    ----------
    values : mapping of str to ndarray, shape (n,)
        Factors and groups of every course.
    seen : Seen
        Of the same courses.
    terms : sequence of Term
        That may go with the chance of laying, in order of priority.
    adjust_for : sequence of str
        Factors that the budget does not drop, where answers are not rare.
    day : int
        Not laying on this day counts as not laying when the budget is reckoned.
    form : OnsetForm, optional
        Factors and forms of both parts that were fixed earlier; not given: chosen now.

    Returns
    -------
    OnsetModel
    """
    every = len(seen.after)
    asked, recorded = (form.terms, RECORDED_WHEN_FIXED) if form else (terms, RECORDED)
    courses = analysis_set(values, seen.laid.astype(float), asked, recorded)
    if form:
        courses = replace(courses, left_out=(*form.left_out, *courses.left_out))
    short = len(courses.y) < every
    said = (
        f"{len(courses.y)} of {every} courses are complete in every factor, and these "
        "figures stand on them"
    )
    courses = replace(courses, message=said if short else "")
    seen = seen.take(courses.rows)
    if not len(courses.y):
        return _no_model(courses, seen, "there are no courses")
    layers = int(courses.y.sum())
    if layers < RARE:
        known = f"{layers} courses are" if layers else "no course is"
        few = ", too few for a model of the day" if layers else ""
        return _no_model(courses, seen, f"{known} known to have laid{few}")
    batches = find_batches(courses)
    chance = choose_chance(courses, seen.unlaid(day), adjust_for, batches, form)
    days = choose_days(courses, batches, form)
    model = OnsetModel(courses, seen, chance, days, None, courses.message)
    return _fit_down(model, batches, day)


def _no_model(courses: AnalysisSet, seen: Seen, why: str) -> OnsetModel:
    empty = Design((), np.zeros(1, int), np.full(1, -1), ("constant",), (), "")
    return OnsetModel(courses, seen, empty, empty, None, join(why, courses.message))


def _fit_down(model: OnsetModel, batches: Batches, day: int) -> OnsetModel:
    """Fit, and leave out what the records do not determine until the rest is."""
    values, seen = model.courses.values, model.seen
    while model.chance.forms or model.days.forms:
        columns = model.columns(values)
        fit = fit_onset(*columns, seen.after, seen.by, seen.or_never, batches.clusters)
        model = replace(model, fit=fit)
        chance, days, why = _find_blamed(model, columns[0], day)
        if not chance and not days:
            said = join(fit.message, model.chance.message, model.days.message)
            told = join(said, model.message, batches.said, _levels_said(model, batches))
            return replace(model, message=told)
        if batches.levels and BATCH in {
            model.chance.forms[k].term.name for k in chance
        }:
            why = "the graft batches as levels cannot be told apart from laying"
            break
        model = replace(
            model,
            chance=leave_out(model.chance, chance, values, why),
            days=leave_out(model.days, days, values, why),
        )
    else:
        why = NOTHING_LEFT
    return replace(model, fit=None, message=join(why, model.message))


def _find_blamed(model: OnsetModel, X, day: int) -> tuple[list[int], list[int], str]:
    """Give the factors of both parts that must go after a fit, and why.

    Those that separate courses that laid from those that did not; else the last one.
    """
    fit, chance, days = model.fit, model.chance, model.days
    if fit.kind == "everybody" and chance.forms:
        every = list(range(len(chance.forms)))
        return every, [], "every course is fitted as laying sooner or later"
    if fit.converged or _is_of_spread(fit):
        return [], [], ""
    settled = (model.courses.y > 0) | model.seen.unlaid(day)
    apart = find_separation(X[settled], model.courses.y[settled])
    owners = {int(chance.owner[j]) for j in apart.columns} - {-1}
    if owners:
        return sorted(owners), [], UNDETERMINED
    if chance.forms and len(chance.kept) >= len(days.kept):
        return [len(chance.forms) - 1], [], UNDETERMINED
    return [], [len(days.forms) - 1] if days.forms else [], UNDETERMINED


def _is_of_spread(fit: OnsetFit) -> bool:
    """Tell whether it is the days' spread that cannot be had; no factor is to blame."""
    return bool(np.isfinite(fit.sigma)) and not NARROW < fit.sigma < WIDE


def _levels_said(model: OnsetModel, batches: Batches) -> str:
    """Say where graft batches stand as levels."""
    if not batches.levels:
        return ""
    parts = (("the chance", model.chance), ("the days", model.days))
    inside = [
        name for name, part in parts if BATCH in {form.term.name for form in part.forms}
    ]
    where = " and ".join(inside)
    return f"as levels of {where}" if where else "limits take no account of them"
