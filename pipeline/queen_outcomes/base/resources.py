"""The one door to the files that travel with the package.

In a wheel `sql`, `reports` and `demo` lie inside the package; in a checkout
they lie at the top of the tree.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path


@cache
def folder(name: str) -> Path | Traversable:
    """Give the folder `sql`, `reports` or `demo`."""
    packaged = files("queen_outcomes") / name
    if packaged.is_dir():
        return packaged
    return Path(__file__).resolve().parents[3] / name


@cache
def read(name: str, *parts: str) -> str:
    """Give the text of a packaged file, such as ``read("sql", "05_rates", "rates.sql")``."""
    place = folder(name)
    for part in parts:
        place = place / part
    return place.read_text(encoding="utf-8")


def fingerprint() -> str:
    """Give a hash of code, SQL and pages' frames: another version may say another thing."""
    parts = [
        (path.name, path.read_bytes())
        for place, end in (
            (files("queen_outcomes"), ".py"),
            (folder("sql"), ".sql"),
            (folder("reports"), ""),
        )
        for path in _all_in(place)
        if path.name.endswith(end)
    ]
    digest = hashlib.sha256()
    for name, content in parts:
        digest.update(f"{name} {len(content)} ".encode() + content)
    return digest.hexdigest()


def _all_in(place: Path | Traversable) -> list[Path | Traversable]:
    """Give all files under a folder, in the order of their names."""
    found: list[Path | Traversable] = []
    for path in sorted(place.iterdir(), key=lambda path: path.name):
        found += _all_in(path) if path.is_dir() else [path]
    return found
