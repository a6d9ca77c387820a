"""The step of the build that audits technique: batches first, then operators.

Reads courses, outcomes and what the models' step left; writes the tables of AUDIT, and for
the page the internal ones of AUDIT_INTERNAL.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from queen_outcomes.audit.audit_tables import SCHEMAS, write
from queen_outcomes.audit.batches import batch_rows, day_rows
from queen_outcomes.audit.cases import (
    Cases,
    Question,
    batch_parts,
    read_cases,
    read_risk_model,
)
from queen_outcomes.audit.checker_agreement import agreement_rows
from queen_outcomes.audit.learning import experience_rows, learning_rows
from queen_outcomes.audit.operators import (
    Z_95,
    Intercept,
    operator_rows,
    spread_rows,
)
from queen_outcomes.audit.running_series import (
    Season,
    expected_by_others,
    part_rows,
    running_series_of,
    signal_batches,
    signal_rows,
)
from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.models.station_factors import read_closed, read_factors

Row = dict[str, Any]
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
            closed = read_closed(store, values, question)
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


def _columns(kind: Any, *names: str) -> dict[str, Any]:
    return dict.fromkeys(names, kind)


_WHOSE = _columns(pl.String, "operator")
_COUNTS = _columns(pl.Int64, "courses", "failures")
_BATCH = {
    **_columns(pl.String, "kind", "batch"),
    **_COUNTS,
    "expected": pl.Float64,
    "alone": pl.Boolean,
}
_SIGNAL = {**_WHOSE, "series": pl.String, "case": pl.Int64}
DETAILS: dict[str, tuple[dict[str, Any], str]] = {
    "operator_batches": ({**_WHOSE, **_BATCH}, "operator, kind, batch"),
    "operator_signals": (
        {
            **_SIGNAL,
            **_columns(pl.String, "direction", "course_id", "inseminated_at"),
            "known_on": pl.Date,
            "first_case": pl.Int64,
            **_COUNTS,
            "expected": pl.Float64,
        },
        'operator, series, "case"',
    ),
    "signal_batches": (
        {**_SIGNAL, **_BATCH},
        'operator, series, "case", kind, batch',
    ),
    "audit_days": (
        {
            "d0": pl.Date,
            "season": pl.String,
            **_COUNTS,
            "expected": pl.Float64,
            **_columns(pl.Int64, "low", "high"),
            "mid_p": pl.Float64,
            "flag": pl.String,
            **_columns(
                pl.List(pl.String), "operators", "graft_batches", "semen_batches"
            ),
        },
        "d0",
    ),
    "experience": (
        {
            **_WHOSE,
            **_columns(pl.Int64, "from_case", "to_case"),
            "middle": pl.Float64,
            **_COUNTS,
            **_columns(pl.Float64, "share", "low", "high", "expected"),
            "shown": pl.Boolean,
        },
        "operator, from_case",
    ),
    "learning": (
        {
            **_WHOSE,
            **_columns(pl.Int64, "case", "number"),
            **_columns(pl.Date, "d0", "known_on"),
            "failed": pl.Boolean,
            "value": pl.Float64,
            "reached": pl.Boolean,
        },
        'operator, "case"',
    ),
    "learning_limits": (
        {
            **_WHOSE,
            **_columns(pl.Int64, "first_number", "watched", "decided"),
            **_columns(pl.Float64, "adequate", "inadequate", "limit"),
            **_columns(pl.Float64, "false_chance", "true_chance"),
            "reached_at": pl.Int64,
            "message": pl.String,
        },
        "operator",
    ),
    "operator_spread": (
        {"operators": pl.Int64, **_columns(pl.Float64, "phi", "tau2")},
        "operators",
    ),
    "checker_agreement": (
        {
            **_columns(pl.String, "measure", "first_checker", "second_checker"),
            **_columns(pl.Int64, "pairs", "agree"),
            **_columns(pl.Float64, "kappa", "mean", "spread", "low", "high"),
            "message": pl.String,
        },
        "measure, first_checker NULLS FIRST, second_checker",
    ),
}
"""Table -> its columns and its order."""


def write_details(
    store: Store, settings: Settings, cases: Cases, series: list[Row]
) -> None:
    """Write the tables of DETAILS.

    Parameters
    ----------
    store : Store
        Holds checker_pairs.
    settings : Settings
    cases : Cases
        Closed courses of the plan's outcome, with risks.
    series : list of dict
        Rows of `operator_series`.
    """
    few, prior = settings.min_shown, settings.prior_cases
    parts = {name: batch_parts(name, cases) for name in cases.by_operator()}
    signals, runs = signal_rows(series)
    learning, limits = learning_rows(cases, prior, few)
    rows = {
        "operator_batches": part_rows(parts),
        "operator_signals": signals,
        "signal_batches": signal_batches(signals, runs, cases, parts),
        "audit_days": day_rows(cases),
        "experience": experience_rows(cases, prior, few),
        "learning": learning,
        "learning_limits": limits,
        "operator_spread": spread_rows(cases, few),
        "checker_agreement": agreement_rows(store, few),
    }
    for name, (schema, order) in DETAILS.items():
        write(store, name, pl.DataFrame(rows[name], schema=schema), order)
