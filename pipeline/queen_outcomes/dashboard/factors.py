"""Which factors go with success: how good each model is, and what it says.

Shows the models' tables and fits nothing. What goes with an outcome is not what brings
it about, and the page never says so.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts.adjusted import (
    by_factor,
    compared_row,
    curve_chart,
    curve_said,
    draw_differences,
)
from queen_outcomes.dashboard.charts.matrix import (
    CERTAINTIES,
    CLEAR,
    certainty,
    matrix_chart,
)
from queen_outcomes.dashboard.gap_warning import gap_warning
from queen_outcomes.facts import dose_words, words
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.adjusted_factors import LEAST_OVERLAP
from queen_outcomes.models.fit import TOO_RARE, shift_said
from queen_outcomes.models.terms import BENCH, GROUPS, MAIN, STRAIGHT, Term

TERMS: dict[str, Term] = {**MAIN, **BENCH, **GROUPS}
CURVES_SHOWN = 3
"""Curves drawn for an outcome, those with the smallest P; the rest are in the table."""
FEWEST_POINTS = 3
ENDS = ("points", "low", "high")
MOST_TOLD = 3
"""Clear differences that the page's first sentence names."""
TABLES = ("model_fits", "model_terms", "model_groups", "adjusted", "contrasts")

METHODS = {
    "glmm": "logistic, with random intercepts for operators and batches",
    "cluster_robust": "logistic, with limits that allow for graft batches",
    "plain": "logistic",
    "fixed_batches": "logistic, with the batches as levels",
    "firth": "logistic, penalised for few or separated answers",
    "none": "counts only",
}

Row = dict[str, Any]


def show(store: Store, settings: Settings, _as_of: dt.date) -> dict[str, Any]:
    """Give what the page `factors.html` shows."""
    charts: dict[str, Any] = {}
    tables = {
        name: store.records(f'SELECT * FROM "{name}" ORDER BY ALL') for name in TABLES
    }
    sections = [
        _section(question, tables, charts) for question in settings.outcomes.windows
    ]
    fitted = [part for part in sections if part["has_model"]]
    better = [part for part in fitted if part["foretells"]]
    poorer = [part for part in fitted if not part["foretells"]]
    cells = [cell for part in fitted for cell in part["cells"]]
    if cells:
        charts["matrix"] = matrix_chart(cells)
    return {
        "sections": fitted,
        "foretelling": better,
        "folded_parts": poorer,
        "ordered": [*better, *poorer],
        "cells": cells,
        "cell_rows": [{**cell, "points": _points_said(cell)} for cell in cells],
        "said": clear_said(cells),
        "warning": gap_warning(store, settings.plan.question),
        "without": [
            {**part["fit"], **part} for part in sections if not part["has_model"]
        ],
        "least_overlap": round(100 * LEAST_OVERLAP),
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
    asked = words.outcome_by_day(outcome, window)
    drawn = _draw_curves(main, key, asked, charts)
    compared = _compared(main["contrasts"])
    (fit,) = main["model_fits"]
    return {
        "key": key,
        "title": asked.capitalize(),
        "fit": fit,
        "has_model": fit["method"] != "none",
        "foretells": foretells(fit),
        "cells": _cells(question, main["contrasts"]),
        "verdict": verdict(fit),
        "method": METHODS[fit["method"]],
        "terms": _terms(main["model_terms"]),
        "straight": _straight(main["model_terms"]),
        "curves": drawn,
        "differences_said": draw_differences(
            charts, f"differences-{key}", compared, f"difference in {asked}, points"
        ),
        "adjusted": by_factor(main["adjusted"], lambda name: TERMS[name].label),
        "compared": compared,
        "deviations": [
            {"grouping": TERMS[row["grouping"]].label, "sd": row["effect"]}
            for row in main["model_groups"]
            if row["level"] is None
        ],
        "bench": _bench(models["bench"]),
    }


def _straight(terms: list[Row]) -> str:
    """Name the factors that may bend and could only be given a straight line."""
    return ", ".join(
        TERMS[row["term"]].label
        for row in terms
        if row["chosen_form"].startswith(STRAIGHT)
    )


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
        for model in ("main", "bench")
    }


def foretells(fit: Row) -> bool:
    """Tell whether a model does better than the base rate, or could not be measured."""
    return fit["brier"] is None or fit["brier"] < fit["brier_base"]


def verdict(fit: Row) -> str:
    """Say how well the model predicts, before anything else is said of it."""
    if fit["method"] == "none":
        return f"There is no model: {fit['message']}."
    shifted = shift_said(fit["shift"])
    return _foretold(fit) + (f" {shifted[:1].upper()}{shifted[1:]}." if shifted else "")


def _foretold(fit: Row) -> str:
    if fit["brier"] is None:
        return "How well this model predicts could not be measured: too few batches."
    figures = (
        f"mean squared error {fit['brier']:.3f} against {fit['brier_base']:.3f} for the "
        "base rate"
    )
    if fit["auc"] is not None:
        figures += f"; area under the curve {fit['auc']:.2f}, where 0.5 is guessing"
    does = "better" if foretells(fit) else "no better"
    return f"On graft batches it has not seen: {does} than the base rate ({figures})."


def _cells(question: tuple[str, int], contrasts: list[Row]) -> list[Row]:
    """Give the surest difference of each factor, of those the largest, in points of success.

    Where more of the outcome is worse the difference is turned round, so that in the
    whole matrix up is good.
    """
    outcome = OUTCOMES[question[0]]
    turn = 1 if outcome.fails == "no" else -1
    given = [
        {**row, "certainty": certainty(row)}
        for row in contrasts
        if row["risk_difference"] is not None and row["low"] is not None
    ]
    given.sort(key=lambda r: (-CERTAINTIES.index(r["certainty"]), abs(r["risk_difference"])))
    surest = {row["factor"]: row for row in given}
    found = []
    for name, row in surest.items():
        ends = sorted(100 * turn * row[side] for side in ("low", "high"))
        found.append(
            {
                "factor": TERMS[name].label,
                "outcome": outcome.success.format(question[1]),
                "points": 100 * turn * row["risk_difference"],
                "low": ends[0],
                "high": ends[1],
                "pair": f"{row['value']} against {row['reference']}",
                "certainty": row["certainty"],
            }
        )
    return found


def clear_said(cells: list[Row]) -> str:
    """Say which factors go clearly with which outcome, the largest difference first."""
    clear = sorted(
        (cell for cell in cells if cell["certainty"] == CLEAR),
        key=lambda cell: -abs(cell["points"]),
    )
    if not cells:
        return ""
    if not clear:
        return "No factor goes clearly with any outcome."
    told = [
        f"{cell['outcome']} with {cell['factor']} ({cell['pair']}): {_points_said(cell)}"
        for cell in clear[:MOST_TOLD]
    ]
    more = len(clear) - MOST_TOLD
    rest = f"; and {more} more" if more > 0 else ""
    return f"Goes clearly: {'; '.join(told)}{rest}."


def _points_said(cell: Row) -> str:
    points, low, high = (dose_words.points(cell[key] / 100) for key in ENDS)
    return f"{points} points ({low} to {high})"


def _terms(rows: list[Row]) -> list[Row]:
    named = [{**row, "factor": TERMS[row["term"]].label} for row in rows]
    return sorted(named, key=lambda row: 2.0 if row["p"] is None else row["p"])


def _draw_curves(
    main: dict[str, list[Row]], key: str, asked: str, charts: dict[str, Any]
) -> list[Row]:
    """Draw the numbers whose test has the smallest P; give what the page says."""
    drawn: list[Row] = []
    for term in _terms(main["model_terms"]):
        name = term["term"]
        # where too much is filled in a value has no share: the curve leaves it out
        rows = [
            row
            for row in main["adjusted"]
            if row["factor"] == name and row["probability"] is not None
        ]
        is_number = rows and rows[0]["value"] is not None
        if not is_number or len(rows) < FEWEST_POINTS or len(drawn) == CURVES_SHOWN:
            continue
        unit = "" if name == "season" else TERMS[name].unit
        axis = f"{TERMS[name].label} ({unit})" if unit else TERMS[name].label
        keys = ("value", "label", "probability", "low", "high", "courses_near")
        values = [{column: row[column] for column in keys} for row in rows]
        chart = f"curve-{key}-{name}"
        charts[chart] = curve_chart(
            values, factor=axis, question=asked, days_of_year=name == "season"
        )
        said = curve_said(TERMS[name].label, values)
        table = [{**row, "share": row["probability"]} for row in values]
        drawn.append(
            {**term, "chart": chart, "axis": axis, "said": said, "rows": table}
        )
    return drawn


def _compared(rows: list[Row]) -> list[Row]:
    """Put differences into words."""
    return [
        {**compared_row(row, TERMS[row["factor"]].label), "odds": _ratio(row)}
        for row in rows
    ]


def _ratio(row: Row) -> str:
    odds = (row["odds_ratio"], row["or_low"], row["or_high"])
    if row["risk_difference"] is None or None in odds:
        return ""
    return f"{row['odds_ratio']:.2f} ({row['or_low']:.2f} to {row['or_high']:.2f})"


def _bench(bench: dict[str, list[Row]]) -> Row | None:
    """Give the second model's own factors: what happens on the bench."""
    (fit,) = bench["model_fits"]
    if fit["method"] == "none":
        return None
    own = [row for row in _terms(bench["model_terms"]) if row["term"] in BENCH]
    compared = [row for row in bench["contrasts"] if row["factor"] in BENCH]
    return {"fit": fit, "terms": own, "compared": _compared(compared)}
