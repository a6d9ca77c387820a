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

from queen_outcomes import __version__
from queen_outcomes.base import resources, templates
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import (
    cells,
    chart_scripts,
    doses,
    factors,
    methods,
    onset,
    operators,
    queens,
    records,
    theme,
    this_week,
)
from queen_outcomes.facts.settings import Settings

Page = Callable[[Store, Settings, dt.date], dict[str, Any]]

PAGES: tuple[tuple[str, str, Page], ...] = (
    ("index", "This week", this_week.show),
    ("queens", "Queens", queens.show),
    ("onset", "Onset", onset.show),
    ("factors", "Factors", factors.show),
    ("operators", "Operators", operators.show),
    ("doses", "Doses", doses.show),
    ("records", "Records", records.show),
    ("methods", "Methods", methods.show),
)


def draw(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    folder: Path,
    earlier: Path | None = None,
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
    earlier : Path, optional
        A dashboard whose chart scripts are taken over if they are the same ones: putting
        them together takes seconds.

    Returns
    -------
    list of Path
        The pages, in the order of the menu.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with chart_scripts.at_hand(_scripts_of(earlier)) as scripts:
        written = _pages(store, settings, as_of, folder)
        _write_static(folder, scripts())
    return written


def _pages(
    store: Store, settings: Settings, as_of: dt.date, folder: Path
) -> list[Path]:
    """Write every page and what it loads."""
    environment = _environment()
    common = _common(settings, as_of)
    written = []
    for name, title, show in PAGES:
        with theme.unchecked():
            page = show(store, settings, as_of)
        _write_beside(page.pop("files", {}), folder)
        text = environment.get_template(f"{name}.html").render(
            {**common, "here": f"{name}.html", "title": title, **page}
        )
        path = folder / f"{name}.html"
        path.write_text(text, encoding="utf-8", newline="\n")
        written.append(path)
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
    folder.mkdir(parents=True, exist_ok=True)
    shared = folder / home / "static"
    if shared.is_dir():  # the chart scripts take seconds to put together
        shutil.copytree(shared, folder / "static", dirs_exist_ok=True)
    else:
        with chart_scripts.at_hand(None) as scripts:
            _write_static(folder, scripts())
    common = _common(settings, as_of, home)
    text = (
        _environment()
        .get_template(f"{name}.html")
        .render(**common, home=home, here="", **page)
    )
    path = folder / "index.html"
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def _common(settings: Settings, as_of: dt.date, home: str = "") -> dict[str, Any]:
    """Give what every page knows."""
    return {
        "station": settings.name,
        "as_of": as_of,
        "version": __version__,
        "menu": [(f"{home}{name}.html", title) for name, title, _ in PAGES],
        "min_shown": settings.min_shown,
    }


def _environment():
    return templates.environment(cells.FILTERS)


def _scripts_of(dashboard: Path | None) -> Path | None:
    return dashboard / "static" / chart_scripts.FILE if dashboard else None


def _write_static(folder: Path, scripts: str) -> None:
    static = folder / "static"
    static.mkdir(exist_ok=True)
    for name in ("style.css", "charts.js", "saving.js", "weeks.js", *queens.STATIC):
        text = resources.read("reports", "static", name)
        (static / name).write_text(text, encoding="utf-8", newline="\n")
    (static / chart_scripts.FILE).write_text(scripts, encoding="utf-8", newline="\n")


def _write_beside(files: dict[str, str], folder: Path) -> None:
    """Write what a page loads when it is asked for."""
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")


def clear(folder: Path) -> None:
    """Remove a dashboard that is to be drawn anew."""
    shutil.rmtree(folder, ignore_errors=True)
