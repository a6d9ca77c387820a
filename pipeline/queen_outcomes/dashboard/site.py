"""Writes the dashboard: one folder of pages that works without a network.

Each page is a function from the finished tables to what its template shows. The chart
scripts are written once and shared. Nothing from outside is loaded, and a content
security policy says so to the browser.
"""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jinja2

from queen_outcomes import __version__, resources
from queen_outcomes.dashboard import (
    factors,
    methods,
    onset,
    queens,
    records,
    this_week,
    words,
)
from queen_outcomes.settings import Settings
from queen_outcomes.store import Store

Page = Callable[[Store, Settings, dt.date], dict[str, Any]]

PAGES: tuple[tuple[str, str, Page], ...] = (
    ("index", "This week", this_week.show),
    ("queens", "Queens", queens.show),
    ("onset", "Onset", onset.show),
    ("factors", "Factors", factors.show),
    ("records", "Records", records.show),
    ("methods", "Methods", methods.show),
)

VEGA_LITE = "6.4"
"""The version of the chart grammar that Altair 6 writes and the scripts must read."""


def draw(store: Store, settings: Settings, as_of: dt.date, folder: Path) -> list[Path]:
    """Write every page and what the pages share.

    Parameters
    ----------
    store : Store
        The build's finished tables.
    settings : Settings
        The station's name, windows and smallest number shown.
    as_of : date
        The day the figures stand for.
    folder : Path
        Where to write; made when absent.

    Returns
    -------
    list of Path
        The pages, in the order of the menu.
    """
    folder.mkdir(parents=True, exist_ok=True)
    _write_static(folder)
    environment = _environment()
    menu = [(f"{name}.html", title) for name, title, _ in PAGES]
    common = {
        "station": settings.name,
        "as_of": as_of,
        "version": __version__,
        "menu": menu,
        "min_shown": settings.min_shown,
    }
    written = []
    for name, title, show in PAGES:
        page = show(store, settings, as_of)
        text = environment.get_template(f"{name}.html").render(
            **common, here=f"{name}.html", title=title, **page
        )
        path = folder / f"{name}.html"
        path.write_text(text, encoding="utf-8", newline="\n")
        written.append(path)
    return written


def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(
            lambda name: resources.read("reports", "templates", name)
        ),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        percent=words.percent, plain=words.plain, script_json=words.script_json
    )
    environment.globals.update(limits=words.limits)
    return environment


def _write_static(folder: Path) -> None:
    import vl_convert

    static = folder / "static"
    static.mkdir(exist_ok=True)
    for name in ("style.css", "charts.js", "queens.js"):
        text = resources.read("reports", "static", name)
        (static / name).write_text(text, encoding="utf-8", newline="\n")
    bundle = vl_convert.javascript_bundle(vl_version=VEGA_LITE)
    (static / "chart-scripts.js").write_text(bundle, encoding="utf-8", newline="\n")


def clear(folder: Path) -> None:
    """Remove a dashboard that is to be drawn anew."""
    shutil.rmtree(folder, ignore_errors=True)
