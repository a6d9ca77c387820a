"""The step of the build that fits the models and writes what they say.

Reads courses and outcomes, writes the tables of TABLES. A model that cannot be had is a
row with its reason.
"""

from __future__ import annotations

import json
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from scipy import stats

from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.adjusted_factors import adjusted_rows, contrast_rows
from queen_outcomes.models.choose import by_reason
from queen_outcomes.models.closed import ClosedCourses, read_closed, read_factors
from queen_outcomes.models.fitted import Fitted, join
from queen_outcomes.models.model_tables import MODEL_INPUTS, RISK_MODELS, SCHEMAS
from queen_outcomes.models.onset_results import onset_rows
from queen_outcomes.models.predictive_checks import cross_validate, look_forward
from queen_outcomes.models.questions import models_of
from queen_outcomes.models.reuse import INPUTS, earlier_store, fingerprint, take_over
from queen_outcomes.models.risks import risk_model, write_risks
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.stats.logistic.plain import wald_test
from queen_outcomes.stats.shares.multiplicity import holm

Row = dict[str, Any]
Z_95 = float(stats.norm.isf(0.025))


def fit_models(
    store: Store,
    settings: Settings,
    plan: SeasonPlan | None = None,
    earlier: Path | None = None,
) -> int:
    """Fit every model of every outcome and window, and write what they say.

    Parameters
    ----------
    store : Store
        Holds courses, onset and outcomes.
    settings : Settings
    plan : SeasonPlan, optional
        What is fixed for the season, and takes up what is fixed now; not given:
        everything is chosen anew.
    earlier : Path, optional
        The folder of the build before: a question whose models would stand on the same
        takes its rows over.

    Returns
    -------
    int
        Questions taken over.
    """
    values = read_factors(store, settings.prior_cases)
    schemas = {**SCHEMAS, "risk_models": RISK_MODELS}
    own = [name for name in schemas if name != "onset_days"]
    tables: dict[str, list[Row]] = {name: [] for name in schemas}
    marks: list[Row] = []
    taken = 0
    with earlier_store(earlier) as before:
        for question in settings.outcomes.windows:
            closed = read_closed(store, values, question, settings.outcomes.grace_days)
            mark = fingerprint(closed, settings, plan)
            found = take_over(before, question, mark, own)
            taken += found is not None
            if found is None:
                found = _fitted(closed, settings, plan)
            for name, rows in found.items():
                tables[name] += rows
            now = fingerprint(closed, settings, plan)
            marks.append(dict(zip(MODEL_INPUTS, (*question, now), strict=True)))
    for name, rows in onset_rows(store, settings, values, plan).items():
        tables[name] += rows
    for name, rows in tables.items():
        _write(store, name, rows, schemas[name])
    _write(store, INPUTS, marks, MODEL_INPUTS)
    return taken


def _fitted(
    closed: ClosedCourses,
    settings: Settings,
    plan: SeasonPlan | None,
) -> dict[str, list[Row]]:
    """Fit a question's models and give their rows for every table."""
    found: dict[str, list[Row]] = {"risk_models": []}
    for model, fitted in models_of(closed, settings, plan).items():
        names = ("outcome", "window_days", "model")
        place = dict(zip(names, (*closed.question, model), strict=True))
        for name, rows in rows_of(fitted, place).items():
            found.setdefault(name, []).extend({**place, **row} for row in rows)
        if model == "main":
            told = write_risks(risk_model(closed.question[0], fitted))
            found["risk_models"].append({**place, "risks": json.dumps(told)})
    return found


def rows_of(fitted: Fitted, place: Row) -> dict[str, list[Row]]:
    """Give a model's rows for every table."""
    seed = zlib.crc32("/".join(map(str, place.values())).encode())
    there = fitted.method != "none"
    return {
        "model_fits": [fit_row(fitted, seed)],
        "model_terms": term_rows(fitted),
        "model_coefficients": coefficient_rows(fitted) if there else [],
        "model_groups": group_rows(fitted),
        "adjusted": adjusted_rows(fitted) if there else [],
        "contrasts": contrast_rows(fitted) if there else [],
    }


def fit_row(fitted: Fitted, seed: int) -> Row:
    """Say what was fitted on what, and how well it predicts."""
    checked = cross_validate(fitted, seed)
    figures = (
        *("auc", "auc_low", "auc_high", "brier", "base_brier"),
        *("intercept", "slope"),
    )
    shown = [getattr(checked, name) if checked else None for name in figures]
    names = (
        *("auc", "auc_low", "auc_high", "brier", "brier_base"),
        *("calibration_intercept", "calibration_slope"),
    )
    return {
        "method": fitted.method,
        "imputations": fitted.imputations,
        "rows": len(fitted.courses.y),
        "events": int(fitted.courses.y.sum()),
        "left_out": "; ".join(
            by_reason([*fitted.courses.left_out, *fitted.design.left_out])
        ),
        "log_likelihood": fitted.log_likelihood,
        **dict(zip(names, shown, strict=True)),
        "converged": fitted.converged,
        "message": join(fitted.message, look_forward(fitted)),
    }


def term_rows(fitted: Fitted) -> list[Row]:
    """Give the test of every factor as a whole, and whether a spline bends."""
    raised = holm([test.p for test in fitted.tests])
    return [
        {
            "term": form.term.name,
            "df": test.df,
            "statistic": test.statistic,
            "p": test.p,
            "p_holm": p_holm,
            "chosen_form": join(form.said, bends(fitted, number)),
        }
        for number, (form, test, p_holm) in enumerate(
            zip(fitted.design.forms, fitted.tests, raised, strict=True)
        )
    ]


def bends(fitted: Fitted, number: int) -> str:
    """Test a spline against a line, by Wald; say nothing of other forms."""
    columns = fitted.design.columns_of(number)[1:]
    if not len(fitted.design.forms[number].knots) or not columns:
        return ""
    each = fitted.freedom(np.eye(len(fitted.beta))[columns])
    df = None if each is None else float(each.min())
    p = wald_test(fitted.beta, fitted.cov, columns, df=df).p
    return f"against a line P = {p:.2g}" if np.isfinite(p) else ""


def coefficient_rows(fitted: Fitted) -> list[Row]:
    """Give every coefficient, in log odds within batch and operator."""
    forms = fitted.design.forms
    return [
        {
            "term": forms[owner].term.name if owner >= 0 else "constant",
            "coefficient": name.split(": ", 1)[-1],
            "estimate": fitted.beta[j],
            "se": fitted.se[j],
            "low": fitted.low[j],
            "high": fitted.high[j],
        }
        for j, (name, owner) in enumerate(
            zip(fitted.design.names, fitted.design.owner, strict=True)
        )
    ]


def group_rows(fitted: Fitted) -> list[Row]:
    """Give each grouping's deviation (level null) and each level's intercept."""
    if fitted.mixed is None:
        return []
    rows: list[Row] = []
    for name, sd in fitted.mixed.theta_sd.items():
        levels, counts = np.unique(fitted.courses.values[name], return_counts=True)
        rows.append(
            {"grouping": name, "level": None, "courses": len(fitted.courses.y)}
            | {"effect": sd, **deviation_limits(fitted, name)}
        )
        named = levels != ""
        first = int(
            named.argmax()
        )  # texts that are missing sort first and have no name
        modes, errors = fitted.mixed.modes[name], fitted.mixed.mode_se[name]
        for at in np.flatnonzero(named):
            effect, arm = modes[at - first], Z_95 * errors[at - first]
            rows.append(
                {"grouping": name, "level": str(levels[at]), "courses": int(counts[at])}
                | {"effect": effect, "low": effect - arm, "high": effect + arm}
            )
    return rows


def deviation_limits(fitted: Fitted, name: str) -> Row:
    """Give a deviation's limits, on the logarithm; none where it is zero."""
    mixed = fitted.mixed
    sd, at = mixed.theta_sd[name], len(fitted.beta) + mixed.names.index(name)
    se = float(np.sqrt(max(mixed.cov_joint[at, at], 0.0)))
    if not (sd > 0 and se > 0):
        return {"low": None, "high": None}
    arm = Z_95 * se / sd
    return {"low": sd * np.exp(-arm), "high": sd * np.exp(min(arm, 50.0))}


def _write(store: Store, name: str, rows: list[Row], schema: Row) -> None:
    plain = [{key: _plain(value) for key, value in row.items()} for row in rows]
    store.con.register("modelled", pl.DataFrame(plain, schema=schema))
    store.table(name, "SELECT * FROM modelled")
    store.con.unregister("modelled")


def _plain(value: Any) -> Any:
    """Give a number that is not finite as an empty cell."""
    if isinstance(value, float | np.floating):
        return float(value) if np.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else value
