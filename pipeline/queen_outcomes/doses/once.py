"""A comparison asked for once, from the tables of a finished build."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from queen_outcomes.base.store import Store
from queen_outcomes.doses import arm_rows
from queen_outcomes.doses.arm_courses import (
    Comparison,
    find_comparisons,
    read_answers,
    read_courses,
)
from queen_outcomes.doses.arm_tables import Row, filled
from queen_outcomes.doses.compare_request import Wanted, comparison_of
from queen_outcomes.doses.comparing import Asked, compare
from queen_outcomes.doses.drone_semen import drone_semen
from queen_outcomes.doses.results import asked_of, fixed_form, tell_primary
from queen_outcomes.facts.settings import Settings, asked_question
from queen_outcomes.models.season_plan import SeasonPlan

FIXED = """
SELECT DISTINCT reference, "method"
FROM arm_contrasts
WHERE "primary" AND coalesce(trial, '') = $trial
"""


@dataclass(frozen=True, eq=False)
class Once:
    """What was found: the question, and rows of the tables by their names.

    ``unnamed`` counts courses whose arm is not recorded.
    """

    trial: str | None
    question: tuple[str, int]
    reference: str
    margin: float | None
    margin_said: str
    unnamed: int
    tables: dict[str, list[Row]]

    @property
    def has_difference(self) -> bool:
        """Tell whether any arm can be compared by the method fixed beforehand."""
        return any(
            row["primary"] and row["difference"] is not None
            for row in self.tables["arm_contrasts"]
        )


def compare_once(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    wanted: Wanted,
    plan: SeasonPlan | None = None,
) -> Once:
    """Compare the arms asked for.

    Parameters
    ----------
    store : Store
        A finished build.
    settings : Settings
    as_of : date
        The build's.
    wanted : Wanted
    plan : SeasonPlan, optional
        What the season has fixed; nothing is added to it.

    Raises
    ------
    UsageError, NoModelError
        See `asked_question` and `comparison_of`.
    """
    question = asked_question(settings, wanted.outcome, wanted.days)
    courses = read_courses(store, settings.prior_cases)
    whole = find_comparisons(courses)
    one = comparison_of(wanted, whole)
    answers = read_answers(store, question, courses.values["course_id"])
    margin = settings.plan.margin if wanted.margin is None else wanted.margin
    base = as_built(store, one, asked_of(one, answers, settings, None))
    reference = wanted.reference or base.reference
    asked = replace(
        base,
        question=question,
        reference=reference,
        margin=margin,
        fixed=fixed_form(one, answers, question, plan),
    )
    found = compare(courses, one, answers, asked)
    semen = drone_semen(store, as_of)
    tables = {
        "arm_contrasts": arm_rows.contrast_rows(found),
        "arm_models": [arm_rows.model_row(found)],
        "arm_costs": arm_rows.cost_rows(courses, found, answers, semen),
        **tell_primary(courses, found, answers),
    }
    return Once(
        *(one.trial or None, question, reference, margin),
        margin_said(wanted, settings, question),
        sum(int((w.arm == "").sum()) for w in whole if w.trial == one.trial),
        {name: filled(name, rows) for name, rows in tables.items()},
    )


def as_built(store: Store, one: Comparison, asked: Asked) -> Asked:
    """Take reference and primary method over from the build, where they apply."""
    for reference, method in store.rows(FIXED, {"trial": one.trial}):
        there = bool(np.any(one.arm == reference))
        return replace(
            asked, method=method, reference=reference if there else asked.reference
        )
    return asked


def margin_said(wanted: Wanted, settings: Settings, question: tuple[str, int]) -> str:
    """Say where the margin comes from, where it is not the plan's for this question."""
    if wanted.margin is not None and (
        wanted.margin != settings.plan.margin or question != settings.plan.question
    ):
        return "The margin was given with the command, and not fixed beforehand."
    if settings.plan.margin is not None and question != settings.plan.question:
        return "The margin is the one that the plan states for another question."
    return ""
