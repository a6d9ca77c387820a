"""Dose protocols side by side: differences against the margin, the dose, and the cost.

Shows the tables of the dose comparison and computes nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import altair as alt

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.adjusted import curve_chart
from queen_outcomes.doses.overlap import LEAST_OVERLAP, SHARED
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
    tables["levels"] = store.records(
        resources.read("sql", "10_pages", "arm_levels.sql")
    )
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
) -> Comparison:
    chosen = {
        name: [row for row in rows if row["trial"] == trial]
        for name, rows in tables.items()
    }
    unnamed = sum(row["courses"] for row in chosen.pop("unnamed"))
    return Comparison(trial, question, **chosen, unnamed=unnamed)


def _curve(store: Store, question: tuple[str, int], charts: dict[str, Any]) -> Row:
    """Give the adjusted share by dose, the trend, and the dose for a success."""
    place = dict(zip(("outcome", "window_days"), question, strict=True))
    where = "WHERE outcome = $outcome AND window_days = $window_days ORDER BY ALL"
    rows, trends, doses = (
        store.records(f'SELECT * FROM "{name}" {where}', place)
        for name in ("dose_response", "dose_trends", "dose_for")
    )
    if len(rows) >= FEWEST_POINTS:
        values = [
            {
                "value": row["dose_ul"],
                "label": f"{row['dose_ul']:.3g} uL",
                **{k: row[k] for k in ("probability", "low", "high", "courses_near")},
            }
            for row in rows
        ]
        asked = words.outcome_by_day(*question)
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


MOST_LEVELS = 12
"""Levels of a grouping that are listed where two arms cannot be told apart."""
FINITE = ("drones_per_success", "queens_per_success")


@dataclass(frozen=True, eq=False)
class Comparison:
    """What was found of one comparison: rows of its tables.

    Attributes
    ----------
    trial : str or None
        None outside of trials.
    question : tuple of str and int
        The one that arms are judged by.
    arms, contrasts, models, overlap, costs, needs, levels : list of dict
    unnamed : int
        Courses whose arm is not recorded.
    """

    trial: str | None
    question: tuple[str, int]
    arms: list[Row]
    contrasts: list[Row]
    models: list[Row]
    overlap: list[Row] = field(default_factory=list)
    costs: list[Row] = field(default_factory=list)
    needs: list[Row] = field(default_factory=list)
    levels: list[Row] = field(default_factory=list)
    unnamed: int = 0


def section(told: Comparison, key: str, charts: dict[str, Any]) -> Row:
    """Give what the page says of a comparison, and add its charts.

    Parameters
    ----------
    told : Comparison
    key : str
        Of this section's charts and headings.
    charts : dict
        Takes up the charts.
    """
    own = [row for row in told.contrasts if _is_asked(row, told.question)]
    by_lot = any(row["randomised"] for row in told.arms)
    outcome, window = told.question
    what = said.success(outcome, window)
    margin = next((row["margin"] for row in own if row["margin"]), None)
    shown = [row for row in own if row["difference"] is not None]
    if shown:
        rows = _lines(shown)
        chart = arm_difference_chart(
            rows, question=f"difference in {what}, points", margin=margin
        )
        charts[f"arms-{key}"] = theme.dressed(chart)
    costs = [row for row in told.costs if all(row[k] is not None for k in FINITE)]
    if len(costs) > 1:
        charts[f"costs-{key}"] = theme.dressed(frontier_chart(costs, success=what))
    return {
        "key": key,
        "title": f"Trial {told.trial}" if told.trial else "Outside of trials",
        "what": what,
        "by_lot": by_lot,
        "findings": findings(told, by_lot=by_lot),
        "basis": basis(told, by_lot=by_lot),
        "margin": margin,
        "needed": said.needed_said(told.needs) if margin is None else "",
        "needs_said": said.NEEDS,
        "needs": [_need(row) for row in told.needs] if margin is None else [],
        "arms": [_arm(row) for row in told.arms],
        "differences": [_difference(row) for row in own],
        "other": [
            _difference(row)
            for row in told.contrasts
            if row["primary"] and not _is_asked(row, told.question)
        ],
        "notes": _notes(own),
        "apart": _apart(told),
        "costs": [_cost(row) for row in told.costs],
        "assumptions": assumptions(told.costs),
        "model": next((m for m in told.models if _is_asked(m, told.question)), None),
    }


def assumptions(costs: list[Row]) -> list[str]:
    """Say once what all arms' costs stand on, and by arm what differs."""
    parts = {row["arm"]: row["assumptions"].split("; ") for row in costs}
    shared = [
        p for p in next(iter(parts.values()), []) if all(p in o for o in parts.values())
    ]
    arms: dict[str, list[str]] = {}
    for arm, own in parts.items():
        differs = "; ".join(part for part in own if part not in shared)
        if differs:
            arms.setdefault(differs, []).append(arm)
    told = [f"{', '.join(names)}: {differs}" for differs, names in arms.items()]
    return [*(["; ".join(shared)] if shared else []), *told]


def _is_asked(row: Row, question: tuple[str, int]) -> bool:
    return (row["outcome"], row["window_days"]) == question


def findings(told: Comparison, *, by_lot: bool) -> list[str]:
    """Say the primary method's figures, or why arms cannot be compared."""
    if not told.arms:
        return ["No course has an arm: neither protocols nor doses are recorded."]
    if len(told.arms) == 1:
        (row,) = told.arms
        return [f"There is one arm only, {row['arm']}: nothing to compare it with."]
    return [
        said.difference_said(row, by_lot=by_lot)
        for row in told.contrasts
        if row["primary"] and _is_asked(row, told.question)
    ]


def basis(told: Comparison, *, by_lot: bool) -> str:
    """Say where the arms come from, and which method was fixed beforehand."""
    if not told.arms:
        return ""
    row = told.arms[0]
    sources = {
        "protocol": "the protocols recorded",
        "dose meant": "the doses meant",
        "dose given": "the doses given, a guess",
    }
    text = f"Arms are read from {sources[row['source']]}."
    if told.unnamed:
        text += f" Left out, as theirs is not recorded: {said.counted(told.unnamed, 'course')}."
    if row["said"]:
        text += f" No verdict: {row['said']}."
    primary = {r["method"] for r in told.contrasts if r["primary"]}
    if by_lot:
        return f"{text} Arms stand side by side in the trial's blocks."
    if "adjusted" in primary:
        text += (
            " They were not drawn by lot: a difference goes with the arm, and what "
            "nobody recorded may go with it too."
        )
    return text


def _lines(rows: Sequence[Row]) -> list[Row]:
    """Order what is drawn: by arm, the method fixed beforehand first."""
    ordered = sorted(rows, key=lambda r: (r["arm"], not r["primary"], r["method"]))
    return [
        {
            "name": f"{row['arm']}, {said.METHODS[row['method']]}",
            "method": FIXED if row["primary"] else BESIDE,
            "difference": row["difference"],
            "low": row["low"],
            "high": row["high"],
        }
        for row in ordered
    ]


def _need(row: Row) -> Row:
    """Write out what a margin would need; a dash where no number of queens would do."""
    sizes = {key: row[key] for key in ("queens_alone", "queens")}
    told = {key: f"{n:,}" if n is not None else "–" for key, n in sizes.items()}
    return {"margin": f"{100 * row['margin']:g} points", **told}


def _arm(row: Row) -> Row:
    limits = words.limits(row["adjusted_low"], row["adjusted_high"])
    adjusted = f"{words.percent(row['adjusted'])} ({limits})" if limits else ""
    name = f"{row['arm']} (reference)" if row["reference"] else row["arm"]
    return {**row, "name": name, "share": row["rate"], "adjusted": adjusted}


def _difference(row: Row) -> Row:
    given = row["difference"] is not None
    points = ""
    if given:
        low, high = said.points(row["low"]), said.points(row["high"])
        points = f"{said.points(row['difference'])} points ({low} to {high})"
    unseen = ""
    if row["unseen_low"] is not None:
        unseen = (
            f"{said.points(row['unseen_low'])} to {said.points(row['unseen_high'])}"
        )
    return {
        **row,
        "pair": f"{row['arm']} against {row['reference']}",
        "what": said.success(row["outcome"], row["window_days"]),
        "how": said.METHODS[row["method"]] + (" *" if row["primary"] else ""),
        "points": points or f"none: {row['note'] or row['said']}",
        "unseen": unseen,
        "judged": said.VERDICTS.get(row["verdict"] or "", ""),
        "shared": words.percent(row["overlap"]) if row["overlap"] is not None else "",
    }


def _notes(rows: Sequence[Row]) -> list[str]:
    """Say what to know of each difference, the same once."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row["note"] and row["difference"] is not None:
            how = said.METHODS[row["method"]]
            found.setdefault(f"{how}: {row['note']}", []).append(row["arm"])
    return [f"{', '.join(arms)}, {text}" for text, arms in found.items()]


def _apart(told: Comparison) -> list[Row]:
    """Show, for arms that hardly meet, where the courses of each lie."""
    found = []
    for row in told.overlap:
        if row["shared"] >= LEAST_OVERLAP:
            continue
        levels: dict[str, dict[str, int]] = {}
        for one in told.levels:
            if one["grouping"] == row["grouping"]:
                levels.setdefault(one["level"], {})[one["arm"]] = one["courses"]
        rows = [
            {
                "level": level,
                "arm": n.get(row["arm"], 0),
                "other": n.get(row["reference"], 0),
            }
            for level, n in sorted(levels.items())
        ]
        rows = [r for r in rows if r["arm"] or r["other"]]
        found.append(
            {
                **row,
                "where": SHARED[row["grouping"]],
                "percent": words.percent(row["shared"]),
                "rows": rows[:MOST_LEVELS],
                "more": max(len(rows) - MOST_LEVELS, 0),
            }
        )
    return found


def _cost(row: Row) -> Row:
    def figure(name: str, low: str, high: str, form: str) -> str:
        if row[name] is None:
            return "no success"
        bounds = [
            "no limit" if row[side] is None else format(row[side], form)
            for side in (low, high)
        ]
        return f"{row[name]:{form}} ({' to '.join(bounds)})"

    return {
        **row,
        "semen": figure("semen_ul_per_success", "low", "high", ".1f"),
        "drones": figure("drones_per_success", "drones_low", "drones_high", ".1f"),
        "queens": figure("queens_per_success", "queens_low", "queens_high", ".2f"),
        "on": "yes" if row["frontier"] else "no",
    }


ROW_HEIGHT = 26
FIXED, BESIDE = "fixed beforehand", "beside it"


def arm_difference_chart(
    rows: list[dict[str, Any]], *, question: str, margin: float | None
) -> alt.TopLevelMixin:
    """Draw differences with their limits, one a line, and the margin.

    Parameters
    ----------
    rows : list of dict
        name, method (FIXED or BESIDE), difference, low, high (shares), in the order
        they are shown.
    question : str
        What the difference is of.
    margin : float or None
        The loss that would not matter; drawn as a line below 0.
    """
    names = [row["name"] for row in rows]
    y = alt.Y(
        "name:N", title=None, sort=names, axis=alt.Axis(labelLimit=300, grid=False)
    )
    tooltip = [
        alt.Tooltip("name:N", title="compared"),
        *(alt.Tooltip(f"{k}:Q", format="+.1%") for k in ("difference", "low", "high")),
    ]
    base = theme.chart(rows)
    axis = theme.signed_axis("+.0%")
    layers = [
        _across(0.0, question, [5, 4], "no difference"),
        base.mark_rule(color=theme.CLOSED, strokeWidth=2).encode(
            y=y,
            x=alt.X("low:Q", title=question, axis=axis),
            x2="high:Q",
            tooltip=tooltip,
        ),
        base.mark_point(color=theme.CLOSED, filled=True, size=70).encode(
            y=y,
            x=alt.X("difference:Q", title=question, axis=axis),
            shape=alt.Shape(
                "method:N",
                title="method",
                scale=alt.Scale(domain=[FIXED, BESIDE], range=["circle", "cross"]),
            ),
            tooltip=tooltip,
        ),
    ]
    if margin is not None:
        said = f"margin, {100 * margin:g} points lost"
        layers.insert(1, _across(-margin, question, [1, 0], said))
    return theme.layered(layers, height=ROW_HEIGHT * len(rows))


def _across(at: float, question: str, dash: list[int], said: str) -> alt.Chart:
    return (
        theme.chart([{"at": at, "said": said}])
        .mark_rule(color=theme.QUIET, strokeDash=dash)
        .encode(x=alt.X("at:Q", title=question), tooltip=alt.Tooltip("said:N"))
    )


def frontier_chart(rows: list[dict[str, Any]], *, success: str) -> alt.TopLevelMixin:
    """Set drones against queens a success, an arm a point with its limits.

    Parameters
    ----------
    rows : list of dict
        Of `arm_costs`, with finite figures; arms on the frontier are dots, the others
        crosses.
    success : str
        What a success is.
    """
    values = [
        {**row, "place": ON if row["frontier"] else BEATEN}
        for row in sorted(rows, key=lambda row: row["arm"])
    ]
    base = theme.chart(values)
    near = alt.Scale(zero=False, padding=20)
    x = alt.X(
        "drones_per_success:Q",
        title=f"drones handled for one success ({success})",
        scale=near,
    )
    y = alt.Y("queens_per_success:Q", title="queens inseminated for one", scale=near)
    tooltip = _cost_tooltip()
    layers = [
        base.mark_rule(color=theme.QUIET).encode(
            x=x, y="queens_low:Q", y2="queens_high:Q"
        ),
        base.mark_rule(color=theme.QUIET).encode(
            y=y, x="drones_low:Q", x2="drones_high:Q"
        ),
        base.mark_point(filled=True, size=90, color=theme.CLOSED).encode(
            x=x,
            y=y,
            shape=alt.Shape(
                "place:N",
                title=None,
                scale=alt.Scale(domain=[ON, BEATEN], range=["circle", "cross"]),
            ),
            tooltip=tooltip,
        ),
        *_arm_names(values, x, y),
    ]
    return theme.layered(layers, height=260)


def _arm_names(rows: list[dict[str, Any]], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Write each arm's name on the side of its point that has room for it."""
    along = [row["drones_per_success"] for row in rows]
    middle = (min(along) + max(along)) / 2
    sides = {"left": [], "right": []}
    for row in rows:
        sides["right" if row["drones_per_success"] > middle else "left"].append(row)
    return [
        theme.chart(part)
        .mark_text(align=side, dx=9 if side == "left" else -9, dy=-9, color=theme.INK)
        .encode(x=x, y=y, text="arm:N")
        for side, part in sides.items()
        if part
    ]


def _cost_tooltip() -> list[alt.Tooltip]:
    figures = (
        ("drones_per_success", ".1f"),
        ("queens_per_success", ".2f"),
        ("semen_ul_per_success", ".1f"),
    )
    shown = [alt.Tooltip(f"{name}:Q", format=form) for name, form in figures]
    return [alt.Tooltip("arm:N"), *shown]


ON, BEATEN = "none takes less of both", "another takes less of both"
