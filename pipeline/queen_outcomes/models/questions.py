"""The models of one outcome and window, with what is fixed for the season.

Main, with its gaps filled in or not; bench; weighted; and complete where gaps were filled.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from queen_outcomes.facts.settings import Settings
from queen_outcomes.facts.settings_form import KNOTS
from queen_outcomes.models.analysis_set import (
    RECORDED_WHEN_FIXED,
    analysis_set,
    is_recorded,
    with_gaps,
)
from queen_outcomes.models.choose import Earlier, as_earlier
from queen_outcomes.models.closed import ClosedCourses, Question, take
from queen_outcomes.models.filled import fill_once, fit_filled
from queen_outcomes.models.fit import (
    Fitted,
    cluster_codes,
    find_design,
    fit_clustered,
    fit_courses,
    join,
    no_model,
)
from queen_outcomes.models.season_plan import SeasonPlan, Section
from queen_outcomes.models.terms import BENCH, MAIN, Term, Values, terms_in_order
from queen_outcomes.stats.logistic.collinear import independent_columns
from queen_outcomes.stats.logistic.robust import FEW_FOR_CR2
from queen_outcomes.stats.logistic.weighting import decided_weights

RIGHT_IF = "right if being decided depends only on what is recorded"


def fit_weighted(main: Fitted, closed: ClosedCourses) -> Fitted:
    """Fit the main model's form with weights for being decided.

    Having laid explains being decided, except where laying is itself the answer.
    """
    if main.method in ("none", "firth"):
        return no_model(main.courses, "too few answers to weight", main.design)
    clusters = len(np.unique(cluster_codes(main.courses)))
    if clusters < FEW_FOR_CR2:
        said = f"{clusters} graft batches are too few for limits of a weighted model"
        return no_model(main.courses, said, main.design)
    complete = np.ones(len(closed.answer), bool)
    for term in main.courses.terms:
        complete &= is_recorded(term, closed.values)
    rows = np.flatnonzero(complete)
    Z = _explaining(main, closed, rows, with_laid=closed.question[0] != "laying")
    decided = closed.decided[rows]
    weights = decided_weights(Z, decided)
    if not np.isfinite(weights.mean):
        return no_model(main.courses, weights.message, main.design)
    said = (
        f"{int(decided.sum())} decided courses stand for {len(rows)}, with weights from "
        f"{weights.least:.2g} to {weights.most:.2g}, worth {weights.effective:.0f} equal "
        f"ones; {RIGHT_IF}"
    )
    used = weights.weights[decided]
    said = join(said, weights.message)
    return fit_clustered(main.courses, main.design, main.X, said, used)


def _explaining(
    main: Fitted, closed: ClosedCourses, rows: np.ndarray, *, with_laid: bool
) -> np.ndarray:
    """Give what being decided may depend on, without repetition."""
    values = take(closed.values, rows)
    parts = [main.design.matrix(values)]
    for words in (values["operator"], closed.month[rows]):
        names = np.unique(words)[1:]
        parts += [(words == name).astype(float)[:, None] for name in names]
    if with_laid:
        parts.append(closed.laid[rows].astype(float)[:, None])
    Z = np.column_stack(parts)
    return Z[:, independent_columns(Z)]


TERMS = {**MAIN, **BENCH}


def models_of(
    closed: ClosedCourses,
    settings: Settings,
    plan: SeasonPlan | None = None,
) -> dict[str, Fitted]:
    """Fit every model of an outcome and window; name -> model."""
    question = closed.question
    terms = main_terms(settings)
    under = chosen_under(settings)
    found: dict[str, Fitted] = {}
    for model, some in (("main", terms), ("bench", (*terms, *BENCH.values()))):
        name = form_name(question, model)
        section = plan.fixed(name, under) if plan else None
        asked = ModelRequest(
            closed.values, closed.answer, some, settings.models.adjust_for, question[0]
        )
        form = read_form(section) if section else choose_form(asked)
        found[model], complete = fit_form(asked, form)
        if model == "main":
            found["weighted"] = fit_weighted(complete, closed)
            if complete is not found[model]:
                found["complete"] = complete
        if plan and form and not section and found[model].method != "none":
            courses = len(found[model].courses.y)
            plan.fix(name, {"courses": courses, **write_form(form)}, under)
    return found


def form_name(question: Question, model: str) -> str:
    """Name a model's form as the season's file does."""
    return f"form of {question[0]} by day {question[1]}, {model} model"


def form_sections(
    question: Question, settings: Settings, plan: SeasonPlan | None
) -> list[Section | None]:
    """Give what is fixed of a question's forms, or has just been; None: nothing."""
    if plan is None:
        return [None, None]
    names = [form_name(question, model) for model in ("main", "bench")]
    under = chosen_under(settings)
    return [plan.fixed(name, under) or plan.fresh.get(name) for name in names]


@dataclass(frozen=True, eq=False)
class ModelRequest:
    """What a model is asked for.

    Attributes
    ----------
    values : mapping of str to ndarray, shape (n,)
        Factors of the closed courses.
    answer : ndarray, shape (n,)
        1, 0, or NaN: undecided, or left.
    terms : tuple of Term
        That may enter, in order of priority.
    always : tuple of str
        Those of them that the budget never drops.
    outcome : str
    """

    values: Values
    answer: np.ndarray
    terms: tuple[Term, ...]
    always: tuple[str, ...]
    outcome: str

    @property
    def seed(self) -> int:
        """Seed of what is drawn for it."""
        return zlib.crc32(self.outcome.encode())

    @property
    def decided(self) -> tuple[Values, np.ndarray]:
        """Factors and answers of the courses that the records settle."""
        rows = np.flatnonzero(np.isfinite(self.answer))
        return take(self.values, rows), self.answer[rows]


def choose_form(asked: ModelRequest) -> Earlier | None:
    """Choose factors and forms on the decided courses; None: nothing to choose from."""
    values, y = asked.decided
    courses = analysis_set(values, y, asked.terms)
    if courses.is_short:
        courses = fill_once(with_gaps(courses, values, y), asked.seed)
    design = find_design(courses, asked.always)
    if isinstance(design, Fitted):
        return None
    return as_earlier(design, courses.left_out)


def fit_form(
    asked: ModelRequest, form: Earlier | None, *, tested: bool = True
) -> tuple[Fitted, Fitted]:
    """Fit all courses, gaps filled in if need be, and the complete ones.

    Courses count as complete by the factors that were chosen, not by those that went.
    """
    values, y = asked.decided
    if form is None:
        nothing = fit_courses(analysis_set(values, y, asked.terms), asked.always)
        return nothing, nothing
    courses = analysis_set(values, y, form.terms, RECORDED_WHEN_FIXED)
    complete = fit_courses(courses, asked.always, form, tested=tested)
    if not courses.is_short:
        return complete, complete
    whole = with_gaps(courses, values, y)
    return fit_filled(whole, asked.always, form, seed=asked.seed), complete


def main_terms(settings: Settings) -> tuple[Term, ...]:
    """Give the station's terms in its order and the forms that it fixed."""
    forms = settings.models.forms
    return tuple(
        replace(term, knots=KNOTS[forms[term.name]]) if term.name in forms else term
        for term in terms_in_order(settings.models.terms, settings.models.adjust_for)
    )


def chosen_under(settings: Settings) -> dict[str, Any]:
    """Give the settings that the choice of factors and forms depends on."""
    models = settings.models
    return {
        "terms": models.terms,
        "adjust_for": models.adjust_for,
        "forms": dict(models.forms),
    }


def write_form(form: Earlier) -> Section:
    """Give a choice of factors and forms as it is written down."""
    return {
        "terms": [term.name for term in form.terms],
        "knots": {term.name: list(term.knots) for term in form.terms if term.knots},
        "left_out": list(form.left_out),
        "said": form.message,
    }


def read_form(section: Section) -> Earlier:
    """Read back what `write_form` gave."""
    knots = section["knots"]
    terms = [
        replace(TERMS[name], knots=tuple(knots.get(name, ())) or 0)
        for name in section["terms"]
    ]
    return Earlier(tuple(terms), tuple(section["left_out"]), section["said"])
