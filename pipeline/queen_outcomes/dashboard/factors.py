"""Which factors go with success: how good each model is, and what it says.

Shows the models' tables and fits nothing. What goes with an outcome is not what brings
it about, and the page never says so.
"""

from __future__ import annotations

import datetime as dt
from itertools import groupby
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import figures
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.adjusted import curve_chart, difference_chart
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.fit import TOO_RARE
from queen_outcomes.models.terms import BENCH, GROUPS, MAIN, Term

TERMS: dict[str, Term] = {**MAIN, **BENCH, **GROUPS}
CURVES_SHOWN = 3
"""Curves drawn for an outcome, those with the smallest P; the rest are in the table."""
FEWEST_POINTS = 3
LEAST_OVERLAP = 10
"""Per cent; below it two values cannot be told apart."""

METHODS = {
    "glmm": "logistic, with random intercepts for operators and batches",
    "cluster_robust": "logistic, with limits that allow for graft batches",
    "plain": "logistic",
    "fixed_batches": "logistic, with the batches as levels",
    "firth": "logistic, penalised for few or separated answers",
    "none": "counts only",
}

Row = dict[str, Any]


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `factors.html` shows."""
    del as_of
    charts: dict[str, Any] = {}
    tables = {
        name: store.records(f'SELECT * FROM "{name}" ORDER BY ALL')
        for name in (
            "model_fits",
            "model_terms",
            "model_groups",
            "adjusted",
            "contrasts",
        )
    }
    sections = [
        _section(question, tables, charts) for question in settings.outcomes.windows
    ]
    fitted = [part for part in sections if part["has_model"]]
    return {
        "sections": fitted,
        "without": [part for part in sections if not part["has_model"]],
        "least_overlap": LEAST_OVERLAP,
        "least_rarer": TOO_RARE,
        "charts": charts,
    }


def _section(
    question: tuple[str, int], tables: dict[str, list[Row]], charts: dict[str, Any]
) -> Row:
    outcome, window = question
    models = _models(question, tables)
    main = models["main"]
    key = f"{outcome}-{window}"
    asked = f"{words.OUTCOME_WORDS[outcome]} by day {window}"
    drawn = _draw_curves(main, key, asked, charts)
    compared = _compared(main["contrasts"], models["weighted"]["contrasts"])
    shown = [row for row in compared if row["difference"] is not None]
    if shown:
        chart = difference_chart(
            drawn_rows(shown), question=f"difference in {asked}, points"
        )
        charts[f"differences-{key}"] = theme.dressed(chart)
    fit = main["model_fits"][0] if main["model_fits"] else None
    return {
        "key": key,
        "title": asked.capitalize(),
        "fit": fit,
        "has_model": bool(fit) and fit["method"] != "none",
        "courses": fit["rows"] if fit else 0,
        "events": fit["events"] if fit else 0,
        "reason": fit["message"] if fit else "not fitted",
        "verdict": verdict(fit),
        "method": METHODS[fit["method"]] if fit else "",
        "terms": _terms(main["model_terms"]),
        "curves": drawn,
        "differences_said": figures.differences_said(shown) if shown else "",
        "adjusted": _adjusted(main["adjusted"]),
        "compared": compared,
        "deviations": [
            {"grouping": TERMS[row["grouping"]].label, "sd": row["effect"]}
            for row in main["model_groups"]
            if row["level"] is None
        ],
        "weighted": models["weighted"]["model_fits"],
        "bench": _bench(models["bench"]),
    }


def _models(
    question: tuple[str, int], tables: dict[str, list[Row]]
) -> dict[str, dict[str, list[Row]]]:
    """Give each model's rows of each table, of one question."""
    chosen = {
        name: [row for row in rows if (row["outcome"], row["window_days"]) == question]
        for name, rows in tables.items()
    }
    return {
        model: {
            name: [row for row in rows if row["model"] == model]
            for name, rows in chosen.items()
        }
        for model in ("main", "bench", "weighted")
    }


def drawn_rows(rows: list[Row]) -> list[Row]:
    """Keep of differences what a chart draws and tells."""
    keys = ("name", "reference", "overlap", "difference", "low", "high")
    return [{key: row[key] for key in keys} for row in rows]


def verdict(fit: Row | None) -> str:
    """Say how well the model predicts, before anything else is said of it."""
    if fit is None or fit["method"] == "none":
        why = fit["message"] if fit else "it was not fitted"
        return f"There is no model: {why}."
    if fit["brier"] is None:
        return "How well this model predicts could not be measured: too few batches."
    figures = (
        f"mean squared error {fit['brier']:.3f} against {fit['brier_base']:.3f} for the "
        "base rate"
    )
    if fit["auc"] is not None:
        figures += f", area under the curve {fit['auc']:.2f} where 0.5 is guessing"
    if fit["brier"] >= fit["brier_base"]:
        return (
            "For graft batches it has not seen, this model does no better than the base "
            f"rate ({figures}): little below helps to foresee a queen's fate."
        )
    return (
        "For graft batches it has not seen, this model does better than the base rate "
        f"({figures})."
    )


def _terms(rows: list[Row]) -> list[Row]:
    named = [{**row, "factor": TERMS[row["term"]].label} for row in rows]
    return sorted(named, key=lambda row: _small_first(row["p"]))


def _small_first(p: float | None) -> float:
    return 2.0 if p is None else p


def _draw_curves(
    main: dict[str, list[Row]], key: str, asked: str, charts: dict[str, Any]
) -> list[Row]:
    """Draw the numbers whose test has the smallest P; give what the page says."""
    drawn: list[Row] = []
    for term in _terms(main["model_terms"]):
        name = term["term"]
        rows = [row for row in main["adjusted"] if row["factor"] == name]
        is_number = rows and rows[0]["value"] is not None
        if not is_number or len(rows) < FEWEST_POINTS or len(drawn) == CURVES_SHOWN:
            continue
        unit = "" if name == "season" else TERMS[name].unit
        axis = f"{TERMS[name].label} ({unit})" if unit else TERMS[name].label
        keys = ("value", "label", "probability", "low", "high", "courses_near")
        values = [{column: row[column] for column in keys} for row in rows]
        chart = f"curve-{key}-{name}"
        charts[chart] = theme.dressed(
            curve_chart(
                values, factor=axis, question=asked, days_of_year=name == "season"
            )
        )
        said = figures.curve_said(TERMS[name].label, values)
        table = [{**row, "share": row["probability"]} for row in values]
        drawn.append(
            {**term, "chart": chart, "axis": axis, "said": said, "rows": table}
        )
    return drawn


def _adjusted(rows: list[Row]) -> list[Row]:
    named = [
        {**row, "factor": TERMS[row["factor"]].label, "share": row["probability"]}
        for row in rows
    ]
    found: list[Row] = []
    for factor, part in groupby(named, key=lambda row: row["factor"]):
        found.append({"factor": factor, "rows": list(part)})
    return found


def _compared(rows: list[Row], weighted: list[Row] | None = None) -> list[Row]:
    """Put differences into words; where values hardly meet, say that instead."""
    pair = ("factor", "value", "reference")
    beside = {tuple(row[key] for key in pair): row for row in weighted or []}
    found = []
    for row in rows:
        given = row["risk_difference"] is not None
        label = TERMS[row["factor"]].label
        found.append(
            {
                "factor": label,
                "name": f"{label}: {row['value']}",
                "value": row["value"],
                "reference": row["reference"],
                "overlap": words.percent(row["overlap"]),
                "difference": row["risk_difference"],
                "low": row["low"],
                "high": row["high"],
                "points": _points(row) or "cannot be told apart",
                "weighted": _points(beside.get(tuple(row[key] for key in pair))),
                "odds": _ratio(row) if given else "",
                "p": row["p"],
                "p_holm": row["p_holm"],
            }
        )
    return found


def _points(row: Row | None) -> str:
    if row is None or row["risk_difference"] is None:
        return ""
    low, high = (f"{100 * row[side]:+.1f}" for side in ("low", "high"))
    return f"{100 * row['risk_difference']:+.1f} points ({low} to {high})"


def _ratio(row: Row) -> str:
    if None in (row["odds_ratio"], row["or_low"], row["or_high"]):
        return ""
    return f"{row['odds_ratio']:.2f} ({row['or_low']:.2f} to {row['or_high']:.2f})"


def _bench(bench: dict[str, list[Row]]) -> Row | None:
    """Give the second model's own factors: what happens on the bench."""
    fit = bench["model_fits"][0] if bench["model_fits"] else None
    if fit is None or fit["method"] == "none":
        return None
    own = [row for row in _terms(bench["model_terms"]) if row["term"] in BENCH]
    compared = [row for row in bench["contrasts"] if row["factor"] in BENCH]
    return {"fit": fit, "terms": own, "compared": _compared(compared)}
