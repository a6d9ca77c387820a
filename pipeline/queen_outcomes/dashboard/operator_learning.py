"""The part of the operators' page on what goes with the number of cases done."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from queen_outcomes.audit.learning import BEGINNER
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import theme
from queen_outcomes.dashboard.charts.learning import experience_chart, learning_chart
from queen_outcomes.dashboard.figures import Figure, Numbers
from queen_outcomes.facts import words
from queen_outcomes.facts.dose_words import success
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]
Charts = dict[str, Any]
LEAST_FLOOR = 0.6
"""The scale of shares reaches down to this or further."""
ANSWERS = {True: "failed", False: "did not fail", None: "undecided"}
EXPERIENCE_COLUMNS = (
    ("operator", "Operator"),
    ("stretch", "Cases"),
    ("courses", "Decided courses"),
    ("failures", "Failed"),
    ("share_said", "Share of success"),
    ("limits_said", "95 % limits"),
    ("expected_said", "Expected"),
)
CURVE_COLUMNS = (
    ("number", "Case"),
    ("day", "Day 0"),
    ("answer", "Ended"),
    ("value", "Evidence"),
)


def show(store: Store, settings: Settings, operators: list[Row], charts: Charts) -> Row:
    """Give what the page says of case numbers."""
    names = [row["operator"] for row in operators if row["shown"]]
    rows = [
        _stretch(row)
        for row in store.records(
            "SELECT * FROM experience ORDER BY operator, from_case"
        )
    ]
    question = success(*settings.plan.question)
    unstated = [name for name in names if name not in settings.prior_cases]
    return {
        "question": question,
        "figures": _experience(names, rows, charts),
        "table": Numbers(
            EXPERIENCE_COLUMNS,
            rows,
            ("courses", "failures", "share_said", "limits_said", "expected_said"),
        ),
        "unstated": unstated,
        "curves": _curves(store, names, charts),
        "beginner": BEGINNER,
    }


def _stretch(row: Row) -> Row:
    shown = row["shown"]
    return {
        **row,
        "stretch": f"{row['from_case']} to {row['to_case']}",
        "share_said": words.percent(row["share"]) if shown else "too few",
        "limits_said": words.limits(row["low"], row["high"]),
        "expected_said": words.percent(row["expected"]) if shown else "",
    }


def _experience(names: list[str], rows: list[Row], charts: Charts) -> list[Figure]:
    """Draw an operator a panel, all on the same scales."""
    drawn = [row for row in rows if row["shown"] and row["operator"] in names]
    if not drawn:
        return []
    first = min(row["middle"] for row in drawn) / 1.3
    last = max(row["middle"] for row in drawn) * 1.3
    floor = min(LEAST_FLOOR, *(row["low"] for row in drawn))
    cases = (max(1.0, round(first, 1)), round(last))
    shares = (max(0.0, int(floor * 10) / 10), 1.0)
    keys = ("middle", "stretch", "courses", "share", "low", "high", "expected")
    figures = []
    for at, (name, part) in enumerate(groupby(drawn, key=lambda row: row["operator"])):
        own = list(part)
        values = [
            {k: round(row[k], 3) if isinstance(row[k], float) else row[k] for k in keys}
            for row in own
        ]
        chart = experience_chart(values, what="success", cases=cases, shares=shares)
        key = f"experience-{at + 1}"
        charts[key] = theme.dressed(chart)
        spoken = "; ".join(f"cases {row['stretch']} {row['share_said']}" for row in own)
        figures.append(Figure(key, name, f"{name}, share of success: {spoken}."))
    return figures


def _curves(store: Store, names: list[str], charts: Charts) -> list[Row]:
    limits = store.records("SELECT * FROM learning_limits ORDER BY operator")
    points = store.records('SELECT * FROM learning ORDER BY operator, "case"')
    found = []
    for at, row in enumerate(limits):
        if row["operator"] not in names:
            continue
        own = [_case(one) for one in points if one["operator"] == row["operator"]]
        figure = _learning_figure(at, row, own, charts) if own else None
        found.append({"said": learning_said(row), "figure": figure})
    return found


def _case(row: Row) -> Row:
    return {
        "number": row["number"],
        "day": row["d0"].isoformat(),
        "answer": ANSWERS[row["failed"]],
        "value": round(row["value"], 2),
        "reached": row["reached"],
    }


def _learning_figure(at: int, row: Row, own: list[Row], charts: Charts) -> Figure:
    key = f"learning-{at + 1}"
    limit = float("inf") if row["limit"] is None else round(row["limit"], 3)
    charts[key] = theme.dressed(learning_chart(own, limit=limit))
    reached = row["reached_at"]
    end = f"reached at case {reached}" if reached else "not reached"
    return Figure(
        key,
        f"{row['operator']}: the limit is {end}",
        f"{row['operator']}: evidence by case number that failures are as few as the "
        f"others'; the limit is {end}.",
        table=Numbers(CURVE_COLUMNS, own, ("number", "value")),
    )


def learning_said(row: Row) -> str:
    """Say what a beginner's curve is held against, and how it went."""
    start = f"{row['operator']}'s records begin at case {row['first_number']}."
    if row["message"]:
        return f"{start} There is no curve: {row['message']}."
    rates = (
        f"The line climbs when the cases speak for {words.percent(row['adequate'])} failing "
        f"(the rate of the station's other operators) rather than for "
        f"{words.percent(row['inadequate'])} (twice their odds)."
    )
    if row["limit"] is None:
        return (
            f"{start} {rates} {row['watched']} cases are too few to tell the two apart."
        )
    chance = (
        f"The limit is set for {row['watched']} decided cases: at the higher rate the line "
        f"reaches it in {words.percent(row['false_chance'])} of such runs, at the lower in "
        f"{words.percent(row['true_chance'])}."
    )
    if row["reached_at"]:
        end = f"It was reached at case {row['reached_at']}."
    elif row["decided"] < row["watched"]:
        end = f"It has not been reached in {row['decided']} decided cases so far."
    else:
        end = (
            f"It was not reached in {row['decided']} decided cases; that alone does not "
            "speak for the higher rate."
        )
    return f"{start} {rates} {chance} {end}"
