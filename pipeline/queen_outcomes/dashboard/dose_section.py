"""One comparison of arms as a page shows it, from rows of its tables.

Words first: what was seen, against which margin, and what cannot be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from queen_outcomes.dashboard import theme
from queen_outcomes.dashboard.charts.doses import (
    BESIDE,
    FIXED,
    arm_difference_chart,
    frontier_chart,
)
from queen_outcomes.doses.differences import LEAST_OVERLAP, SHARED
from queen_outcomes.facts import dose_words as said
from queen_outcomes.facts import words

Row = dict[str, Any]
MOST_LEVELS = 12
"""Levels of a grouping that are listed where two arms cannot be told apart."""
FINITE = ("drones_per_success", "queens_per_success")


@dataclass(frozen=True, eq=False)
class Told:
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


def section(told: Told, key: str, charts: dict[str, Any]) -> Row:
    """Give what the page says of a comparison, and add its charts.

    Parameters
    ----------
    told : Told
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


def findings(told: Told, *, by_lot: bool) -> list[str]:
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


def basis(told: Told, *, by_lot: bool) -> str:
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


def _apart(told: Told) -> list[Row]:
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
