"""Writes an audit as a page, and one operator's as a sheet of paper beside it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import altair as alt
from markupsafe import Markup

from queen_outcomes.audit import own_courses
from queen_outcomes.audit.report import Report
from queen_outcomes.base.outputs import write_files
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.facts.words import plain
from queen_outcomes.paper.printing import letterhead, set_html, set_pdf, svg

Columns = tuple[tuple[str, str], ...]
FOLDER = "audit"
PICTURE = "series.svg"
WIDTH, HEIGHT = 300, 150


def write(report: Report, station: Path, name: str, as_of: dt.date) -> list[Path]:
    """Write the page, and for one operator the PDF; give their paths.

    Parameters
    ----------
    report : Report
    station : Path
        They go to ``build/audit``, which later builds leave alone.
    name : str
        The station's.
    as_of : date
    """
    folder = station / "build" / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    picture = series_svg(report.points)
    page = folder / f"{report.file}.html"
    head = letterhead(name, as_of, report.title)
    html = set_html(
        "audit_sheet.html",
        {
            **head,
            "report": report,
            "parts": own_courses,
            "columns": [(key, key.replace("_", " ")) for key in report.rows[0]],
            # drawn here, so none of the records' text is in it
            "picture": Markup(picture) if picture else None,
        },
    )
    if report.sheet is None:
        return write_files({page: html})
    data = {**_printed(report.sheet), **head, "chart": PICTURE if picture else None}
    paper = folder / f"{report.file}.pdf"
    images = {PICTURE: picture} if picture else {}
    return write_files({page: html, paper: set_pdf("audit_sheet.typ", data, as_of, images)})


def _printed(sheet: dict[str, Any]) -> dict[str, Any]:
    """Give a sheet whose tables are headings and rows of texts, as the paper takes them."""

    def table(columns: Columns, rows: list[dict[str, Any]]) -> dict[str, Any]:
        heads = [heading for _, heading in columns]
        cells = [[plain(row[key]) for key, _ in columns] for row in rows]
        return {"heads": heads, "rows": cells}

    around = [
        {
            "signal": part["signal"],
            **table(own_courses.AROUND_COLUMNS, part["rows"]),
        }
        for part in sheet["around"]
    ]
    return {
        **sheet,
        "around": around,
        "tools": table(own_courses.TOOL_COLUMNS, sheet["tools"]),
        "learning": {
            "said": sheet["learning"]["said"],
            **table(own_courses.STRETCH_COLUMNS, sheet["learning"]["rows"]),
        },
        "failed": table(own_courses.COLUMNS, sheet["failed"]),
    }


def series_svg(points: list[dict[str, Any]]) -> str | None:
    """Draw both series side by side as SVG; None without points.

    Parameters
    ----------
    points : list of dict
        As `audit.sheet.series_points` gives them.
    """
    if not points:
        return None
    names = list(dict.fromkeys(point["series"] for point in points))
    with theme.unchecked():
        panels = [
            _series_panel([point for point in points if point["series"] == name], name)
            for name in names
        ]
        spec = theme.dressed(alt.hconcat(*panels))
    return svg(spec)


def _series_panel(points: list[dict[str, Any]], name: str) -> alt.LayerChart:
    base = theme.chart(points)
    x = alt.X("case:Q", title="case of the season", axis=alt.Axis(tickMinStep=1))
    layers = [
        base.mark_line(color=theme.OPEN, interpolate="step-after").encode(
            x=x, y=alt.Y("worse:Q", title="fewer ← failures → more")
        ),
        base.mark_line(
            color=theme.CLOSED, interpolate="step-after", strokeDash=[5, 2]
        ).encode(x=x, y="better:Q"),
    ]
    for limit in ("limit_worse", "limit_better"):
        if any(point[limit] is not None for point in points):
            rule = base.mark_line(color=theme.QUIET, strokeDash=[2, 3])
            layers.append(rule.encode(x=x, y=f"{limit}:Q"))
    signals = [point for point in points if point["signal"]]
    if signals:
        mark = theme.chart(signals).mark_point(
            shape="triangle-up", size=90, color=theme.INK, filled=True
        )
        at = alt.Y("worse:Q") if signals[0]["signal"] == "worse" else alt.Y("better:Q")
        layers.append(mark.encode(x=x, y=at))
    return alt.layer(*layers).properties(title=name, width=WIDTH, height=HEIGHT)
