"""The step of the build that audits technique: batches first, then operators.

Reads courses, outcomes and what the models' step left; writes the tables of SCHEMAS.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from queen_outcomes.audit.audit_tables import SCHEMAS, write
from queen_outcomes.audit.batch_figures import batch_rows
from queen_outcomes.audit.cases import Cases, Question, read_cases, read_risk_model
from queen_outcomes.audit.details import write_details
from queen_outcomes.audit.figures import Z_95, Intercept, Row, operator_rows
from queen_outcomes.audit.left_out import expected_by_others
from queen_outcomes.audit.season_measure import Season, running_series_of
from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.closed import read_closed, read_factors
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.models.season_plan import SeasonPlan

PROCESS = ("process_measures", "checker_pairs")


def audit_station(
    store: Store, settings: Settings, plan: SeasonPlan | None = None
) -> None:
    """Write operators, batches, running series and what they were measured by.

    Parameters
    ----------
    store : Store
        Holds courses, outcomes, model_groups and risk_models.
    settings : Settings
    plan : SeasonPlan, optional
        What is fixed for the season, and takes up what is fixed now.
    """
    values = read_factors(store, settings.prior_cases)
    rows: dict[str, list[Row]] = {name: [] for name in SCHEMAS}
    frames = []
    primary: Cases | None = None
    for question in settings.outcomes.windows:
        model = read_risk_model(store, question)
        grace = settings.outcomes.grace_days
        cases, factors = read_cases(store, values, question, grace)
        cases = cases.with_risk(model.risks(factors))
        found = {
            "operators": operator_rows(
                cases, model, intercepts(store, question), settings.min_shown
            ),
            "batches": batch_rows(cases, model.deviations),
        }
        if question == settings.plan.question:
            primary = cases
            name = plan.season if plan else max(cases.season.tolist(), default="")
            closed = read_closed(store, values, question, grace)
            season = Season(name, cases, factors, closed, question, settings, plan)
            found |= _followed(season, model, found["operators"])
        place = dict(zip(("outcome", "window_days"), question, strict=True))
        for name, made in found.items():
            rows[name] += [{**place, **row} for row in made]
        frames.append(_frame(cases, question))
    for name, schema in SCHEMAS.items():
        if name != "audit_courses":
            write(store, name, pl.DataFrame(rows[name], schema=schema))
    write(store, "audit_courses", pl.concat(frames))
    for name in PROCESS:
        store.step("07_audit", name, {})
    if primary is not None:
        write_details(store, settings, primary, rows["operator_series"])


def _followed(
    season: Season, model: RiskModel, operators: list[Row]
) -> dict[str, list[Row]]:
    """Give the plan's outcome its running series, and operators what belongs to them."""
    series, limits = running_series_of(season, model)
    others = expected_by_others(season)
    for row in operators:
        own = [one["signals"] for one in limits if one["operator"] == row["operator"]]
        row["signals"] = sum(own)
        row["provisional"] = season.is_provisional
        row["expected_by_others"] = others.get(row["operator"])
    return {"operator_series": series, "series_limits": limits}


def intercepts(store: Store, question: Question) -> dict[str, Intercept]:
    """Give the operators' random intercepts in the main model of a question."""
    found = store.rows(
        resources.read("sql", "07_audit", "operator_intercepts.sql"),
        dict(zip(("outcome", "window_days"), question, strict=True)),
    )
    return {
        level: Intercept(effect, (high - low) / (2 * Z_95))
        for level, effect, low, high in found
    }


def _frame(cases: Cases, question: Question) -> pl.DataFrame:
    outcome, days = question
    case = cases.operator_case
    columns = {
        name: getattr(cases, name)
        for name in SCHEMAS["audit_courses"]
        if hasattr(cases, name)
    }
    columns |= {"operator_case": np.where(np.isfinite(case), case, -1).astype(np.int64)}
    frame = pl.DataFrame(columns).with_columns(
        outcome=pl.lit(outcome),
        window_days=pl.lit(days, pl.Int64),
        operator_case=pl.when(pl.col("operator_case") > 0).then(
            pl.col("operator_case")
        ),
    )
    return frame.select(
        pl.col(name).cast(kind) for name, kind in SCHEMAS["audit_courses"].items()
    )
