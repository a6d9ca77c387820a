"""Writes the dashboard: one folder of pages that works without a network.

Each page is a function from the finished tables to what its template shows. The chart
scripts are written once and shared. Nothing from outside is loaded, and a content
security policy says so to the browser.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import jinja2

from queen_outcomes import __version__
from queen_outcomes.base import resources, templates
from queen_outcomes.base.store import Store
from queen_outcomes.base.workers import Workers
from queen_outcomes.dashboard import (
    doses,
    due,
    factors,
    figures,
    methods,
    onset,
    queens,
    records,
    this_week,
)
from queen_outcomes.dashboard.charts import scripts, theme
from queen_outcomes.dashboard.charts.grammar import SCRIPTS
from queen_outcomes.dashboard.charts.linked import ringed
from queen_outcomes.dashboard.operators import page as operators
from queen_outcomes.facts.settings import Settings

Page = Callable[[Store, Settings, dt.date], dict[str, Any]]

PAGES: tuple[tuple[str, str, Page], ...] = (
    ("index", "This week", this_week.show),
    ("due", "Due", due.show),
    ("queens", "Queens", queens.show),
    ("onset", "Onset", onset.show),
    ("factors", "Factors", factors.show),
    ("operators", "Operators", operators.show),
    ("doses", "Doses", doses.show),
    ("records", "Records", records.show),
    ("methods", "Methods", methods.show),
)

STATIC = (
    *("style.css", "charts.js", "linking.js", "saving.js", "sorting.js", "folded.js"),
    "weeks.js",
    *queens.STATIC,
)


def draw(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    folder: Path,
    workers: Workers | None = None,
) -> list[Path]:
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
    workers : Workers, optional
        Who draws pages too, from the store's file; not given: all are drawn here.

    Returns
    -------
    list of Path
        The pages, in the order of the menu.
    """
    folder.mkdir(parents=True, exist_ok=True)
    _write_static(folder)
    given = settings, as_of, folder
    if workers is None or workers.count == 1:
        return [_draw_page(store, number, *given) for number in range(len(PAGES))]
    with store.looked_at() as look:
        tasks = [
            workers.submit(_draw_apart, look, number, *given)
            for number in range(len(PAGES))
        ]
        return workers.results(tasks)


def _draw_apart(look: Callable[[], Store], number: int, *given: Any) -> Path:
    """Draw one of `PAGES` from a build's file, which others look at meanwhile."""
    with look() as store:
        return _draw_page(store, number, *given)


def _draw_page(
    store: Store, number: int, settings: Settings, as_of: dt.date, folder: Path
) -> Path:
    """Draw one of `PAGES`, with the files that it loads later."""
    name, title, show = PAGES[number]
    with theme.unchecked():
        page = show(store, settings, as_of)
        common = _common(settings, as_of)
        shown = {**common, "here": f"{name}.html", "title": title, **page}
        written = _write_page(folder / f"{name}.html", name, shown)
    for file, text in page.get("files", {}).items():
        _write(folder / file, text)
    return written


def draw_apart(
    name: str,
    page: dict[str, Any],
    settings: Settings,
    as_of: dt.date,
    folder: Path,
    home: str,
) -> Path:
    """Write one page of a command's, apart from the dashboard, with what it needs.

    Parameters
    ----------
    name : str
        Of its template.
    page : dict
        What the template shows, with its ``title``.
    settings : Settings
    as_of : date
    folder : Path
        Where to write ``index.html``; made when absent.
    home : str
        The way from there to the dashboard, ending in a slash.
    """
    _write_static(folder)
    shown = {**_common(settings, as_of, home), "home": home, "here": "", **page}
    return _write_page(folder / "index.html", name, shown)


def _common(settings: Settings, as_of: dt.date, home: str = "") -> dict[str, Any]:
    """Give what every page knows."""
    return {
        "station": settings.name,
        "as_of": as_of,
        "version": __version__,
        "menu": [(f"{home}{name}.html", title) for name, title, _ in PAGES],
        "min_shown": settings.min_shown,
    }


def rendered(template: str, shown: dict[str, Any]) -> str:
    """Give a page's text from its template's name and what it shows."""
    given = {"chart_config": theme.CONFIG, "charts": {}, "linked": None, **shown}
    return _environment().get_template(f"{template}.html").render(given)


@cache
def _environment() -> jinja2.Environment:
    """Give the pages' templates, of which each is read once: what all share is long."""
    return templates.environment(figures.FILTERS)


def _write_page(path: Path, template: str, shown: dict[str, Any]) -> Path:
    """Write a page, its charts in the pages' common style."""
    charts = {
        name: _light(ringed(theme.dressed(one)))
        for name, one in shown.get("charts", {}).items()
    }
    return _write(path, rendered(template, {**shown, "charts": charts}))


def _light(spec: dict[str, Any]) -> dict[str, Any]:
    """Leave out of a chart what all of a page share, and shorten its datasets' names."""
    del spec["config"], spec["$schema"]
    short = {name: f"d{at}" for at, name in enumerate(spec["datasets"])}
    spec["datasets"] = {short[name]: rows for name, rows in spec["datasets"].items()}
    for part in (spec, *spec["layer"]):
        if "data" in part:
            part["data"] = {"name": short[part["data"]["name"]]}
    return spec


def _write_static(folder: Path) -> None:
    _write(folder / "static" / SCRIPTS, scripts.read())
    for name in STATIC:
        _write(folder / "static" / name, resources.read("reports", "static", name))


def _write(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")
    return path
