"""The scripts that draw charts: the same on every page, made when the package is built."""

from __future__ import annotations

from queen_outcomes.base import resources
from queen_outcomes.base.errors import UsageError
from queen_outcomes.dashboard.charts.grammar import SCRIPTS


def read() -> str:
    """Give the scripts.

    Raises
    ------
    UsageError
        They are not there: the tool runs from a tree that nothing was installed from, or
        that was cleaned since then.
    """
    try:
        return resources.read("reports", "static", SCRIPTS)
    except FileNotFoundError as problem:
        raise UsageError(
            "the scripts that draw the pages' charts are not there",
            where=SCRIPTS,
            found="a folder of queen-outcomes without them",
            expected="the file that an installation makes",
            hint=(
                "install the package again: pip install . in the folder of queen-outcomes, "
                "or pip install -e '.[test]' where you work on it"
            ),
        ) from problem
