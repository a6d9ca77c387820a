"""The part of the operators' page on what goes with the number of cases done."""

from __future__ import annotations

from itertools import groupby
from typing import Any

import altair as alt

from queen_outcomes.audit.learning import BEGINNER, learning_said
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.linked import linked
from queen_outcomes.dashboard.figures import Numbers, PageFigure, grouped, only
from queen_outcomes.facts import words
from queen_outcomes.facts.dose_words import success
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]
Charts = dict[str, Any]
LEAST_FLOOR = 0.6
"""The scale of shares reaches down to this or further."""
EVIDENCE = "evidence for the others' rate"
ANSWERS = {True: "failed", False: "did not fail", None: "undecided"}
EXPERIENCE_COLUMNS = (
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
    """Give what the page says of case numbers, ``own`` by operator."""
    names = [row["operator"] for row in operators if row["shown"]]
    stretches = store.records("SELECT * FROM experience ORDER BY operator, from_case")
    rows = [_stretch(row) for row in stretches]
    return {
        "question": success(*settings.plan.question),
        "own": _experience(names, rows, charts),
        "unstated": [name for name in names if name not in settings.prior_cases],
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


def _experience(
    names: list[str], rows: list[Row], charts: Charts
) -> dict[str, PageFigure]:
    """Draw an operator a panel, all on the same scales."""
    drawn = [row for row in rows if row["shown"] and row["operator"] in names]
    if not drawn:
        return {}
    first = min(row["middle"] for row in drawn) / 1.3
    last = max(row["middle"] for row in drawn) * 1.3
    floor = min(LEAST_FLOOR, *(row["low"] for row in drawn))
    cases = (max(1.0, round(first, 1)), round(last))
    shares = (max(0.0, int(floor * 10) / 10), 1.0)
    keys = ("middle", "stretch", "courses", "share", "low", "high", "expected")
    figures = {}
    for at, (name, part) in enumerate(groupby(drawn, key=lambda row: row["operator"])):
        own = list(part)
        values = only(own, keys, 3)
        key = f"experience-{at + 1}"
        charts[key] = experience_chart(
            values, what="success", cases=cases, shares=shares
        )
        spoken = "; ".join(f"cases {row['stretch']} {row['share_said']}" for row in own)
        figures[name] = PageFigure(
            key,
            "Success by case number",
            f"{name}, share of success: {spoken}.",
            Numbers(
                EXPERIENCE_COLUMNS,
                [row for row in rows if row["operator"] == name],
                ("courses", "failures", "share_said", "limits_said", "expected_said"),
            ),
        )
    return figures


def _curves(store: Store, names: list[str], charts: Charts) -> list[Row]:
    limits = store.records("SELECT * FROM learning_limits ORDER BY operator")
    points = grouped(store.records('SELECT * FROM learning ORDER BY operator, "case"'))
    found = []
    for at, row in enumerate(limits):
        if row["operator"] not in names:
            continue
        own = [_curve_case(one) for one in points[row["operator"]]]
        figure = _learning_figure(at, row, own, charts) if own else None
        found.append(
            {"operator": row["operator"], "said": learning_said(row), "figure": figure}
        )
    return found


def _curve_case(row: Row) -> Row:
    return {
        "number": row["number"],
        "day": row["d0"].isoformat(),
        "answer": ANSWERS[row["failed"]],
        "value": round(row["value"], 2),
        "reached": row["reached"],
    }


def _learning_figure(at: int, row: Row, own: list[Row], charts: Charts) -> PageFigure:
    key = f"learning-{at + 1}"
    limit = None if row["limit"] is None else round(row["limit"], 3)
    charts[key] = linked(learning_chart(own, limit=limit), courses={"day": "day"})
    reached = row["reached_at"]
    end = f"reached at case {reached}" if reached else "not reached"
    return PageFigure(
        key,
        f"{row['operator']}: the limit is {end}",
        f"{row['operator']}: evidence by case number that failures are as few as the "
        f"others'; the limit is {end}.",
        table=Numbers(
            CURVE_COLUMNS,
            [{**one, "value": f"{one['value']:.2f}"} for one in own],
            ("number", "value"),
        ),
    )


def experience_chart(
    rows: list[dict[str, Any]],
    *,
    what: str,
    cases: tuple[float, float],
    shares: tuple[float, float],
) -> theme.Drawn:
    """Draw one operator's share of success by case number.

    Parameters
    ----------
    rows : list of dict
        middle, stretch, courses, share, low, high, expected (None: unknown).
    what : str
        What the share is of.
    cases, shares : tuple of float
        Ends of both scales, the same for every operator.
    """
    ends = (1, *(25 * 2**power for power in range(12)))
    doubling = [end for end in ends if cases[0] <= end <= cases[1]]
    x = alt.X(
        "middle:Q",
        title="case number",
        scale=alt.Scale(type="log", domain=list(cases), nice=False),
        axis=alt.Axis(values=doubling, format="d", grid=False),
    )
    scale = alt.Scale(domain=list(shares), nice=False)
    axis = alt.Axis(format=".0%", tickCount=5)
    y = alt.Y("share:Q", title=what, scale=scale, axis=axis)
    percents = ("share", "low", "high", "expected")
    tooltip = [
        alt.Tooltip("stretch:N", title="cases"),
        alt.Tooltip("courses:Q", title="decided courses"),
        *(alt.Tooltip(f"{name}:Q", format=".0%") for name in percents),
    ]
    base = theme.chart(rows)
    layers = [
        base.mark_rule(color=theme.CLOSED, strokeWidth=theme.STROKE, opacity=0.6).encode(
            x=x,
            y=alt.Y("low:Q", title=what, scale=scale),
            y2=alt.Y2("high:Q"),
            tooltip=tooltip,
        ),
        base.mark_line(color=theme.CLOSED, strokeWidth=1.5).encode(x=x, y=y),
        base.mark_point(color=theme.CLOSED, filled=True, size=60, opacity=theme.SOLID).encode(
            x=x, y=y, tooltip=tooltip
        ),
    ]
    known = [row for row in rows if row["expected"] is not None]
    if known:  # a layer without data would have the scripts complain
        hollow = theme.chart(known).mark_point(
            color=theme.OPEN, shape="diamond", size=70, strokeWidth=theme.STROKE
        )
        layers.append(
            hollow.encode(
                x=x, y=alt.Y("expected:Q", title=what, scale=scale), tooltip=tooltip
            )
        )
    return theme.layered(layers, height=170)


def learning_chart(rows: list[Row], *, limit: float | None) -> theme.Drawn:
    """Draw one beginner's learning curve against its limit.

    Parameters
    ----------
    rows : list of dict
        number, day, answer, value, reached.
    limit : float or None
        Where the cases speak for the lower rate; None draws none.
    """
    x = alt.X(
        "number:Q",
        title="case number",
        scale=alt.Scale(zero=False, nice=False, padding=4),
        axis=alt.Axis(grid=False, tickMinStep=theme.WHOLE),
    )
    y = alt.Y("value:Q", title=EVIDENCE, scale=alt.Scale(domainMin=0, nice=False))
    tooltip = [
        alt.Tooltip("number:Q", title="case"),
        alt.Tooltip("day:N", title="inseminated"),
        alt.Tooltip("answer:N", title="ended"),
        alt.Tooltip("value:Q", format=".2f"),
    ]
    base = theme.chart(rows)
    layers: list[Any] = [
        base.mark_line(color=theme.CLOSED, strokeWidth=theme.STROKE).encode(
            x=x, y=y, tooltip=tooltip
        )
    ]
    if limit is not None:
        layers += _limit_line(limit, min(row["number"] for row in rows))
    reached = [row for row in rows if row["reached"]]
    if reached:  # a layer without data would have the scripts complain
        mark = theme.chart(reached).mark_point(
            shape="triangle-up", filled=True, size=110, color=theme.INK, opacity=theme.SOLID
        )
        layers.append(mark.encode(x=x, y=y, tooltip=tooltip))
    return theme.layered(layers, height=140)


def _limit_line(limit: float, first: int) -> list[alt.Chart]:
    """Draw the limit, named at its left end."""
    at = theme.chart([{"at": limit, "first": first, "said": "limit"}])
    place = alt.Y("at:Q", title=EVIDENCE)
    text = at.mark_text(align="left", dx=3, dy=-7, fontSize=11, color=theme.INK)
    return [
        at.mark_rule(color=theme.QUIET, strokeDash=theme.LIMIT_DASHES).encode(y=place),
        text.encode(y=place, x=alt.X("first:Q"), text=alt.Text("said:N")),
    ]
