"""The shape of the onset model: the factors of both parts, fitted until determined.

Where the records do not determine a factor it is left out and named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from queen_outcomes.models.analysis_set import AnalysisSet
from queen_outcomes.models.choose import Design, as_earlier, by_reason, leave_out
from queen_outcomes.models.fitted import join
from queen_outcomes.models.onset_choice import (
    BATCH,
    Batches,
    OnsetForm,
    choose_chance,
    choose_days,
    find_batches,
)
from queen_outcomes.models.onset_seen import Seen
from queen_outcomes.models.terms import Values
from queen_outcomes.stats.logistic.separation import find_separation
from queen_outcomes.stats.onset.onset_fit import NARROW, WIDE, OnsetFit, fit_onset

NOTHING_LEFT = "no factor is left to compare"
UNDETERMINED = "with it the records do not determine the model"

Columns = tuple[np.ndarray, np.ndarray]
"""Of the chance of laying and of the log day, a row a course."""


@dataclass(frozen=True, eq=False)
class OnsetModel:
    """The fitted onset model of a station, or why there is none.

    Attributes
    ----------
    courses : AnalysisSet
        Complete courses, or all with their gaps where these were filled in, whatever
        became of them; ``y`` is 1 where known to have laid.
    seen : Seen
        Of these courses.
    chance, days : Design
        Of the chance of laying, and of the log day among layers.
    batches : Batches
        How graft batches enter.
    fit : OnsetFit or None
    message : str
    filled : mapping of str to ndarray, shape (fillings fitted * n,), or None
        The courses as often as gaps were filled, one filling after the other.
    imputations : int
        How often gaps were filled; 0: never.
    """

    courses: AnalysisSet
    seen: Seen
    chance: Design
    days: Design
    batches: Batches
    fit: OnsetFit | None
    message: str
    filled: Values | None = None
    imputations: int = 0

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

    @property
    def predicted(self) -> Values:
        """Courses to average over: with the gaps filled where they were."""
        return self.courses.values if self.filled is None else self.filled

    @cached_property
    def as_they_are(self) -> Columns:
        """Columns of both parts of the courses to average over, no factor changed."""
        return self.columns(self.predicted)

    def columns(self, values: Values) -> Columns:
        """Give the columns of both parts for these values."""
        return self.chance.matrix(values), self.days.matrix(values)

    def changed(self, values: Values) -> Columns:
        """Give the same columns as `columns`, sooner where few factors were changed.

        ``values`` are those of `predicted`, some of the arrays put in place of others.
        """
        X, Z = self.as_they_are
        return (
            self.chance.matrix_from(X, self.predicted, values),
            self.days.matrix_from(Z, self.predicted, values),
        )


def shape(
    courses: AnalysisSet,
    seen: Seen,
    adjust_for: Sequence[str],
    day: int,
    form: OnsetForm | None = None,
) -> OnsetModel:
    """Choose the factors of both parts, or take those fixed; nothing is fitted."""
    batches = find_batches(courses)
    chance = choose_chance(courses, seen.unlaid(day), adjust_for, batches, form)
    days = choose_days(courses, batches, form)
    return OnsetModel(courses, seen, chance, days, batches, None, courses.message)


def no_model(courses: AnalysisSet, seen: Seen, why: str) -> OnsetModel:
    """Give counts only, and the reason."""
    empty = Design((), np.zeros(1, int), np.full(1, -1), ("constant",), (), "")
    said = join(why, courses.message)
    return OnsetModel(courses, seen, empty, empty, Batches(None, (), ""), None, said)


def fit_values(model: OnsetModel, values: Values) -> OnsetFit:
    """Fit a model's shape to these values of its courses' factors."""
    seen, clusters = model.seen, model.batches.clusters
    columns = model.columns(values)
    return fit_onset(*columns, seen.after, seen.by, seen.or_never, clusters)


def fit_down(model: OnsetModel, day: int) -> OnsetModel:
    """Fit, and leave out what the records do not determine until the rest is."""
    values, batches = model.courses.values, model.batches
    while model.chance.forms or model.days.forms:
        fit = fit_values(model, values)
        model = replace(model, fit=fit)
        chance, days, why = _find_blamed(model, model.chance.matrix(values), day)
        if not chance and not days:
            said = join(fit.message, model.chance.message, model.days.message)
            told = join(said, model.message, batches.said, _levels_said(model))
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


def _levels_said(model: OnsetModel) -> str:
    """Say where graft batches stand as levels."""
    if not model.batches.levels:
        return ""
    parts = (("the chance", model.chance), ("the days", model.days))
    inside = [
        name for name, part in parts if BATCH in {form.term.name for form in part.forms}
    ]
    where = " and ".join(inside)
    return f"as levels of {where}" if where else "limits take no account of them"
