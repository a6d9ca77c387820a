"""Writes an audit as a page, and one operator's as a sheet of paper beside it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from markupsafe import Markup

from queen_outcomes.audit import own_courses
from queen_outcomes.audit.report import Report
from queen_outcomes.base.outputs import write_files
from queen_outcomes.facts.words import plain
from queen_outcomes.paper.printing import (
    letterhead,
    pictures,
    prints,
    set_html,
    set_pdf,
)

Columns = tuple[tuple[str, str], ...]
FOLDER = "audit"
PICTURE = "series.svg"


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
    picture = None
    if report.points and pictures():
        # late: charts take longer to load than the figures to read
        from queen_outcomes.paper.audit_series import series_svg

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
    if report.sheet is None or not prints():
        return write_files({page: html})
    data = {**_printed(report.sheet), **head, "chart": PICTURE if picture else None}
    paper = folder / f"{report.file}.pdf"
    images = {PICTURE: picture} if picture else {}
    return write_files(
        {page: html, paper: set_pdf("audit_sheet.typ", data, as_of, images)}
    )


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
