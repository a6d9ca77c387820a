"""Sets data into what is printed: a sheet as PDF or HTML, and a chart as a picture for it.

The same data give the same bytes. Data reach a PDF's template as JSON, never as markup, so
that nothing in a record can be taken for an instruction.
"""

from __future__ import annotations

import datetime as dt
import importlib.util
import json
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from queen_outcomes import __version__
from queen_outcomes.base import resources
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import scratch_folder
from queen_outcomes.base.templates import environment
from queen_outcomes.dashboard.charts.grammar import VEGA_LITE
from queen_outcomes.dashboard.figures import FILTERS

MAIN, DATA = "main.typ", "data.json"
FOOT = (
    "Made by queen-outcomes {version} from the station's own records. A figure names no "
    "cause. CO2, stings, glass and drugs in diluent can hurt: follow local codes and those "
    "licensed to advise."
)


INSTALLS = "pip install '.[paper]'"
"""What brings the libraries that set PDF and draw pictures: 165 MB, which only those who print need."""
NO_PDF = f"note: without PDF, for which {INSTALLS}; the page prints from a browser too"
NO_PICTURE = (
    f"note: without PDF and without the picture of her series, for which {INSTALLS}; the page "
    "prints from a browser too, and the dashboard draws the series"
)


def prints() -> bool:
    """Tell whether what sets PDF is installed, with what draws the pictures in it."""
    return importlib.util.find_spec("typst") is not None and pictures()


def pictures() -> bool:
    """Tell whether what draws a picture of a chart is installed."""
    return importlib.util.find_spec("vl_convert") is not None


def refuse_without_pdf(where: str) -> None:
    """Refuse what is asked to print, before it begins on anything.

    Raises
    ------
    UsageError
        What sets PDF is not installed.
    """
    if not prints():
        raise UsageError(
            "nothing here sets PDF",
            where=where,
            found="an installation without the extra named paper",
            expected="the libraries that set PDF",
            hint=f"{INSTALLS} in the folder of queen-outcomes, or leave {where} out",
        )


def letterhead(station: str, as_of: dt.date, title: str) -> dict[str, Any]:
    """Give what stands at the head and the foot of every sheet."""
    return {
        "station": station,
        "title": title,
        "as_of": f"as of {as_of.isoformat()}",
        "foot": FOOT.format(version=__version__),
    }


def set_html(template: str, data: Mapping[str, Any]) -> str:
    """Give a sheet as a page of HTML that loads nothing.

    Parameters
    ----------
    template : str
        Name of a file in ``reports/templates``.
    data : mapping
        What the template shows.
    """
    style = Markup(resources.read("reports", "static", "style.css"))
    sheet = environment(FILTERS).get_template(template)
    return sheet.render(**data, style=style)


def set_pdf(
    template: str,
    data: Mapping[str, Any],
    day: dt.date,
    images: Mapping[str, str] | None = None,
) -> bytes:
    """Give a PDF.

    Parameters
    ----------
    template : str
        Name of a file in ``reports/print``; it reads ``data.json`` beside it.
    data : mapping
        What the template shows; anything JSON can hold, days as ISO texts.
    day : date
        Goes into the file as its date, so that no clock does.
    images : mapping of str to str, optional
        File name -> SVG, for the template to place.
    """
    import typst

    with scratch_folder() as folder:
        parts = {
            MAIN: resources.read("reports", "print", template),
            "style.typ": resources.read("reports", "print", "style.typ"),
            DATA: json.dumps(data, ensure_ascii=False, default=str),
            **(images or {}),
        }
        for name, text in parts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        noon = dt.datetime.combine(day, dt.time(12), tzinfo=dt.UTC)
        return typst.compile(
            str(folder / MAIN),
            root=str(folder),
            ignore_system_fonts=True,
            timestamp=int(noon.timestamp()),
        )


INK = "#1d2429"


def svg(spec: dict[str, Any]) -> str:
    """Draw a specification, as `theme.dressed` gives it, that has a size of its own."""
    import vl_convert

    made = vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE)
    return made.replace("currentColor", INK)
