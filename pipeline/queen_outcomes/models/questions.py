"""The models of one outcome and window, main and bench, with what is fixed for the season."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from queen_outcomes.facts.settings import Settings
from queen_outcomes.facts.settings_form import KNOTS
from queen_outcomes.models.analysis_set import (
    RECORDED,
    RECORDED_WHEN_FIXED,
    AnalysisSet,
    filled_set,
)
from queen_outcomes.models.choose import Earlier, as_earlier
from queen_outcomes.models.closed import ClosedCourses, Fillings, Question
from queen_outcomes.models.filled import fit_filled
from queen_outcomes.models.fit import Fitted, find_design
from queen_outcomes.models.season_plan import SeasonPlan, Section
from queen_outcomes.models.terms import BENCH, MAIN, Term, Values, terms_in_order

TERMS = {**MAIN, **BENCH}
MODEL_NAMES = ("main", "bench")


def models_of(
    closed: ClosedCourses,
    settings: Settings,
    plan: SeasonPlan | None = None,
    names: Sequence[str] = MODEL_NAMES,
) -> dict[str, Fitted]:
    """Fit the models of an outcome and window; name -> model."""
    question = closed.question
    terms = main_terms(settings)
    under = chosen_under(settings)
    found: dict[str, Fitted] = {}
    for model in names:
        some = (*terms, *BENCH.values()) if model == "bench" else terms
        name = form_name(question, model)
        section = plan.fixed(name, under) if plan else None
        asked = ModelRequest(
            *(closed.values, closed.answer, closed.answers, closed.fillings, some),
            settings.models.adjust_for,
        )
        form = read_form(section) if section else choose_form(asked)
        found[model] = fit_form(asked, form)
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
    names = [form_name(question, model) for model in MODEL_NAMES]
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
    answers : ndarray, shape (m, n)
        In every filling; NaN: not at risk.
    fillings : Fillings
        Of the factors.
    terms : tuple of Term
        That may enter, in order of priority.
    always : tuple of str
        Those of them that the budget never drops.
    """

    values: Values
    answer: np.ndarray
    answers: np.ndarray
    fillings: Fillings
    terms: tuple[Term, ...]
    always: tuple[str, ...]

    def courses(self, terms: Sequence[Term], recorded: float) -> AnalysisSet:
        """Give the courses with some of the terms."""
        return filled_set(
            *(self.values, self.answer, self.answers, self.fillings, terms, recorded)
        )


def choose_form(asked: ModelRequest) -> Earlier | None:
    """Choose factors and forms by how many answers are settled; None: nothing to choose."""
    courses = asked.courses(asked.terms, RECORDED)
    if not len(asked.answers) or not len(courses.y):
        return None
    values = courses.fillings.of(courses.values, 0)
    design = find_design(replace(courses, values=values), asked.always)
    if isinstance(design, Fitted):
        return None
    return as_earlier(design, courses.left_out)


def fit_form(asked: ModelRequest, form: Earlier | None) -> Fitted:
    """Fit all closed courses, outcome and gaps in their factors filled in."""
    if form is None:
        return fit_filled(asked.courses(asked.terms, RECORDED), asked.always)
    courses = asked.courses(form.terms, RECORDED_WHEN_FIXED)
    return fit_filled(courses, asked.always, form)


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
        "drawn": [term.name for term in form.terms if term.is_drawn],
        "left_out": list(form.left_out),
        "said": form.message,
    }


def read_form(section: Section) -> Earlier:
    """Read back what `write_form` gave."""
    # a season fixed before bends were drawn has none
    knots, drawn = section["knots"], section.get("drawn", ())
    terms = [
        replace(
            TERMS[name],
            knots=tuple(knots.get(name, ())) or 0,
            is_drawn=name in drawn,
        )
        for name in section["terms"]
    ]
    return Earlier(tuple(terms), tuple(section["left_out"]), section["said"])
