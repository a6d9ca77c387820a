"""Where a command may write what its user names."""

from __future__ import annotations

from pathlib import Path

from queen_outcomes.base.errors import UsageError

KEPT = {
    "records": "what the station wrote, and nothing else",
    "build": "what the builds make, which the next one may remove",
    "seasons": "the plans that were fixed for a season",
}
"""Folders of a station that no named file goes into, and what they hold."""


def refuse_kept_places(station: Path, *targets: Path | None) -> None:
    """Refuse to write into a station's records, builds or seasons because a flag says so.

    Parameters
    ----------
    station : Path
        The station's folder.
    *targets : Path or None
        Files or folders that the user named; None is passed over.

    Raises
    ------
    UsageError
        One of them is such a folder or lies in it, whatever links lead there.
    """
    for target in targets:
        if target is None:
            continue
        place = target.resolve()
        for name, holds in KEPT.items():
            if place.is_relative_to((station / name).resolve()):
                raise UsageError(
                    f"nothing is written into {name}/",
                    where=str(target),
                    expected=f"a place outside it: it holds {holds}",
                    hint="name another place, such as one beside the station's folder",
                )
