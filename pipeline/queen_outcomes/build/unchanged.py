"""Taking a whole build's tables over where nothing has changed since it was made.

Same records, settings, day, season's file, code and libraries give the same tables, so the
steps up to the comparison with the build before need not be done again: the earlier
build's file is copied. Where what is made anew comes out the same, so do the pages.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from queen_outcomes.base import folders
from queen_outcomes.facts.exports.outcomes import (
    ATTENTION,
    CHANGES,
    SEASON_CHANGES,
    SEASON_FIXED,
)

AS_IT_WAS = (
    *("version", "code", "python", "libraries"),
    *("as_of", "settings_sha256", "files"),
)
"""What of the journal decides every table before the comparison."""
ANEW = (CHANGES, SEASON_FIXED, SEASON_CHANGES, ATTENTION)
"""What speaks of the build before, and is made again."""


@dataclass(frozen=True)
class Unchanged:
    """A build that stands on the same as the one to be made.

    Parameters
    ----------
    folder : Path
    journal : dict
    """

    folder: Path
    journal: dict[str, Any]

    def copy_to(self, path: Path) -> None:
        """Copy its file."""
        shutil.copyfile(self.folder / folders.STORE_FILE, path)

    def rows(self, step: str) -> int:
        """Give the rows that a step made."""
        return {row["step"]: row["rows"] for row in self.journal["steps"]}[step]

    def copy_pages(self, results: dict[str, str], target: Path) -> bool:
        """Copy its dashboard, unless a table differs or somebody has changed a page.

        Parameters
        ----------
        results : dict
            The new build's tables -> hash of their files.
        target : Path
            The new dashboard's folder.

        Returns
        -------
        bool
            Whether it was copied; if not, the pages are to be drawn.
        """
        pages = self.folder / folders.DASHBOARD
        told = self.journal.get("pages_sha256")
        if self.journal["results"] != results or not told:
            return False
        if folders.tree_sha256(pages) != told:
            return False
        shutil.copytree(pages, target)
        return True


def find(earlier: Path | None, told: dict[str, Any]) -> Unchanged | None:
    """Give the build before if all its tables still hold; else None.

    Parameters
    ----------
    earlier : Path or None
        Its folder.
    told : dict
        The new build's journal, as far as it is known before the first step.

    Notes
    -----
    The season's file must be as that build left it: what a build fixes for its season, it
    has itself been made by. One that found its plan changed is not taken over.
    """
    file = earlier / folders.STORE_FILE if earlier else None
    if earlier is None or file is None or not file.is_file():
        return None
    try:
        journal = folders.read_run(earlier)
        same = all(journal[name] == told[name] for name in AS_IT_WAS)
        same = same and told["season_read"] == journal["season"]["sha256"]
        same = same and not journal["plan_changed"]
        # what somebody damaged since then, a build is to mend
        same = same and journal["store_sha256"] == folders.sha256(file)
    except (OSError, ValueError, KeyError, TypeError):  # another version's, or damaged
        return None
    return Unchanged(earlier, journal) if same else None
