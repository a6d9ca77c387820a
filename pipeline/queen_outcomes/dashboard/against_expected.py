"""What lies behind a season's share: its graft batches and operators against the expected.

Both stand under the first page's picture of the weeks, so that a bad week leads to the batch
and the hand that it is made of, and each of them to its weeks.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import funnel, theme
from queen_outcomes.dashboard.charts.linked import linked
from queen_outcomes.dashboard.figures import Numbers, PageFigure, statement
from queen_outcomes.facts.settings import Settings

HEIGHT = 170
ROW_HEIGHT = 22
OUTSIDE_95 = 0.05
MOST_OPERATORS = 20
"""Operators drawn, those with most courses; the operators' page has all."""
MOST_NAMED = 3
OVER = "failed − expected"
SIGNALS = ("within chance", "signal this season")
COLUMNS = (
    ("name", "Name"),
    ("courses", "Decided courses"),
    ("failures", "Failed"),
    ("expected", "Expected"),
    ("over", "Failed − expected"),
    ("degree", "Against chance"),
)
NUMBERS = ("courses", "failures", "expected", "over")

Row = dict[str, Any]
Charts = dict[str, Any]


def show(
    store: Store, settings: Settings, season: str, charts: Charts
) -> list[PageFigure]:
    """Give both pictures of a season, as far as there is something to draw.

    Parameters
    ----------
    store : Store
    settings : Settings
    season : str
    charts : dict
        Takes up the charts.
    """
    outcome, days = settings.plan.question
    asked = {"outcome": outcome, "window_days": days, "season": season}
    figures = []
    grafts = [
        _point(
            row,
            funnel.degree(flagged=bool(row["flag"]), outside=row["mid_p"] < OUTSIDE_95),
        )
        for row in store.records(statement("season_grafts"), asked)
    ]
    if grafts:
        charts["grafts"] = linked(graft_chart(grafts), "graft_batch", "name")
        flagged = [row["name"] for row in grafts if row["degree"] == funnel.FLAGGED]
        figures.append(
            _figure("grafts", f"Graft batches of {season}", "flagged", flagged, grafts)
        )
    operators = [
        _point(row, SIGNALS[row["signals"] > 0])
        for row in store.records(statement("season_operators"), {"season": season})
    ]
    if operators:
        most = sorted(operators, key=lambda row: (-row["courses"], row["name"]))
        shown = sorted(most[:MOST_OPERATORS], key=lambda row: row["name"])
        charts["hands"] = linked(operator_chart(shown), "operator", "name")
        signalled = [row["name"] for row in shown if row["degree"] == SIGNALS[1]]
        figures.append(
            _figure("hands", f"Operators in {season}", "signalled", signalled, shown)
        )
    return figures


def _point(row: Row, degree: str) -> Row:
    return {
        **{key: row[key] for key in ("name", "courses", "failures")},
        "expected": round(row["expected"], 1),
        "over": round(row["failures"] - row["expected"], 1),
        "degree": degree,
    }


def _figure(
    chart: str, what: str, how: str, named: list[str], rows: list[Row]
) -> PageFigure:
    more = len(named) - MOST_NAMED
    rest = f" and {more} more" if more > 0 else ""
    found = f"{', '.join(named[:MOST_NAMED])}{rest} {how}" if named else f"none {how}"
    told = "; ".join(f"{row['name']} {row['over']:+.1f}" for row in rows)
    cells = [{**row, "over": f"{row['over']:+.1f}"} for row in rows]
    return PageFigure(
        chart,
        f"{what}: {found}",
        f"{what}, failures minus expected: {told}.",
        Numbers(COLUMNS, cells, NUMBERS),
    )


def graft_chart(rows: list[Row]) -> theme.Drawn:
    """Draw each graft batch's failures beyond the expected, in the order of their days.

    Parameters
    ----------
    rows : list of dict
        name, courses, failures, expected, over, degree.
    """
    x = alt.X(
        "name:N",
        title="graft batch, in the order of insemination",
        sort=[row["name"] for row in rows],
        axis=alt.Axis(labelAngle=theme.UPRIGHT, labelOverlap="greedy", labelSeparation=6),
    )
    y = alt.Y("over:Q", title=OVER, axis=theme.signed_axis("+~g"))
    looks = funnel.degree_looks()
    return _stems(rows, {"x": x, "y": y}, "y", looks, HEIGHT)


def operator_chart(rows: list[Row]) -> theme.Drawn:
    """Draw each operator's failures of the season beyond the expected, one a line.

    Parameters
    ----------
    rows : list of dict
        As `graft_chart` takes them; degree is one of `SIGNALS`.
    """
    y = alt.Y(
        "name:N",
        title=None,
        sort=[row["name"] for row in rows],
        axis=alt.Axis(labelLimit=140, grid=False, ticks=False),
    )
    x = alt.X("over:Q", title=OVER, axis=theme.signed_axis("+~g"))
    by = partial(theme.told_apart, "degree", SIGNALS)
    looks = {
        "shape": by(alt.Shape, ("circle", "triangle-up")),
        "color": by(alt.Color, (theme.CLOSED, theme.OPEN)),
    }
    return _stems(rows, {"x": x, "y": y}, "x", looks, ROW_HEIGHT * len(rows))


def _stems(
    rows: list[Row], place: Row, along: str, looks: Row, height: int
) -> theme.Drawn:
    """Draw points on stems that stand on the expected."""
    base = theme.chart(rows)
    channel = {"x": alt.X, "y": alt.Y}[along]
    stem = {**place, f"{along}2": alt.datum(0)}
    tooltip = [
        alt.Tooltip("name:N", title="which"),
        alt.Tooltip("courses:Q", title="decided courses"),
        alt.Tooltip("failures:Q", title="failed"),
        alt.Tooltip("expected:Q", format=".1f"),
        alt.Tooltip("degree:N", title="against chance"),
    ]
    zero = theme.chart([{"nought": 0}]).mark_rule(color=theme.QUIET)
    points = base.mark_point(filled=True, size=70, opacity=theme.SOLID)
    return theme.layered(
        [
            zero.encode(**{along: channel("nought:Q", title=OVER)}),
            base.mark_rule(color=theme.QUIET, strokeWidth=theme.STROKE, opacity=0.6).encode(
                **stem
            ),
            points.encode(**place, tooltip=tooltip, **looks),
        ],
        height=height,
    )
