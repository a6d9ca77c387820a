"""Dose protocols side by side: differences against the margin, the dose, and the cost.

Shows the tables of the dose comparison and computes nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.adjusted import curve_chart
from queen_outcomes.dashboard.charts.linked import linked, table
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.doses.differences import LEAST_OVERLAP, SHARED
from queen_outcomes.facts import dose_words as said
from queen_outcomes.facts import words
from queen_outcomes.facts.dictionary import COMPARED_BY
from queen_outcomes.facts.exports.doses import FOR
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]
TABLES = (
    "arms",
    "arm_contrasts",
    "arm_models",
    "arm_overlap",
    "arm_costs",
    "arm_exchange",
    "arm_needs",
)
FEWEST_POINTS = 2
MOST_LEVELS = 12
"""Levels of a grouping that are listed where two arms cannot be told apart."""
FINITE = ("drones_per_success", "queens_per_success")
ENDS = ("more", "low", "high")
TRADED = ("drones", "queens")
"""What is set against each other first: drones saved, and queens lost by it."""
ROW_HEIGHT = 26
FIXED, BESIDE = "fixed beforehand", "beside it"
ON, BEATEN = "none takes less of both", "another takes less of both"
MARKS = ("circle", "cross")
NO_ARM = "No course has an arm: neither protocols nor doses are recorded."


def show(store: Store, settings: Settings, _as_of: dt.date) -> dict[str, Any]:
    """Give what the page `doses.html` shows."""
    charts: dict[str, Any] = {}
    question = settings.plan.question
    tables = {
        name: store.records(f'SELECT * FROM "{name}" ORDER BY ALL') for name in TABLES
    }
    tables["arm_levels"] = store.records(statement("arm_levels"))
    unnamed = dict(
        store.rows("SELECT trial, count(*) FROM arm_courses WHERE arm = '' GROUP BY 1")
    )
    trials = {row["trial"] for row in tables["arms"]}
    parts = []
    for at, trial in enumerate(sorted(trials, key=lambda t: t or "")):
        own = {
            name: [r for r in rows if r["trial"] == trial]
            for name, rows in tables.items()
        }
        part = section(
            f"part-{at}",
            question,
            own,
            charts,
            trial=trial,
            unnamed=unnamed.get(trial, 0),
        )
        parts.append(part)
    return {
        "parts": parts,
        "nothing": "" if parts else NO_ARM,
        "traded": [sentence for part in parts for sentence in part["traded"]],
        "margin": settings.plan.margin,
        "asked": said.success(*question),
        "curve": _curve(store, question, charts),
        "charts": charts,
        "linked": _linked(store) if parts and len(charts) > 1 else None,
    }


def _linked(store: Store) -> Row | None:
    """Give whose hands the courses of each arm were in."""
    return table(store.records(statement("linked_arms")), ("arm", "operator"))


def _curve(store: Store, question: tuple[str, int], charts: dict[str, Any]) -> Row:
    """Give the adjusted share by dose, the trend, and the dose for a success."""
    rows, trends, doses = (
        _of_question(store.records(f"SELECT * FROM {name} ORDER BY ALL"), question)
        for name in ("dose_response", "dose_trends", "dose_for")
    )
    if len(rows) >= FEWEST_POINTS:
        keys = ("probability", "low", "high", "courses_near")
        values = [
            {"value": row["dose_ul"], "label": f"{row['dose_ul']:.3g} uL"}
            | {key: row[key] for key in keys}
            for row in rows
        ]
        asked = words.outcome_by_day(*question)
        charts["dose-response"] = curve_chart(
            values, factor="dose of a course (uL)", question=asked
        )
    return {
        "rows": [{**row, "share": row["probability"]} for row in rows],
        "trend": trend_said(trends[0]) if trends else "",
        "doses": [dose_said(row) for row in doses],
    }


def trend_said(row: Row) -> str:
    """Say the test of a trend, which allows for batches and seasons, and nothing else."""
    if row["p"] is None:
        return f"No trend can be tested: {row['message']}."
    way = "rises" if row["slope"] > 0 else "falls"
    text = (
        f"Without further adjustment the share of success {way} by "
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


def section(
    key: str,
    question: tuple[str, int],
    tables: Mapping[str, list[Row]],
    charts: dict[str, Any],
    *,
    trial: str | None,
    unnamed: int,
) -> Row:
    """Give what the page says of a comparison, and add its charts.

    Parameters
    ----------
    key : str
        Of this section's charts and headings.
    question : tuple of str and int
        The one that arms are judged by.
    tables : mapping of list of dict
        Its rows of `TABLES`, and ``arm_levels`` as `arm_levels.sql` gives them.
    charts : dict
        Takes up the charts.
    trial : str or None
        None outside of trials.
    unnamed : int
        Courses whose arm is not recorded.
    """
    own = _of_question(tables["arm_contrasts"], question)
    what = said.success(*question)
    margin = next((row["margin"] for row in own if row["margin"]), None)
    shown = [row for row in own if row["difference"] is not None]
    if shown:
        drawn = arm_difference_chart(
            _lines(shown), question=f"difference in {what}, points", margin=margin
        )
        charts[f"arms-{key}"] = linked(drawn, "arm", "of")
    costs = tables["arm_costs"]
    finite = [row for row in costs if all(row[k] is not None for k in FINITE)]
    if len(finite) > 1:
        charts[f"costs-{key}"] = linked(
            frontier_chart(finite, success=what), "arm", "arm"
        )
    traded = traded_rows(tables["arm_exchange"])
    if traded:
        charts[f"trade-{key}"] = linked(trade_chart(traded, success=what), "arm", "of")
    needs = tables["arm_needs"] if margin is None else []
    return {
        "key": key,
        "title": f"Trial {trial}" if trial else "Outside of trials",
        "what": what,
        "findings": _findings(tables["arms"], own),
        "traded": said.exchange_said(
            [row for row in tables["arm_exchange"] if row["resource"] in TRADED], what
        ),
        "trade_cells": [_trade(row) for row in traded],
        "exchange": said.exchange_said(tables["arm_exchange"], what),
        "basis": _basis(tables["arms"], own, unnamed),
        "margin": margin,
        "needed": said.needed_said(needs),
        "needs_said": said.NEEDS,
        "needs": [_need(row) for row in needs],
        "arms": [_arm(row) for row in tables["arms"]],
        "differences": [_difference(row) for row in own],
        "other": [
            _difference(row)
            for row in tables["arm_contrasts"]
            if row["primary"] and row not in own
        ],
        "notes": _notes(own),
        "apart": _apart(tables["arm_overlap"], tables["arm_levels"]),
        "costs": [_cost(row) for row in costs],
        "assumptions": assumptions(costs),
        "model": next(iter(_of_question(tables["arm_models"], question)), None),
    }


def _of_question(rows: list[Row], question: tuple[str, int]) -> list[Row]:
    return [row for row in rows if (row["outcome"], row["window_days"]) == question]


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


def _findings(arms: list[Row], contrasts: list[Row]) -> list[str]:
    """Say the primary method's figures, or why arms cannot be compared."""
    if len(arms) == 1:
        return [f"There is one arm only, {arms[0]['arm']}: nothing to compare it with."]
    by_lot = any(row["randomised"] for row in arms)
    primary = [row for row in contrasts if row["primary"]]
    return [said.difference_said(row, by_lot=by_lot) for row in primary]


def _basis(arms: list[Row], contrasts: list[Row], unnamed: int) -> str:
    """Say where the arms come from, and which method was fixed beforehand."""
    row = arms[0]
    sources = {
        "protocol": "the protocols recorded",
        "dose meant": "the doses meant",
        "dose given": "the doses given, a guess",
        "day": "the day of the first insemination",
        **{name: f"the {many} recorded" for name, many in COMPARED_BY.items()},
    }
    text = f"Arms are read from {sources[row['source']]}."
    if unnamed:
        text += (
            f" Left out, as theirs is not recorded: {said.counted(unnamed, 'course')}."
        )
    if row["said"]:
        text += f" No verdict: {row['said']}."
    if any(row["randomised"] for row in arms):
        return f"{text} Arms stand side by side in the trial's blocks."
    if any(row["primary"] and row["method"] == "adjusted" for row in contrasts):
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
            **{key: row[key] for key in ("difference", "low", "high")},
            "name": f"{row['arm']}, {said.METHODS[row['method']]}",
            "of": row["arm"],
            "method": FIXED if row["primary"] else BESIDE,
        }
        for row in ordered
    ]


def _need(row: Row) -> Row:
    """Write out what a margin would need; a dash where no number of queens would do."""
    sizes = {key: row[key] for key in ("queens_alone", "queens")}
    told = {key: f"{n:,}" if n is not None else "–" for key, n in sizes.items()}
    return {"margin": f"{100 * row['margin']:g} points", **told}


def _arm(row: Row) -> Row:
    limits = row["adjusted_low"], row["adjusted_high"]
    adjusted = words.share_in_words(row["adjusted"], *limits, "")
    return {
        **row,
        "name": f"{row['arm']} (reference)" if row["reference"] else row["arm"],
        "share": row["rate"],
        "adjusted": adjusted if words.limits(*limits) else "",
        "mean_dose_ul": words.fixed(row["mean_dose_ul"], 1),
    }


def _difference(row: Row) -> Row:
    points, unseen = f"none: {row['note'] or row['said']}", ""
    if row["difference"] is not None:
        span = _span(row["low"], row["high"])
        points = f"{said.points(row['difference'])} points ({span})"
    if row["unseen_low"] is not None:
        unseen = _span(row["unseen_low"], row["unseen_high"])
    return {
        **row,
        "pair": f"{row['arm']} against {row['reference']}",
        "what": said.success(row["outcome"], row["window_days"]),
        "how": said.METHODS[row["method"]] + (" *" if row["primary"] else ""),
        "points": points,
        "unseen": unseen,
        "ratio": words.fixed(row["ratio"], 2),
        "judged": said.VERDICTS.get(row["verdict"] or "", ""),
        "shared": words.percent(row["overlap"]) if row["overlap"] is not None else "",
    }


def _span(low: float, high: float) -> str:
    return f"{said.points(low)} to {said.points(high)}"


def _notes(rows: Sequence[Row]) -> list[str]:
    """Say what to know of each difference, the same once."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row["note"] and row["difference"] is not None:
            how = said.METHODS[row["method"]]
            found.setdefault(f"{how}: {row['note']}", []).append(row["arm"])
    return [f"{', '.join(arms)}, {text}" for text, arms in found.items()]


def _apart(overlaps: list[Row], counted: list[Row]) -> list[Row]:
    """Show, for arms that hardly meet, where the courses of each lie."""
    found = []
    for row in overlaps:
        if row["shared"] >= LEAST_OVERLAP:
            continue
        levels: dict[str, dict[str, int]] = {}
        for one in counted:
            if one["grouping"] == row["grouping"]:
                levels.setdefault(one["level"], {})[one["arm"]] = one["courses"]
        rows = [
            {
                "level": level,
                "arm": n.get(row["arm"], 0),
                "other": n.get(row["reference"], 0),
            }
            for level, n in sorted(levels.items())
            if row["arm"] in n or row["reference"] in n
        ]
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
            return "not recorded" if row["successes"] else "no success"
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
        "minutes": figure("minutes_per_success", "minutes_low", "minutes_high", ".1f"),
        "visits": figure("visits_per_success", "visits_low", "visits_high", ".1f"),
        "on": "yes" if row["frontier"] else "no",
    }


def arm_difference_chart(
    rows: list[dict[str, Any]], *, question: str, margin: float | None
) -> theme.Drawn:
    """Draw differences with their limits, one a line, and the margin.

    Parameters
    ----------
    rows : list of dict
        name, of (the arm), method (FIXED or BESIDE), difference, low, high (shares), in
        the order they are shown.
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
        base.mark_rule(color=theme.CLOSED, strokeWidth=theme.STROKE).encode(
            y=y,
            x=alt.X("low:Q", title=question, axis=axis),
            x2=alt.X2("high:Q"),
            tooltip=tooltip,
        ),
        base.mark_point(color=theme.CLOSED, filled=True, size=70).encode(
            y=y,
            x=alt.X("difference:Q", title=question, axis=axis),
            shape=theme.told_apart(
                "method", (FIXED, BESIDE), alt.Shape, MARKS, title="method"
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


def traded_rows(exchange: list[Row]) -> list[Row]:
    """Give drones saved and queens lost for the same successes, an arm a row, with limits.

    Parameters
    ----------
    exchange : list of dict
        Of `arm_exchange`; an arm without both figures is left out.
    """
    arms: dict[str, dict[str, Row]] = {}
    for row in exchange:
        if row["resource"] in TRADED:
            arms.setdefault(row["arm"], {})[row["resource"]] = row
    return [
        {
            "arm": f"{arm} in place of {own['drones']['reference']}",
            "of": arm,
            "saved": -own["drones"]["more"],
            "saved_low": -own["drones"]["high"],
            "saved_high": -own["drones"]["low"],
            "lost": own["queens"]["more"],
            "lost_low": own["queens"]["low"],
            "lost_high": own["queens"]["high"],
        }
        for arm, own in arms.items()
        if len(own) == len(TRADED)
        and all(row[key] is not None for row in own.values() for key in ENDS)
    ]


def _trade(row: Row) -> Row:
    return {"arm": row["arm"]} | {
        name: f"{row[name]:+,.0f} ({row[f'{name}_low']:+,.0f} to {row[f'{name}_high']:+,.0f})"
        for name in ("saved", "lost")
    }


def trade_chart(rows: list[Row], *, success: str) -> theme.Drawn:
    """Set drones saved against queens lost, an arm a point, its limits a cross.

    Parameters
    ----------
    rows : list of dict
        As `traded_rows` gives them.
    success : str
        What a success is.
    """
    base = theme.chart(rows)
    saved = f"drones saved for {FOR:,} successes ({success})"
    lost = "more queens needed"
    x = alt.X("saved:Q", title=saved, axis=theme.signed_axis("+,.0f"))
    y = alt.Y("lost:Q", title=lost, axis=theme.signed_axis("+,.0f"))
    zero = [{"nought": 0}]
    quiet = {"color": theme.QUIET, "strokeDash": [5, 4]}
    tooltip = [
        alt.Tooltip("arm:N"),
        *(
            alt.Tooltip(f"{name}:Q", title=name.replace("_", ", "), format=",.0f")
            for name in rows[0]
            if name not in ("arm", "of")
        ),
    ]
    layers = [
        theme.chart(zero).mark_rule(**quiet).encode(x=alt.X("nought:Q", title=saved)),
        theme.chart(zero).mark_rule(**quiet).encode(y=alt.Y("nought:Q", title=lost)),
        base.mark_rule(color=theme.CLOSED, strokeWidth=theme.STROKE, opacity=0.6).encode(
            y=y,
            x=alt.X("saved_low:Q", title=saved),
            x2=alt.X2("saved_high:Q"),
            tooltip=tooltip,
        ),
        base.mark_rule(color=theme.CLOSED, strokeWidth=theme.STROKE, opacity=0.6).encode(
            x=x,
            y=alt.Y("lost_low:Q", title=lost),
            y2=alt.Y2("lost_high:Q"),
            tooltip=tooltip,
        ),
        base.mark_point(filled=True, size=90, color=theme.CLOSED, opacity=theme.SOLID).encode(
            x=x, y=y, tooltip=tooltip
        ),
        *_names_beside(rows, "saved", x, y),
    ]
    return theme.layered(layers, height=240)


def frontier_chart(rows: list[dict[str, Any]], *, success: str) -> theme.Drawn:
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
    tooltip = [
        alt.Tooltip("arm:N"),
        alt.Tooltip("drones_per_success:Q", format=".1f"),
        alt.Tooltip("queens_per_success:Q", format=".2f"),
        alt.Tooltip("semen_ul_per_success:Q", format=".1f"),
    ]
    layers = [
        base.mark_rule(color=theme.QUIET).encode(
            x=x, y=alt.Y("queens_low:Q"), y2=alt.Y2("queens_high:Q")
        ),
        base.mark_rule(color=theme.QUIET).encode(
            y=y, x=alt.X("drones_low:Q"), x2=alt.X2("drones_high:Q")
        ),
        base.mark_point(filled=True, size=90, color=theme.CLOSED).encode(
            x=x,
            y=y,
            shape=theme.told_apart("place", (ON, BEATEN), alt.Shape, MARKS),
            tooltip=tooltip,
        ),
        *_names_beside(values, "drones_per_success", x, y),
    ]
    return theme.layered(layers, height=260)


def _names_beside(rows: list[Row], along: str, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Write each arm's name on the side of its point that has room for it."""
    places = [row[along] for row in rows]
    middle = (min(places) + max(places)) / 2
    sides: dict[str, list[Row]] = {"left": [], "right": []}
    for row in rows:
        sides["right" if row[along] > middle else "left"].append(row)
    return [
        theme.chart(part)
        .mark_text(align=side, dx=9 if side == "left" else -9, dy=-9, color=theme.INK)
        .encode(x=x, y=y, text=alt.Text("arm:N"))
        for side, part in sides.items()
        if part
    ]
