"""Puts the scripts that draw charts together when the package is built, for pages without a network.

Their maker takes 84 MB and seconds of work, and they are the same on every page of every
build: so it is needed here alone, and what is installed only copies a file. The build's
backend loads this file by its path (`pyproject.toml`); it is no part of the package.
"""

from __future__ import annotations

import runpy
from importlib.metadata import version as version_of
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

GRAMMAR = "pipeline/queen_outcomes/dashboard/charts/grammar.py"
MADE = "reports/static"


class ChartScripts(BuildHookInterface):
    """Makes the file before anything is packed, and has it packed though git ignores it."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Do so for a wheel and an sdist, and in the tree that an editable one reads."""
        grammar = runpy.run_path(str(Path(self.root) / GRAMMAR))
        place = Path(MADE) / grammar["SCRIPTS"]
        write(Path(self.root) / place, grammar["VEGA_LITE"])
        build_data["artifacts"].append(f"/{place.as_posix()}")


def write(path: Path, vega_lite: str) -> None:
    """Write the scripts, unless those that stand there are of the same making.

    Parameters
    ----------
    path : Path
    vega_lite : str
        The version of the chart grammar that they are to read.
    """
    made_by = version_of("vl-convert-python")
    head = f"/* chart scripts by vl-convert {made_by} for Vega-Lite {vega_lite} */\n"
    if path.is_file() and path.read_text(encoding="utf-8").startswith(head):
        return
    import vl_convert

    scripts = vl_convert.javascript_bundle(vl_version=vega_lite)
    part = path.with_suffix(".part")  # whole or absent
    part.write_text(head + scripts, encoding="utf-8", newline="\n")
    part.replace(path)
