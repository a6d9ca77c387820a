"""Writes an audit as a page, and one operator's as a sheet of paper beside it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from markupsafe import Markup

from queen_outcomes import __version__
from queen_outcomes.audit.report import Report
from queen_outcomes.base import resources
from queen_outcomes.base.templates import environment
from queen_outcomes.dashboard import cells
from queen_outcomes.paper.pdf import FOOT, set_pdf
from queen_outcomes.paper.series_picture import series_svg

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
    picture = series_svg(report.points)
    page = folder / f"{report.file}.html"
    page.write_text(_html(report, name, as_of, picture), encoding="utf-8", newline="\n")
    if report.sheet is None:
        return [page]
    data = {
        **report.sheet,
        "station": name,
        "title": report.title,
        "as_of": f"as of {as_of.isoformat()}",
        "foot": FOOT.format(version=__version__),
        "chart": PICTURE if picture else None,
    }
    paper = folder / f"{report.file}.pdf"
    images = {PICTURE: picture} if picture else {}
    paper.write_bytes(set_pdf("audit_sheet.typ", data, as_of, images))
    return [page, paper]


def _html(report: Report, name: str, as_of: dt.date, picture: str | None) -> str:
    template = environment(cells.FILTERS).get_template("audit_sheet.html")
    return template.render(
        station=name,
        as_of=f"as of {as_of.isoformat()}",
        title=report.title,
        report=report,
        columns=[(key, key.replace("_", " ")) for key in report.rows[0]],
        picture=Markup(picture) if picture else None,  # drawn here, no text of records
        style=Markup(resources.read("reports", "static", "style.css")),
        foot=FOOT.format(version=__version__),
    )
