"""A dashboard and tables to pass on, with codes in the place of names.

What leaves carries no clock either: the same records, settings, day and secret give the
same bytes.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

from queen_outcomes.base import folders
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import new_folder, refuse_kept_places
from queen_outcomes.facts.pseudonyms import Mask, key_mark

HANDED = (folders.DASHBOARD, folders.TABLES, folders.RUN_FILE)
MARK = "pseudonyms"
"""What a journal that left says beside the rest: by which secret the codes were made."""
_KEPT = ("version", "as_of", "python", "libraries", "results")


def refuse_place(station: Path, dest: Path, until: str | None) -> None:
    """Refuse a place that holds anything but what an earlier build passed on.

    Raises
    ------
    UsageError
        The place is the station's own, holds something else, or the build is to stop early.
    """
    if until is not None:
        raise UsageError(
            "a build that stops early has nothing to pass on",
            where="--until, --pseudonyms",
            hint="give one of them",
        )
    refuse_kept_places(station, dest)
    if not dest.exists() or (dest.is_dir() and not any(dest.iterdir())):
        return
    strangers = _strangers(dest)
    if strangers:
        raise UsageError(
            "the folder to write to holds something else",
            where=str(dest),
            found=", ".join(strangers[:3]),
            expected="a new or empty folder, or what an earlier build wrote there so",
            hint="name another folder",
        )


def _strangers(dest: Path) -> list[str]:
    if not dest.is_dir():
        return ["a file"]
    there = sorted(path.name for path in dest.iterdir())
    try:
        ours = MARK in folders.read_run(dest)
    except (OSError, ValueError, TypeError):
        ours = False
    return [name for name in there if not ours or name not in HANDED]


def journal_of(told: dict[str, Any], mask: Mask, key: bytes) -> dict[str, Any]:
    """Give what a build's journal may say outside: no name, no clock, no free text."""
    text = json.loads(json.dumps(told, default=str))
    return {
        **{name: text[name] for name in _KEPT},
        **{name: mask.values(text[name]) for name in ("settings", "files", "sources")},
        MARK: {"key": key_mark(key), "people": len(mask.codes)},
    }


def hand_over(folder: Path, dest: Path, journal: dict[str, Any]) -> None:
    """Move what was drawn and written to where it leaves from, whole or not at all."""
    with new_folder(dest) as made:
        for name in (folders.DASHBOARD, folders.TABLES):
            shutil.copytree(folder / name, made / name)
        folders.write_run(made, journal)
