"""What one operator's audit says, in words: the content of a page to sit down with.

Works on a finished build's tables. It names what to look at, in order of ease; never who
is to blame.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from queen_outcomes.audit import own_courses
from queen_outcomes.audit.cases import LARGE, batch_parts
from queen_outcomes.audit.learning import learning_said
from queen_outcomes.audit.period import Period
from queen_outcomes.audit.said import (
    APART,
    batch_failed,
    not_told_apart,
    series_said,
    station_said,
    verdict,
)
from queen_outcomes.base.store import Store
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.facts.words import limits, percent

Row = dict[str, Any]
SHARE = "share"
"""Unit of what is written in per cent."""
MEASURES = {
    "dose_error": ("dose given minus meant", "uL"),
    "attempts": ("attempts", ""),
    "leak": ("backflow seen", SHARE),
    "minutes": ("time in the instrument", "min"),
    "queens_a_day": ("queens a day", ""),
}
WORSE = {"dose_error": "further", "attempts": "more", "minutes": "more"}
"""Which way a mean is the worse for: further from none, or more. Of the others there is none,
and the middle 80 % of a yes or no says nothing."""
MOST_BATCHES = 3


def sheet(store: Store, period: Period, operator: str) -> Row:
    """Give what the page of one operator says; see the templates for its parts.

    Parameters
    ----------
    store : Store
    period : Period
    operator : str
        As the store names her; a pseudonym where those are set.
    """
    (row,) = [row for row in period.operators if row["operator"] == operator]
    parts = batch_parts(period.cases.on_settled(), operator)
    process = _process(store, operator)
    signals = _signals(store, period, operator)
    failed = own_courses.failed_queens(store, period.cases, [operator])[operator]
    return {
        "verdict": verdict(row, operator, period.question, signals["points"]),
        "done": _done(period, operator, row),
        "season": process[0]["season"] if process else "",
        "process": [measure["cells"] for measure in process],
        "compares": compares(row, period),
        "series": [*station_said(store, period.question), *signals["said"]],
        "around": _around(store, period, operator),
        "points": signals["points"],
        "first": _first(row, parts, process, signals["worse"]),
        "failed": [own_courses.said(one) for one in failed],
        "beside": own_courses.beside_said(period.cases, operator),
        "tools": [
            _tool(one) for one in own_courses.by_tool(store, period.cases, operator)
        ],
        "learning": _learning(store, period.question, operator),
        "limits": LIMITS,
    }


def _around(store: Store, period: Period, operator: str) -> list[Row]:
    """Give her season before and since each signal of more failures, in words."""
    if not _is_followed(store, period.question):
        return []
    signals = store.records(
        "SELECT * FROM operator_signals WHERE operator = $operator AND "
        "direction = 'worse' ORDER BY episode, series DESC, \"case\"",
        {"operator": operator},
    )
    firsts: dict[int, Row] = {}
    for signal in signals:
        firsts.setdefault(signal["episode"], signal)
    return [
        {
            "signal": f"Signal of {signal['inseminated_at'].date().isoformat()}, known "
            f"{signal['known_on'].isoformat()}",
            "rows": [
                {**row, "expected": f"{row['expected']:.1f}"}
                for row in own_courses.around_signal(period.cases, operator, signal)
            ],
        }
        for signal in firsts.values()
    ]


def _is_followed(store: Store, question: tuple[str, int]) -> bool:
    """Tell whether the question is the plan's, which alone has series and stretches."""
    ((series,),) = store.rows(
        "SELECT count(*) FROM series_limits WHERE outcome = $outcome AND "
        "window_days = $window_days",
        question_columns(question),
    )
    return series > 0


def _tool(row: Row) -> Row:
    few = not row["others_courses"]
    return {
        **row,
        "tool": own_courses.TOOLS[row["tool"]],
        "expected": f"{row['expected']:.1f}",
        "others_expected": "" if few else f"{row['others_expected']:.1f}",
        "others_failures": "" if few else row["others_failures"],
        "others_courses": "" if few else row["others_courses"],
    }


def _learning(store: Store, question: tuple[str, int], operator: str) -> Row:
    """Give her cases in stretches, and how her curve went if she began as a learner.

    Only the plan's outcome has them; of another, both are empty.
    """
    if not _is_followed(store, question):
        return {"said": [], "rows": []}
    given = {"operator": operator}
    curves = store.records(
        "SELECT * FROM learning_limits WHERE operator = $operator", given
    )
    stretches = store.records(
        "SELECT * FROM experience WHERE operator = $operator ORDER BY from_case", given
    )
    return {
        "said": [learning_said(row) for row in curves],
        "rows": [
            {
                "stretch": f"{row['from_case']} to {row['to_case']}",
                "courses": row["courses"],
                "failures": row["failures"],
                "share": percent(row["share"]) if row["shown"] else "too few",
                "limits": limits(row["low"], row["high"]),
                "expected": percent(row["expected"]) if row["shown"] else "",
            }
            for row in stretches
        ],
    }


LIMITS = [
    "The comparison knows only what is recorded. Queens, semen or colonies that differ in "
    "something nobody wrote down are compared as if they were alike.",
    "An undecided course is filled in as alike courses fared; running series and batches "
    "pass over it.",
    "A signal comes by chance now and then, and a real change is often missed when "
    "courses are few. It names no cause.",
]


def compares(row: Row, period: Period) -> list[str]:
    """Say the adjusted rate, the rank, and whether operator and batch can be told apart."""
    if not row["shown"]:
        few = "Figures are held back under the smallest number of courses shown."
        return [not_told_apart(row) if row["apart_from"] else few]
    station = float(np.nanmean(period.cases.failures, axis=1).mean())
    said = [
        f"On the station's own mix of courses: {percent(row['adjusted'])}, 95 % limits "
        f"{100 * row['low']:.0f} to {100 * row['high']:.0f}; the station as a whole "
        f"{percent(station)}.",
        f"{row['shared_pct']:.0f} % of the courses lie in a graft and a semen batch that "
        "others worked on too" + ("." if row["separable"] else f": {APART}."),
    ]
    if row.get("expected_by_others") is not None:
        said.append(
            f"By a model of the other operators' courses only, "
            f"{row['expected_by_others']:.1f} failures would be expected."
        )
    if row["rank_low"] is not None:
        of = sum(other["rank_low"] is not None for other in period.operators)
        said.append(
            f"Rank among {of} operators, 1 for the fewest failing: anywhere from "
            f"{row['rank_low']} to {row['rank_high']}."
        )
    if row["undecided"]:
        said.append(
            f"{row['undecided']} further closed courses are undecided: each is filled in "
            "from what was seen of her."
        )
    if row["unknown_risk"]:
        said.append(
            f"{row['unknown_risk']} further closed courses are of unknown risk and left out."
        )
    return said


def _done(period: Period, operator: str, row: Row) -> list[str]:
    own = period.cases.operator == operator
    days = period.cases.d0[own]
    cases = period.cases
    grafts = len(set(cases.graft_batch[own & (cases.graft_batch != "")].tolist()))
    loads = len(set(cases.semen_batch[own & (cases.semen_batch != "")].tolist()))
    return [
        f"{int(own.sum())} closed courses, day 0 from {days.min()} to {days.max()}, "
        f"from {grafts} grafts and {loads} semen batches; {row['courses']} are decided "
        "and of known risk."
    ]


def _process(store: Store, operator: str) -> list[Row]:
    """Give this operator's last season on the bench beside the station's."""
    rows = store.records(
        "SELECT * FROM process_measures WHERE operator = $operator AND season = "
        "(SELECT max(season) FROM process_measures WHERE operator = $operator)",
        {"operator": operator},
    )
    found = []
    for measure, (label, unit) in MEASURES.items():
        for row in rows:
            if row["measure"] == measure:
                mean, station, low, high = (
                    _measured(row[key], unit)
                    for key in ("mean", "station_mean", "station_low", "station_high")
                )
                named = f"{label} ({unit})" if unit not in ("", SHARE) else label
                middle = "" if unit == SHARE else f"{low} to {high}"
                cells = [named, str(row["recorded"]), mean, station, middle]
                found.append({**row, "label": label, "unit": unit, "cells": cells})
    return found


def stands_outside(row: Row) -> bool:
    """Tell whether a mean lies outside the station's middle 80 %, on the worse side.

    Parameters
    ----------
    row : dict
        Of `process_measures`. Where the middle 80 % is one value, as of attempts that
        are nearly always one, no mean can be set against it.
    """
    low, high, mean = row["station_low"], row["station_high"], row["mean"]
    way = WORSE.get(row["measure"])
    if way is None or low == high or low <= mean <= high:
        return False
    if way == "further":
        return abs(mean) > abs(row["station_mean"])
    return mean > high


def _measured(value: float, unit: str) -> str:
    if unit == SHARE:
        return percent(value)
    return f"{value:.{2 if unit in ('uL', '') else 1}f}"


def _signals(store: Store, period: Period, operator: str) -> Row:
    given = {"operator": operator, **question_columns(period.question)}
    where = (
        "WHERE operator = $operator AND outcome = $outcome AND "
        "window_days = $window_days"
    )
    limits = store.records(
        f"SELECT * FROM series_limits {where} ORDER BY series DESC", given
    )
    points = store.records(
        f'SELECT * FROM operator_series {where} ORDER BY series DESC, "case"', given
    )
    said = [series_said(row, points) for row in limits]
    if not said:
        said = ["There is no running series: only the plan's outcome has one."]
    worse = any(point["signal"] == "worse" for point in points)
    return {"said": said, "points": points, "worse": worse}


def _first(
    row: Row, parts: list[Row], process: list[Row], has_signal: bool
) -> list[str]:
    """Say what to look at: semen and queens by their batches, then the bench."""
    said = []
    if row["expected"] is None:
        return ["The batches and factors named above, before any hand."]
    excess = row["filled"] - row["expected"]
    large = [part for part in parts if part["excess"] > max(1.0, LARGE * abs(excess))]
    for part in large[:MOST_BATCHES]:
        said_part = batch_failed(part)
        apart = f" Nobody else worked on it: {APART}." if part["alone"] else ""
        said.append(f"{said_part[:1].upper()}{said_part[1:]}.{apart}")
    for measure in process:
        if stands_outside(measure):
            mean = _measured(measure["mean"], measure["unit"])
            told = f"a mean of {mean} {measure['unit']}".rstrip()
            said.append(
                f"{measure['label'].capitalize()}: {told}, outside the station's "
                "middle 80 %."
            )
    if has_signal or row["flag"] == "more":
        said.append(
            "Then the semen's age and storage, the queens' age and line, and a few "
            "inseminations watched side by side."
        )
    return said or ["Nothing stands out; carry on as planned."]


def series_points(points: list[Row]) -> list[Row]:
    """Give the running series' points as a chart takes them, better turned downwards."""
    return [
        {
            "series": {"level": "against colleagues", "drift": "against own"}[
                point["series"]
            ],
            "case": point["case"],
            "worse": point["cusum_worse"],
            "better": -point["cusum_better"],
            "limit_worse": _finite(point["limit_worse"]),
            "limit_better": _finite(point["limit_better"], -1.0),
            "signal": point["signal"],
            "undecided": point["failed"] is None,
        }
        for point in points
    ]


def _finite(value: float | None, sign: float = 1.0) -> float | None:
    return None if value is None or not np.isfinite(value) else sign * value
