"""The part of the operators' page that comes first: graft batches, semen batches, days."""

from __future__ import annotations

from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import theme
from queen_outcomes.dashboard.charts import marks
from queen_outcomes.dashboard.charts.day_counts import day_chart
from queen_outcomes.dashboard.charts.funnel import MOST_TOP, funnel_chart
from queen_outcomes.dashboard.figures import Figure, Numbers
from queen_outcomes.dashboard.operator_overlap import apart
from queen_outcomes.facts.settings import Settings
from queen_outcomes.facts.words import BATCH_KINDS
from queen_outcomes.stats.shares.funnel import funnel_lines

Row = dict[str, Any]
OUTSIDE_95 = 0.05
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
    rows = store.records(
        "SELECT * FROM batches WHERE outcome = $outcome AND window_days = $window_days "
        "ORDER BY kind, mid_p, batch",
        dict(zip(("outcome", "window_days"), settings.plan.question, strict=True)),
    )
    points = [_point(row) for row in rows]
    funnels = []
    for kind, label in BATCH_KINDS.items():
        own = [point for point in points if point["kind"] == kind]
        if own:
            funnels.append(_funnel(kind, label, own, charts))
    return {
        "total": len(points),
        "flagged": sum(point["degree"] == marks.FLAGGED for point in points),
        "funnels": funnels,
        "outside": [point for point in points if point["degree"] != marks.WITHIN],
        "outside_columns": (("kind_said", "Kind"), *FUNNEL_COLUMNS),
        "outside_numbers": COUNTS,
        "days": _days(store, charts),
        "beyond": sum(point["ratio"] > MOST_TOP for point in points),
        "apart": apart(store, operators),
    }


def _point(row: Row) -> Row:
    degree = marks.degree(flagged=bool(row["flag"]), outside=row["mid_p"] < OUTSIDE_95)
    return {
        "kind": row["kind"],
        "kind_said": BATCH_KINDS[row["kind"]],
        "name": row["batch"],
        "first_on": row["first_on"].isoformat(),
        "courses": row["courses"],
        "failures": row["failures"],
        "expected": round(row["expected"], 2),
        "expected_said": f"{row['expected']:.1f}",
        "ratio": round(row["ratio"], 3),
        "ratio_said": f"{row['ratio']:.1f}",
        "degree": degree,
        "label": row["batch"] if degree == marks.FLAGGED else "",
        "who": ", ".join(row["operators"]) or "not recorded",
    }


def _funnel(kind: str, label: str, points: list[Row], charts: dict[str, Any]) -> Figure:
    flagged = [point for point in points if point["degree"] == marks.FLAGGED]
    courses = sum(point["courses"] for point in points)
    share = sum(point["expected"] for point in points) / courses
    largest = max(point["courses"] for point in points)
    keys = (
        *("name", "courses", "failures", "expected", "ratio", "degree"),
        *("label", "who"),
    )
    name = f"funnel-{kind.replace('_', '-')}"
    chart = funnel_chart(
        [{key: point[key] for key in keys} for point in points],
        funnel_lines(largest, share),
        size=f"courses in the {label}",
    )
    charts[name] = theme.dressed(chart)
    outside = sum(point["degree"] != marks.WITHIN for point in points)
    return Figure(
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


def _days(store: Store, charts: dict[str, Any]) -> Figure | None:
    """Draw the last season's days; the table holds every day outside in any season."""
    rows = [_day(row) for row in store.records("SELECT * FROM audit_days ORDER BY d0")]
    if not rows:
        return None
    season = max(row["season"] for row in rows)
    shown = [row for row in rows if row["season"] == season]
    keys = (
        *("day", "courses", "failures", "expected", "least", "most"),
        *("degree", "batches"),
    )
    chart = day_chart([{key: row[key] for key in keys} for row in shown])
    charts["days"] = theme.dressed(chart)
    outside = [row for row in shown if row["degree"] != marks.WITHIN]
    title = (
        f"Season {season}: failures lie outside the 95 % limits on {len(outside)} of "
        f"{len(shown)} days"
    )
    if 0 < len(outside) <= MOST_NAMED:
        title += f": {', '.join(row['day'] for row in outside)}"
    return Figure(
        chart="days",
        title=title,
        alt=(
            f"Failures by day of insemination in season {season}: a point a day on a bar "
            f"of what chance gives, with a short line at the expected number. "
            f"{len(outside)} of {len(shown)} days lie outside."
        ),
        table=Numbers(DAY_COLUMNS, shown, ("courses", "failures", "expected_said")),
    )


def _day(row: Row) -> Row:
    outside = not row["low"] <= row["failures"] <= row["high"]
    return {
        "day": row["d0"].isoformat(),
        "season": row["season"],
        "courses": row["courses"],
        "failures": row["failures"],
        "expected": round(row["expected"], 2),
        "expected_said": f"{row['expected']:.1f}",
        "least": row["low"],
        "most": row["high"],
        "span": f"{row['low']} to {row['high']}",
        "degree": marks.degree(flagged=bool(row["flag"]), outside=outside),
        "batches": ", ".join(row["graft_batches"]),
        "who": ", ".join(row["operators"]),
    }
