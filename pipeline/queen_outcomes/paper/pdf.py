"""Sets a page template with data into a PDF, and a chart into a picture for it.

The same data give the same bytes. Data reach a template as JSON, never as markup, so that
nothing in a record can be taken for an instruction.
"""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from queen_outcomes.base import resources

MAIN, DATA = "main.typ", "data.json"
FOOT = (
    "Made by queen-outcomes {version} from the station's own records. A figure names no "
    "cause. CO2, stings, glass and drugs in diluent can hurt: follow local codes and those "
    "licensed to advise."
)


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

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
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


VEGA_LITE = "6.4"
INK = "#1d2429"


def svg(spec: dict[str, Any], *, width: int, height: int) -> str:
    """Draw a specification at a fixed size.

    Parameters
    ----------
    spec : dict
        As `theme.dressed` gives it; not changed.
    width, height : int
        Of the plot itself, in pixels.
    """
    return drawn({**spec, "width": width, "height": height})


def drawn(spec: dict[str, Any]) -> str:
    """Draw a specification that has a size of its own."""
    import vl_convert

    made = vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE)
    return made.replace("currentColor", INK)
