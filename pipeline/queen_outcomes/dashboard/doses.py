"""Dose protocols side by side: differences against the margin, the dose, and the cost.

Shows the tables of the dose comparison and computes nothing.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import theme
from queen_outcomes.dashboard.charts.adjusted import curve_chart
from queen_outcomes.dashboard.dose_section import Told, section
from queen_outcomes.facts import dose_words as said
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]
OF_TRIAL = {
    "arms": "arms",
    "contrasts": "arm_contrasts",
    "models": "arm_models",
    "overlap": "arm_overlap",
    "costs": "arm_costs",
    "needs": "arm_needs",
}
UNNAMED = (
    "SELECT trial, count(*) AS courses FROM arm_courses WHERE arm = '' GROUP BY ALL"
)
FEWEST_POINTS = 2


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `doses.html` shows."""
    del as_of
    charts: dict[str, Any] = {}
    question = settings.plan.question
    tables = {
        name: store.records(f'SELECT * FROM "{table}" ORDER BY ALL')
        for name, table in OF_TRIAL.items()
    }
    tables["levels"] = store.records(resources.read("sql", "10_pages", "arm_levels.sql"))
    tables["unnamed"] = store.records(UNNAMED)
    trials = {row["trial"] for row in tables["arms"]}
    parts = [
        section(_told(tables, trial, question), f"part-{at}", charts)
        for at, trial in enumerate(sorted(trials, key=lambda t: t or ""))
    ]
    return {
        "parts": parts,
        "nothing": ""
        if parts
        else "No course has an arm: neither protocols nor doses are recorded.",
        "margin": settings.plan.margin,
        "asked": said.success(*question),
        "curve": _curve(store, question, charts),
        "charts": charts,
    }


def _told(
    tables: dict[str, list[Row]], trial: str | None, question: tuple[str, int]
) -> Told:
    chosen = {
        name: [row for row in rows if row["trial"] == trial]
        for name, rows in tables.items()
    }
    unnamed = sum(row["courses"] for row in chosen.pop("unnamed"))
    return Told(trial, question, **chosen, unnamed=unnamed)


def _curve(store: Store, question: tuple[str, int], charts: dict[str, Any]) -> Row:
    """Give the adjusted share by dose, the trend, and the dose for a success."""
    place = dict(zip(("outcome", "window_days"), question, strict=True))
    where = "WHERE outcome = $outcome AND window_days = $window_days ORDER BY ALL"
    rows, trends, doses = (
        store.records(f'SELECT * FROM "{name}" {where}', place)
        for name in ("dose_response", "dose_trends", "dose_for")
    )
    outcome = words.OUTCOME_WORDS[question[0]]
    if len(rows) >= FEWEST_POINTS:
        values = [
            {
                "value": row["dose_ul"],
                "label": f"{row['dose_ul']:.3g} uL",
                **{k: row[k] for k in ("probability", "low", "high", "courses_near")},
            }
            for row in rows
        ]
        asked = f"{outcome} by day {question[1]}"
        chart = curve_chart(values, factor="dose of a course (uL)", question=asked)
        charts["dose-response"] = theme.dressed(chart)
    return {
        "rows": [{**row, "share": row["probability"]} for row in rows],
        "trend": trend_said(trends[0]) if trends else "",
        "doses": [dose_said(row) for row in doses],
    }


def trend_said(row: Row) -> str:
    """Say the test of a trend, which allows for batches and for nothing else."""
    if row["p"] is None:
        return f"No trend can be tested: {row['message']}."
    way = "rises" if row["slope"] > 0 else "falls"
    text = (
        f"Without any adjustment the share of success {way} by "
        f"{100 * abs(row['slope']):.2f} points a uL (P = {row['p']:.2g} for a trend, "
        f"scores: {row['scored_by']})."
    )
    if row["lack_p"] is not None and row["lack_p"] < 0.05:
        text += f" A straight line does not fit (P = {row['lack_p']:.2g})."
    return text


def dose_said(row: Row) -> str:
    """Say the dose for a share of success, with what limits there are."""
    share = f"{100 * row['success']:.0f} %"
    asked = f"{share} success"
    if row["asked"] != share:
        asked += f" ({row['asked']})"
    if row["dose_ul"] is None:
        why = row["said"].split(": ", 1)[-1]
        return f"{asked}{' ' if why.startswith('is ') else ': '}{why}."
    low, high = row["low"], row["high"]
    if low is None and high is None:
        limits = "no limits within the doses given"
    elif high is None:
        limits = f"95 % limits from {low:.1f} to beyond the doses given"
    elif low is None:
        limits = f"95 % limits from below the doses given to {high:.1f}"
    else:
        limits = f"95 % limits {low:.1f} to {high:.1f}"
    return f"{asked}: {row['dose_ul']:.1f} uL, {limits}."
