"""The step of the build that audits technique: batches first, then operators.

Reads courses, outcomes and what the models' step left; writes the tables of AUDIT, and for
pages and commands the internal ones of AUDIT_INTERNAL.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from queen_outcomes.audit.apart import apart_from
from queen_outcomes.audit.batches import batch_rows, day_rows
from queen_outcomes.audit.cases import batch_parts, read_risk_model
from queen_outcomes.audit.checker_agreement import agreement_rows
from queen_outcomes.audit.learning import experience_rows, learning_rows
from queen_outcomes.audit.operators import (
    Intercept,
    operator_rows,
    read_intercepts,
    spread_rows,
)
from queen_outcomes.audit.running_series import (
    AuditSeason,
    expected_by_others,
    running_series_of,
    signal_rows,
)
from queen_outcomes.base.store import Store
from queen_outcomes.base.workers import Task, Workers
from queen_outcomes.facts.exports.audit import AUDIT, AUDIT_COURSES, AUDIT_INTERNAL
from queen_outcomes.facts.exports.writing import schema, write_frame, write_rows
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.closed import ClosedCourses, read_closed, read_factors
from queen_outcomes.models.factor_fills import read_filled_factors
from queen_outcomes.models.questions import main_terms
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.outcomes.fills import beside_for

Row = dict[str, Any]


def audit_station(
    store: Store,
    settings: Settings,
    plan: SeasonPlan | None = None,
    workers: Workers | None = None,
) -> None:
    """Write operators, batches, running series and what they were measured by.

    Parameters
    ----------
    store : Store
        Holds courses, outcomes, model_groups and risk_models.
    settings : Settings
    plan : SeasonPlan, optional
        What is fixed for the season, and takes up what is fixed now.
    workers : Workers, optional
        Who audits a question, a season or an operator each; not given: all is done here.
    """
    for name in ("process_measures", "checker_pairs"):
        store.step("07_audit", name, {})
    values = read_factors(store, settings.prior_cases)
    beside = beside_for(workers, len(values["course_id"]))
    fillings = read_filled_factors(store, values)
    grace = settings.outcomes.grace_days
    rows: dict[str, list[Row]] = defaultdict(list)
    frames, tasks, following = [], [], None
    for question in settings.outcomes.windows:
        model = read_risk_model(store, question)
        cases = read_closed(store, values, question, grace, fillings=fillings)
        cases = cases.with_risk(model.risks(cases.values))
        if question == settings.plan.question:
            name = plan.season if plan else max(cases.season.tolist(), default="")
            own_plan = plan and plan.apart()
            season = AuditSeason(name, cases.on_settled(), settings, own_plan)
            following = _begin_following(season, cases, model, beside)
        intercepts = read_intercepts(store, question)
        tasks.append(beside.submit(_audited, cases, model, intercepts, settings))
        frames.append(_frame(cases))
    if following:
        rows |= details(store, settings, following.season.cases)
    audited = beside.results(tasks)
    for question, found in zip(settings.outcomes.windows, audited, strict=True):
        if following and question == settings.plan.question:
            found.update(_followed(following, found["operators"], plan, beside))
        for name, made in found.items():
            rows[name] += [{**question_columns(question), **row} for row in made]
    for table in (*AUDIT, *AUDIT_INTERNAL):
        if table is not AUDIT_COURSES:
            write_rows(store, table, rows[table.name])
    write_frame(store, AUDIT_COURSES, pl.concat(frames))


def _audited(
    cases: ClosedCourses,
    model: RiskModel,
    intercepts: Mapping[str, Intercept],
    settings: Settings,
) -> dict[str, list[Row]]:
    """Give a question's operators and batches."""
    apart = apart_from(cases, model, main_terms(settings))
    operators = operator_rows(cases, model, intercepts, settings.min_shown, apart)
    batches = batch_rows(cases.on_settled(), model.deviations)
    return {"operators": operators, "batches": batches}


@dataclass(frozen=True, eq=False)
class _Following:
    """The plan's outcome, its season being followed.

    ``series`` gives running series, their limits and the plan; ``others`` each operator's
    failures as all others would lead one to expect.
    """

    season: AuditSeason
    series: Task
    others: dict[str, Task]


def _begin_following(
    season: AuditSeason, cases: ClosedCourses, model: RiskModel, workers: Workers
) -> _Following:
    series = workers.submit(_series, season, cases, model)
    return _Following(season, series, expected_by_others(season, workers))


def _series(
    season: AuditSeason, cases: ClosedCourses, model: RiskModel
) -> tuple[list[Row], list[Row], SeasonPlan | None]:
    apart = apart_from(cases, model, main_terms(season.settings))
    names = {name: one.name for name, one in apart.items()}
    return (*running_series_of(season, model, names), season.plan)


def _followed(
    following: _Following,
    operators: list[Row],
    plan: SeasonPlan | None,
    workers: Workers,
) -> dict[str, list[Row]]:
    """Give the plan's outcome its running series, and operators what belongs to them."""
    season = following.season
    expected = workers.results(following.others.values())
    others = dict(zip(following.others, expected, strict=True))
    series, limits, fixed = following.series.result()
    if plan:
        plan.take_up(fixed)
    parts = batch_parts(season.cases)
    signals, batches = signal_rows(series, season.cases, parts)
    episodes = {s["operator"]: s["episode"] for s in sorted(signals, key=_by_episode)}
    for row in operators:
        row["signals"] = episodes.get(row["operator"], 0)
        row["provisional"] = season.is_provisional
        if "expected" in row:
            row["expected_by_others"] = others.get(row["operator"])
    return {
        "operator_series": series,
        "series_limits": limits,
        "operator_batches": parts,
        "operator_signals": signals,
        "signal_batches": batches,
    }


def _by_episode(signal: Row) -> int:
    return signal["episode"]


def details(
    store: Store, settings: Settings, cases: ClosedCourses
) -> dict[str, list[Row]]:
    """Give the rows of what the operators' page shows beyond the exported tables.

    Parameters
    ----------
    store : Store
        Holds checker_pairs.
    settings : Settings
    cases : ClosedCourses
        Closed courses of the plan's outcome, with risks.
    """
    few, prior = settings.min_shown, settings.prior_cases
    learning, limits = learning_rows(cases, prior, few)
    return {
        "audit_days": day_rows(cases),
        "experience": experience_rows(cases, prior, few),
        "learning": learning,
        "learning_limits": limits,
        "operator_spread": spread_rows(cases, few),
        "checker_agreement": agreement_rows(store, few),
    }


def _frame(cases: ClosedCourses) -> pl.DataFrame:
    """Give courses as the table `audit_courses` has them."""
    columns = {
        name: getattr(cases, name)
        for name in schema(AUDIT_COURSES)
        if hasattr(cases, name)
    }
    place = question_columns(cases.question)
    return pl.DataFrame(columns).with_columns(
        **{k: pl.lit(v) for k, v in place.items()}
    )
