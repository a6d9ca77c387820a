"""The one door to the files that travel with the package.

In a wheel `sql`, `reports` and `demo` lie inside the package; in a checkout
they lie at the top of the tree.
"""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path


def folder(name: str) -> Path | Traversable:
    """Give the folder `sql`, `reports` or `demo`."""
    packaged = files("queen_outcomes") / name
    if packaged.is_dir():
        return packaged
    return Path(__file__).resolve().parents[3] / name


def read(name: str, *parts: str) -> str:
    """Give the text of a packaged file, such as ``read("sql", "05_rates", "rates.sql")``."""
    place = folder(name)
    for part in parts:
        place = place / part
    return place.read_text(encoding="utf-8")
