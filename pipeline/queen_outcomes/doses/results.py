"""The step of the build that compares dose protocols.

Reads courses, doses, outcomes and the models' tables; writes the tables of DOSES, and for
the page and `compare` those of DOSES_INTERNAL. What
was fixed for the season (reference and primary method of each comparison) is kept in the
season's file, so that weekly builds are looks under one plan.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.base.workers import Workers
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
from queen_outcomes.doses.comparing import (
    ArmComparison,
    ArmQuestion,
    compare,
    shown_arms,
)
from queen_outcomes.doses.costs import DroneSemen, drone_semen
from queen_outcomes.doses.differences import ADJUSTED, STRATIFIED
from queen_outcomes.doses.dose_curve import curve_tables, meant_by_arm
from queen_outcomes.facts.exports.doses import ARM_COURSES, DOSES, DOSES_INTERNAL
from queen_outcomes.facts.exports.writing import write_frame, write_rows
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.choose import Earlier
from queen_outcomes.models.questions import read_form
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.outcomes.derive import derive_from_first
from queen_outcomes.outcomes.fills import beside_for

Row = dict[str, Any]
MOST = 0.8
"""Share of the closed courses that a comparison holds, to use the season's fixed form."""


def compare_station(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    plan: SeasonPlan | None = None,
    workers: Workers | None = None,
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
    workers : Workers, optional
        Who compares the arms for one question each; not given: all is done here.
    """
    derive_from_first(store, settings, as_of)
    grace = settings.outcomes.grace_days
    until = settings.plan.question[1] + grace
    courses = read_courses(store, settings.prior_cases, until)
    comparisons = find_comparisons(courses)
    ids = courses.values["course_id"]
    answered = [read_answers(store, q, ids, grace) for q in settings.outcomes.windows]
    rows: dict[str, list[Row]] = defaultdict(list)
    semen = drone_semen(store, as_of)
    beside = beside_for(workers, len(ids))
    tasks = [
        beside.submit(_rows_of, courses, one, answers, asked, semen)
        for one in comparisons
        for answers, asked in asked_of_all(one, answered, settings, plan)
    ]
    for made in beside.results(tasks):
        for name, some in made.items():
            rows[name] += some
    dose = meant_by_arm(courses, comparisons)
    for answers in answered:
        is_primary = answers.question == settings.plan.question
        fewest = settings.min_shown if is_primary else None
        curve = curve_tables(store, courses, answers, dose, fewest)
        for name, some in curve.items():
            rows[name] += some
    for table in (*DOSES, *DOSES_INTERNAL):
        if table is not ARM_COURSES:
            write_rows(store, table, rows[table.name])
    write_frame(store, ARM_COURSES, arm_rows.course_frame(courses, comparisons))


def asked_of_all(
    one: Comparison,
    answered: Sequence[Answers],
    settings: Settings,
    plan: SeasonPlan | None,
) -> list[tuple[Answers, ArmQuestion]]:
    """Give what is asked of a comparison for every question; nothing without an arm."""
    (primary,) = [a for a in answered if a.question == settings.plan.question]
    base = asked_of(one, primary, settings, plan)
    if base is None:
        return []
    return [
        (
            answers,
            replace(
                base, judged=answers is primary, fixed=fixed_form(one, answers, plan)
            ),
        )
        for answers in answered
    ]


def _rows_of(
    courses: ArmCourses,
    one: Comparison,
    answers: Answers,
    asked: ArmQuestion,
    semen: DroneSemen,
) -> dict[str, list[Row]]:
    """Compare the arms of a comparison for a question, and give the tables' rows."""
    found = compare(courses, one, answers, asked)
    rows = {
        "arm_contrasts": arm_rows.contrast_rows(found),
        "arm_models": [arm_rows.model_row(found)],
    }
    return rows | (primary_rows(courses, found, semen) if asked.judged else {})


def primary_rows(
    courses: ArmCourses, found: ArmComparison, semen: DroneSemen
) -> dict[str, list[Row]]:
    """Give what is told of the question that arms are judged by."""
    comparison, answers = found.comparison, found.answers
    kept = answers.closed[comparison.rows] & (comparison.arm != "")
    at = comparison.rows[kept]
    costs = arm_rows.arm_costs(courses, found, semen)
    needed = margins_needed(
        *(answers.success[at], courses.values["graft_batch"][at]),
        answers.successes[:, at],
    )
    return {
        "arms": arm_rows.arm_rows(courses, found),
        "arm_overlap": arm_rows.overlap_rows(found),
        "arm_needs": [{"trial": comparison.trial, **row} for row in needed],
        "arm_costs": arm_rows.cost_rows(costs, comparison.trial),
        "arm_exchange": arm_rows.exchange_rows(costs, found),
    }


def asked_of(
    comparison: Comparison,
    answers: Answers,
    settings: Settings,
    plan: SeasonPlan | None,
) -> ArmQuestion | None:
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
    return ArmQuestion(
        *(reference, method, margin),
        judged=True,
        planned=settings.plan.planned_arms.get(trial) if trial else None,
        settings=settings,
    )


def fixed_form(
    comparison: Comparison, answers: Answers, plan: SeasonPlan | None
) -> Earlier | None:
    """Give the main model's form that the season fixed, where it fits these courses."""
    outcome, days = answers.question
    name = f"form of {outcome} by day {days}, main model"
    if plan is None or comparison.trial:
        return None
    section = plan.fresh.get(name) or plan.sections.get(name)
    own = answers.closed[comparison.rows].sum()
    if not section or own < MOST * answers.closed.sum():
        return None
    return read_form(section) if section["fixed_on"] <= plan.as_of else None
