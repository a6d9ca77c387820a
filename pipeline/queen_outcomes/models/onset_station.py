"""The onset model of a station: its courses, with their gaps filled in or not, and the fit.

What may enter is chosen as for the other models. A model that cannot be had is a reason in
words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from queen_outcomes.models.analysis_set import (
    RECORDED,
    RECORDED_WHEN_FIXED,
    AnalysisSet,
    analysis_set,
    complete_rows,
    with_gaps,
)
from queen_outcomes.models.fit import RARE
from queen_outcomes.models.onset_choice import OnsetForm
from queen_outcomes.models.onset_filled import fill, over_fillings
from queen_outcomes.models.onset_model import OnsetModel, fit_down, no_model, shape
from queen_outcomes.models.onset_seen import Seen
from queen_outcomes.models.terms import Term, Values


def fit_station(
    values: Values,
    seen: Seen,
    terms: Sequence[Term],
    adjust_for: Sequence[str],
    day: int,
    form: OnsetForm | None = None,
) -> OnsetModel:
    """Choose the factors of both parts and fit.

    Where under 80 % of the courses are complete in what was chosen, gaps are filled in;
    factors and forms are chosen on one filling.

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
    courses = _standing(values, seen, terms, form)
    if form is None and _is_gappy(courses) and not _too_few(courses):
        for once in fill(courses, seen, times=1):
            form = shape(once, seen, adjust_for, day).form
            courses = _standing(values, seen, terms, form)
    seen = seen.take(courses.rows)
    why = _too_few(courses)
    if why:
        return no_model(courses, seen, why)
    if not _is_gappy(courses):
        return fit_down(shape(courses, seen, adjust_for, day, form), day)
    sets = fill(courses, seen)
    if not sets:
        return no_model(courses, seen, "the gaps could not be filled")
    first = fit_down(shape(sets[0], seen, adjust_for, day, form), day)
    return over_fillings(replace(first, courses=courses), sets)


def _standing(
    values: Values, seen: Seen, terms: Sequence[Term], form: OnsetForm | None
) -> AnalysisSet:
    """Give the complete courses; all, gaps and all, where too few are complete."""
    y = seen.laid.astype(float)
    asked, recorded = (form.terms, RECORDED_WHEN_FIXED) if form else (terms, RECORDED)
    found = analysis_set(values, y, asked, recorded)
    said = f"{len(found.y)} of {len(y)} courses are complete in every factor"
    if found.is_short:
        found = with_gaps(found, values, y)
    else:
        short = len(found.y) < len(y)
        said = f"{said}, and these figures stand on them" if short else ""
    gone = (*form.left_out, *found.left_out) if form else found.left_out
    return replace(found, left_out=gone, message=said)


def _is_gappy(courses: AnalysisSet) -> bool:
    return len(complete_rows(courses)) < len(courses.y)


def _too_few(courses: AnalysisSet) -> str:
    """Say why no model can be had of so few; empty when there are enough."""
    if not len(courses.y):
        return "there are no courses"
    layers = int(courses.y.sum())
    if layers >= RARE:
        return ""
    known = f"{layers} courses are" if layers else "no course is"
    few = ", too few for a model of the day" if layers else ""
    return f"{known} known to have laid{few}"
