"""The step of the build that fits the models and writes what they say.

Reads courses and outcomes, writes the tables of TABLES. A model that cannot be had is a
row with its reason.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from scipy import stats

from queen_outcomes import resources
from queen_outcomes.models.adjusted_factors import adjusted_rows, contrast_rows
from queen_outcomes.models.analysis_set import analysis_set, take
from queen_outcomes.models.fit import fit_courses
from queen_outcomes.models.fitted import Fitted, join
from queen_outcomes.models.honesty import cross_validate, look_forward
from queen_outcomes.models.model_tables import SCHEMAS
from queen_outcomes.models.multiplicity import holm
from queen_outcomes.models.plain import wald_test
from queen_outcomes.models.terms import BENCH, MAIN, Term
from queen_outcomes.models.weighted import Closed, fit_weighted
from queen_outcomes.settings import Settings
from queen_outcomes.store import Store

Row = dict[str, Any]
Z_95 = float(stats.norm.isf(0.025))


def fit_models(store: Store, settings: Settings) -> None:
    """Fit the main, the bench and the weighted model of every outcome and window."""
    values = read_factors(store, settings.prior_cases)
    tables: dict[str, list[Row]] = {name: [] for name in SCHEMAS}
    for question in settings.outcomes.windows:
        closed = _closed(store, values, question)
        for model, fitted in _models(closed, question[0], settings).items():
            names = ("outcome", "window_days", "model")
            place = dict(zip(names, (*question, model), strict=True))
            for name, rows in rows_of(fitted, place).items():
                tables[name] += [{**place, **row} for row in rows]
    for name, rows in tables.items():
        _write(store, name, rows)


def _models(closed: Closed, outcome: str, settings: Settings) -> dict[str, Fitted]:
    decided = np.flatnonzero(closed.decided)
    values, answers = take(closed.values, decided), closed.answer[decided]
    terms, always = main_terms(settings), settings.models.adjust_for
    main = fit_courses(analysis_set(values, answers, terms), always)
    bench = analysis_set(values, answers, (*terms, *BENCH.values()))
    return {
        "main": main,
        "bench": fit_courses(bench, always),
        "weighted": fit_weighted(main, closed, outcome),
    }


def main_terms(settings: Settings) -> tuple[Term, ...]:
    """Give the station's terms in its order; what is adjusted for is always in.

    The time between two exposures goes with the schedule.
    """
    names = list(dict.fromkeys([*settings.models.terms, *settings.models.adjust_for]))
    if "co2_schedule" in names and "co2_gap" not in names:
        names.insert(names.index("co2_schedule") + 1, "co2_gap")
    return tuple(MAIN[name] for name in names)


def read_factors(store: Store, prior: Mapping[str, int]) -> dict[str, np.ndarray]:
    """Give every course's factors as arrays, in the order of the ids."""
    frame = store.frame(resources.read("sql", "8_models", "factors.sql"))
    values = {
        name: frame[name].cast(pl.Float64).to_numpy()
        if frame[name].dtype.is_numeric()
        else frame[name].to_numpy().astype(str)
        for name in frame.columns
    }
    values = {
        name: np.where(np.isfinite(x), x, np.nan) if x.dtype.kind == "f" else x
        for name, x in values.items()
    }
    before = np.array([prior.get(name, 0) for name in values["operator"]], float)
    values["experience"] = np.log(np.maximum(values["operator_case"] + before, 1))
    values["semen_age"] = np.log1p(values["semen_age_h"])
    return values


def _closed(
    store: Store, values: dict[str, np.ndarray], question: tuple[str, int]
) -> Closed:
    found = store.frame(
        resources.read("sql", "8_models", "decided.sql"),
        dict(zip(("outcome", "window_days"), question, strict=True)),
    )
    ids = found["course_id"].to_numpy().astype(str)
    rows = np.flatnonzero(np.isin(values["course_id"], ids))
    # numpy orders texts by code point, whatever the database does: both are put so
    rows = rows[np.argsort(values["course_id"][rows], kind="stable")]
    found = found[np.argsort(ids, kind="stable")]
    return Closed(
        take(values, rows),
        found["answer"].cast(pl.Float64).fill_null(np.nan).to_numpy(),
        found["laid"].to_numpy().astype(bool),
        found["month"].to_numpy().astype(str),
    )


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
    figures = ("auc", "brier", "base_brier", "intercept", "slope")
    shown = [getattr(checked, name) if checked else None for name in figures]
    names = (
        *("auc", "brier", "brier_base"),
        *("calibration_intercept", "calibration_slope"),
    )
    return {
        "method": fitted.method,
        "imputations": 0,
        "rows": len(fitted.courses.y),
        "events": int(fitted.courses.y.sum()),
        "left_out": "; ".join([*fitted.courses.left_out, *fitted.design.left_out]),
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
        sizes = {"low": None, "high": None}
        rows.append(
            {"grouping": name, "level": None, "courses": len(fitted.courses.y)}
            | {"effect": sd, **sizes}
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


def _write(store: Store, name: str, rows: list[Row]) -> None:
    schema = SCHEMAS[name]
    plain = [{key: _plain(value) for key, value in row.items()} for row in rows]
    store.con.register("modelled", pl.DataFrame(plain, schema=schema))
    store.table(name, "SELECT * FROM modelled")
    store.con.unregister("modelled")


def _plain(value: Any) -> Any:
    """Give a number that is not finite as an empty cell."""
    if isinstance(value, float | np.floating):
        return float(value) if np.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else value
