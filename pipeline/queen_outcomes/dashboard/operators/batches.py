"""The part of the operators' page that comes first: graft batches, semen batches, days."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.audit.cases import LARGE
from queen_outcomes.audit.operators import SEPARABLE
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import funnel, theme
from queen_outcomes.dashboard.charts.funnel import MOST_TOP, funnel_chart
from queen_outcomes.dashboard.charts.linked import linked
from queen_outcomes.dashboard.figures import Numbers, PageFigure, grouped, only
from queen_outcomes.facts.settings import Settings
from queen_outcomes.facts.words import BATCH_KINDS
from queen_outcomes.stats.shares.funnel import funnel_lines

Row = dict[str, Any]
OUTSIDE_95 = 0.05
HEIGHT = 175
MOST_NAMED = 3
"""Batches or days that a title names."""
FUNNEL_COLUMNS = (
    ("name", "Batch"),
    ("first_on", "First day 0"),
    ("courses", "Courses"),
    ("failures", "Failed"),
    ("expected_said", "Expected"),
    ("ratio_said", "Ratio"),
    ("degree", "Against chance"),
    ("who", "Done by"),
)
DAY_COLUMNS = (
    ("day", "Day 0"),
    ("courses", "Courses"),
    ("failures", "Failed"),
    ("expected_said", "Expected"),
    ("span", "Chance gives"),
    ("degree", "Against chance"),
    ("batches", "Graft batches"),
    ("who", "Done by"),
)
APART_COLUMNS = (
    ("operator", "Operator"),
    ("courses", "Courses"),
    ("shared", "In shared batches"),
    ("separable_said", "Operator and batch"),
    ("excess", "Failed − expected"),
    ("adds", "Graft batch that adds most"),
    ("whose", "Who else did it"),
)
NOT_SHOWN = ("shared", "separable_said", "excess", "adds", "whose")
DAYS = "days"
"""Name of the days that are drawn across; the page's script follows it."""
DAY_AXIS = theme.day_axis("day", "day of insemination (day 0)")
FAILED_AXIS = "courses failed"
DRAWN = ("name", "courses", "failures", "expected", "ratio", "degree", "label", "who")
DAY_DRAWN = (
    *("day", "date", "courses", "failures", "expected", "least", "most", "degree"),
    "batches",
)
COUNTS = ("courses", "failures", "expected_said", "ratio_said")


def show(
    store: Store, settings: Settings, operators: list[Row], charts: dict[str, Any]
) -> Row:
    """Give what the page says of batches and days.

    Parameters
    ----------
    store : Store
    settings : Settings
    operators : list of dict
        Of `operators`, the plan's question.
    charts : dict
        Takes up the charts.
    """
    outcome, days = settings.plan.question
    rows = store.records(
        "SELECT * FROM batches WHERE outcome = $outcome AND window_days = $days "
        "ORDER BY mid_p, kind, batch",
        {"outcome": outcome, "days": days},
    )
    shares = {kind: _share(rows, kind) for kind in BATCH_KINDS}
    points = _points(rows, shares)
    return {
        "total": len(points),
        "flagged": [row for row in rows if row["flag"]],
        "funnels": [
            _funnel(kind, label, own, shares[kind], charts)
            for kind, label in BATCH_KINDS.items()
            if (own := [point for point in points if point["kind"] == kind])
        ],
        "outside": [point for point in points if point["degree"] != funnel.WITHIN],
        "outside_columns": (("kind_said", "Kind"), *FUNNEL_COLUMNS),
        "outside_numbers": COUNTS,
        "days": _days(store, charts),
        "beyond": sum(point["ratio"] > MOST_TOP for point in points),
        "apart": apart(store, operators),
    }


def _share(rows: list[Row], kind: str) -> float:
    """Give failures expected over courses, of all batches of a kind."""
    own = [row for row in rows if row["kind"] == kind]
    courses = sum(row["courses"] for row in own)
    return sum(row["expected"] for row in own) / courses if courses else 0.0


def _points(rows: list[Row], shares: dict[str, float]) -> list[Row]:
    """Give every batch's point, in the order of the rows."""
    found: dict[tuple[str, str], Row] = {}
    for kind, share in shares.items():
        own = [row for row in rows if row["kind"] == kind]
        for row, placed in zip(own, funnel.figures(own, share), strict=True):
            found[kind, row["batch"]] = _point(row, placed)
    return [found[row["kind"], row["batch"]] for row in rows]


def _point(row: Row, placed: Row) -> Row:
    degree = funnel.degree(flagged=bool(row["flag"]), outside=row["mid_p"] < OUTSIDE_95)
    return {
        "kind": row["kind"],
        "kind_said": BATCH_KINDS[row["kind"]],
        "name": row["batch"],
        "first_on": row["first_on"].isoformat(),
        **placed,
        "expected_said": f"{row['expected']:.1f}",
        "ratio_said": f"{row['ratio']:.1f}",
        "degree": degree,
        "label": row["batch"] if degree == funnel.FLAGGED else "",
        "who": ", ".join(row["operators"]) or "not recorded",
    }


def _funnel(
    kind: str, label: str, points: list[Row], share: float, charts: dict[str, Any]
) -> PageFigure:
    flagged = [point for point in points if point["degree"] == funnel.FLAGGED]
    name = f"funnel-{kind.replace('_', '-')}"
    drawn = funnel_chart(
        only(points, DRAWN),
        funnel_lines([point["courses"] for point in points], share),
        size=f"courses in the {label}",
        height=HEIGHT,
    )
    charts[name] = linked(drawn, kind, "name")
    outside = sum(point["degree"] != funnel.WITHIN for point in points)
    return PageFigure(
        chart=name,
        title=_finding(label, points, flagged),
        alt=(
            f"Funnel of {len(points)} {label}es: failures over expected against the "
            f"number of courses, with limits. {outside} lie outside the 95 % limits, "
            f"{len(flagged)} outside the 99.8 % limits."
        ),
        table=Numbers(FUNNEL_COLUMNS, points, COUNTS),
    )


def _finding(label: str, points: list[Row], flagged: list[Row]) -> str:
    start = f"{label.capitalize()}es"
    if not flagged:
        return f"{start}: none of {len(points)} flagged"
    named = ", ".join(point["name"] for point in flagged[:MOST_NAMED])
    more = len(flagged) - MOST_NAMED
    rest = f" and {more} more" if more > 0 else ""
    return f"{start}: {len(flagged)} of {len(points)} flagged, {named}{rest}"


def _days(store: Store, charts: dict[str, Any]) -> PageFigure | None:
    """Draw the last season's days; the table holds every day outside in any season."""
    rows = [
        _day_row(row) for row in store.records("SELECT * FROM audit_days ORDER BY d0")
    ]
    if not rows:
        return None
    season = max(row["season"] for row in rows)
    shown = [row for row in rows if row["season"] == season]
    drawn = day_chart(only(shown, DAY_DRAWN))
    charts["days"] = linked(drawn, "day", "date", brush=DAYS)
    outside = [row for row in shown if row["degree"] != funnel.WITHIN]
    title = (
        f"Season {season}: failures lie outside the 95 % limits on {len(outside)} of "
        f"{len(shown)} days"
    )
    if 0 < len(outside) <= MOST_NAMED:
        title += f": {', '.join(row['day'] for row in outside)}"
    return PageFigure(
        chart="days",
        title=title,
        alt=(
            f"Failures by day of insemination in season {season}: a point a day on a bar "
            f"of what chance gives, with a short line at the expected number. "
            f"{len(outside)} of {len(shown)} days lie outside."
        ),
        table=Numbers(DAY_COLUMNS, shown, ("courses", "failures", "expected_said")),
    )


def _day_row(row: Row) -> Row:
    outside = not row["low"] <= row["failures"] <= row["high"]
    return {
        **row,
        "day": row["d0"].isoformat(),
        "date": row["d0"].isoformat(),
        "expected": round(row["expected"], 2),
        "expected_said": f"{row['expected']:.1f}",
        "least": row["low"],
        "most": row["high"],
        "span": f"{row['low']} to {row['high']}",
        "degree": funnel.degree(flagged=bool(row["flag"]), outside=outside),
        "batches": ", ".join(row["graft_batches"]),
        "who": ", ".join(row["operators"]),
    }


def apart(store: Store, operators: list[Row]) -> Row:
    """Give the share of batches shared, and where failures beyond the expected lie.

    Parameters
    ----------
    store : Store
    operators : list of dict
        Of `operators`, one question.
    """
    parts = grouped(store.records("SELECT * FROM operator_batches ORDER BY ALL"))
    rows, said = [], []
    for row in operators:
        own = parts[row["operator"]]
        rows.append(_overlap_row(row, own))
        if row["shown"]:
            said += alone_said(row, own)
    told = [
        r for r in operators if not r["separable"] and (r["shown"] or r["apart_from"])
    ]
    hidden = [row["operator"] for row in told]
    return {
        "title": _overlap_title(operators, hidden, any(parts.values())),
        "said": said,
        "columns": APART_COLUMNS,
        "rows": rows,
        "least": f"{100 * SEPARABLE:.0f} %",
        "inseparable": hidden,
    }


def _overlap_title(operators: list[Row], hidden: list[str], has_batches: bool) -> str:
    shown = [row for row in operators if row["shown"]]
    many = "operator and batch cannot be told apart"
    if shown and not has_batches:
        return f"No batch is recorded: {many}"
    if hidden:
        return f"{', '.join(hidden)}: {many}"
    if not shown:
        return "Which batches were shared"
    least = min(row["shared_pct"] for row in shown)
    if least >= 99.5:
        return "Every course lies in batches that others worked on too"
    return (
        f"Every operator has {least:.0f} % or more of the courses in batches that others "
        "worked on too"
    )


def _overlap_row(row: Row, parts: list[Row]) -> Row:
    found = {"operator": row["operator"], "courses": row["courses"]}
    if not row["shown"]:
        return {**found, **dict.fromkeys(NOT_SHOWN, "")}
    best = largest_part(parts, "graft_batch")
    return {
        **found,
        "shared": f"{row['shared_pct']:.0f} %",
        "separable_said": f"{'can' if row['separable'] else 'cannot'} be told apart",
        "excess": f"{row['failures'] - row['expected']:+.1f}",
        "adds": f"{best['batch']}, {excess(best):+.1f}" if best else "",
        "whose": ("nobody" if best["alone"] else "others") if best else "",
    }


def excess(part: Row) -> float:
    """Give failures beyond the expected."""
    return part["failures"] - part["expected"]


def largest_part(parts: list[Row], kind: str) -> Row | None:
    """Give the batch of a kind with most failures beyond the expected, if any has."""
    own = [part for part in parts if part["kind"] == kind and excess(part) > 0]
    return max(own, key=lambda part: (excess(part), part["batch"])) if own else None


def alone_said(row: Row, parts: list[Row]) -> list[str]:
    """Say where an operator's excess lies in batches that nobody else worked on."""
    total = row["failures"] - row["expected"]
    alone = [part for part in parts if part["alone"] and part["kind"] == "graft_batch"]
    beyond = sum(excess(part) for part in alone)
    best = largest_part(alone, "graft_batch")
    if total <= 0 or best is None or beyond < LARGE * total:
        return []
    size = "all" if beyond >= total else f"{beyond:.1f}"
    where = (
        f"in graft batch {best['batch']}"
        if len(alone) == 1
        else f"in {len(alone)} graft batches, most of it in {best['batch']}"
    )
    return [
        f"{row['operator']}: {total:.1f} failures more than expected, and {size} of them "
        f"{where} that nobody else worked on ({part_said(best)}). Whether it was the "
        "batch or the hand, these records cannot tell."
    ]


def part_said(part: Row) -> str:
    """Say a batch's counts."""
    return f"{part['failures']} of {part['courses']} failed, {part['expected']:.1f} expected"


def day_chart(rows: list[dict[str, Any]]) -> theme.Drawn:
    """Draw each day's failures, what was expected, and what chance gives.

    Parameters
    ----------
    rows : list of dict
        day, date (the same, which stays a text), courses, failures, expected, least,
        most, degree, batches.
    """
    base = theme.chart(rows)
    whole = alt.Axis(tickMinStep=theme.WHOLE)
    tooltip = [
        alt.Tooltip("date:N", title="day"),
        alt.Tooltip("courses:Q"),
        alt.Tooltip("failures:Q", title="failed"),
        alt.Tooltip("expected:Q", format=".1f"),
        alt.Tooltip("least:Q", title="chance gives from"),
        alt.Tooltip("most:Q", title="to"),
        alt.Tooltip("batches:N", title="graft batches"),
    ]
    layers = [
        base.mark_rule(color=theme.QUIET, strokeWidth=3.5, opacity=0.35).encode(
            x=DAY_AXIS, y=alt.Y("least:Q", title=FAILED_AXIS, axis=whole), y2=alt.Y2("most:Q")
        ),
        base.mark_tick(color=theme.INK, thickness=1.5, size=7).encode(
            x=DAY_AXIS, y=alt.Y("expected:Q", title=FAILED_AXIS)
        ),
        base.mark_point(filled=True, size=45, opacity=0.9)
        .encode(
            x=DAY_AXIS,
            y=alt.Y("failures:Q", title=FAILED_AXIS),
            tooltip=tooltip,
            **funnel.degree_looks(),
        )
        .add_params(alt.selection_interval(name=DAYS, encodings=["x"]))
        .properties(name="of_days"),
    ]
    return theme.layered(layers, height=240)
