"""The step of the build that compares dose protocols.

Reads courses, doses, outcomes and the models' tables; writes the tables of SCHEMAS. What
was fixed for the season (reference and primary method of each comparison) is kept in the
season's file, so that weekly builds are looks under one plan.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.doses import arm_rows
from queen_outcomes.doses.arm_courses import (
    Answers,
    ArmCourses,
    Comparison,
    find_comparisons,
    read_answers,
    read_courses,
)
from queen_outcomes.doses.arm_rows import margins_needed
from queen_outcomes.doses.arm_tables import SCHEMAS, write
from queen_outcomes.doses.comparing import Asked, Found, compare, shown_arms, success_of
from queen_outcomes.doses.costs import DroneSemen, drone_semen
from queen_outcomes.doses.differences import ADJUSTED, STRATIFIED
from queen_outcomes.doses.dose_curve import Curve, curve_tables, meant_by_arm
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.choose import Earlier
from queen_outcomes.models.questions import read_form
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.outcomes.derive import derive_from_first

Row = dict[str, Any]
MOST = 0.8
"""Share of the closed courses that a comparison holds, to use the season's fixed form."""


def compare_station(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    plan: SeasonPlan | None = None,
) -> None:
    """Compare the arms of every comparison for every outcome, and write what is found.

    Parameters
    ----------
    store : Store
        Holds what the steps before wrote.
    settings : Settings
    as_of : date
    plan : SeasonPlan, optional
        What is fixed for the season, and takes up what is fixed now.
    """
    derive_from_first(store, settings, as_of)
    courses = read_courses(store, settings.prior_cases)
    comparisons = find_comparisons(courses)
    ids = courses.values["course_id"]
    questions = {q: read_answers(store, q, ids) for q in settings.outcomes.windows}
    rows: dict[str, list[Row]] = {name: [] for name in SCHEMAS}
    rows["arm_courses"] = arm_rows.course_rows(courses, comparisons)
    semen = drone_semen(store, as_of)
    for one in comparisons:
        for name, some in all_of(
            one, courses, questions, (settings, plan, semen)
        ).items():
            rows[name] += some
    dose = meant_by_arm(courses, comparisons)
    for question, answers in questions.items():
        is_primary = question == settings.plan.question
        fewest = settings.min_shown if is_primary else None
        curve = curve_tables(store, courses, answers, Curve(question, dose, fewest))
        for name, some in curve.items():
            rows[name] += some
    for name, some in rows.items():
        write(store, name, some)


def all_of(
    one: Comparison,
    courses: ArmCourses,
    questions: dict[tuple[str, int], Answers],
    given: tuple[Settings, SeasonPlan | None, DroneSemen],
) -> dict[str, list[Row]]:
    """Give a comparison's rows for every question; those of arms for the plan's alone."""
    settings, plan, semen = given
    primary = settings.plan.question
    base = asked_of(one, questions[primary], settings, plan)
    rows: dict[str, list[Row]] = {"arm_contrasts": [], "arm_models": []}
    for question, answers in questions.items() if base else ():
        form = fixed_form(one, answers, question, plan)
        is_primary = question == primary
        asked = replace(base, question=question, judged=is_primary, fixed=form)
        found = compare(courses, one, answers, asked)
        rows["arm_contrasts"] += arm_rows.contrast_rows(found)
        rows["arm_models"].append(arm_rows.model_row(found))
        if is_primary:
            rows |= tell_primary(courses, found, answers)
            rows["arm_costs"] = arm_rows.cost_rows(courses, found, answers, semen)
    return rows


def tell_primary(
    courses: ArmCourses, found: Found, answers: Answers
) -> dict[str, list[Row]]:
    """Give what is told of the question that arms are judged by."""
    comparison, trial = found.comparison, found.comparison.trial
    kept = answers.closed[comparison.rows] & (comparison.arm != "")
    at = comparison.rows[kept]
    success = success_of(found.asked.question[0], answers.yes[at])
    needed = margins_needed(success, courses.values["graft_batch"][at])
    return {
        "arms": arm_rows.arm_rows(courses, found, answers),
        "arm_overlap": arm_rows.overlap_rows(found),
        "arm_needs": [{"trial": trial, **row} for row in needed],
    }


def asked_of(
    comparison: Comparison,
    answers: Answers,
    settings: Settings,
    plan: SeasonPlan | None,
) -> Asked | None:
    """Give reference and primary method, as fixed for the season; None without an arm.

    The reference is the commonest arm that can be shown. They are fixed once two arms
    have enough closed courses to be shown.
    """
    names = comparison.commonest
    if not names:
        return None
    shown = shown_arms(comparison, answers, settings.min_shown)
    method = STRATIFIED if comparison.randomised else ADJUSTED
    reference = next((name for name in names if name in shown), names[0])
    margin = settings.plan.margin
    outcome, days = settings.plan.question
    under = {"outcome": outcome, "days": days, "margin": margin}
    trial = comparison.trial
    section = f"doses of trial {trial}" if trial else "doses outside of trials"
    if plan and len(shown) > 1:
        fixed = plan.fixed(section, under)
        if fixed and fixed["reference"] in names:
            reference, method = fixed["reference"], fixed["method"]
        elif not fixed:
            plan.fix(section, {"reference": reference, "method": method}, under)
    return Asked(
        *(settings.plan.question, reference, method, margin),
        judged=True,
        planned=settings.plan.planned_arms.get(trial) if trial else None,
        settings=settings,
    )


def fixed_form(
    comparison: Comparison,
    answers: Answers,
    question: tuple[str, int],
    plan: SeasonPlan | None,
) -> Earlier | None:
    """Give the main model's form that the season fixed, where it fits these courses."""
    outcome, days = question
    name = f"form of {outcome} by day {days}, main model"
    if plan is None or comparison.trial:
        return None
    section = plan.fresh.get(name) or plan.sections.get(name)
    own = answers.closed[comparison.rows].sum()
    if not section or own < MOST * answers.closed.sum():
        return None
    return read_form(section) if section["fixed_on"] <= plan.as_of else None
