"""Where the scripts that draw charts come from: an installation makes them, pages copy them."""

from __future__ import annotations

import runpy
import sys
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace

import altair as alt
import pytest
from queen_outcomes.base import resources
from queen_outcomes.dashboard.charts import scripts
from queen_outcomes.dashboard.charts.grammar import SCRIPTS, VEGA_LITE

ROOT = Path(__file__).resolve().parents[2]
HOOK = runpy.run_path(str(ROOT / "pipeline" / "package-build" / "chart_scripts.py"))
HEAD = f"vl-convert {version('vl-convert-python')} for Vega-Lite {VEGA_LITE} "


@pytest.fixture
def bundled(monkeypatch):
    """Put a maker of scripts in the place of the slow one; give what it was asked for."""
    asked = []

    def bundle(vl_version):
        asked.append(vl_version)
        return "draw();\n"

    made = SimpleNamespace(javascript_bundle=bundle)
    monkeypatch.setitem(sys.modules, "vl_convert", made)
    return asked


def test_they_are_made_once_for_a_version_and_a_grammar(bundled, tmp_path):
    path = tmp_path / SCRIPTS
    HOOK["write"](path, VEGA_LITE)
    made = path.read_text("utf-8")
    assert made == f"/* chart scripts by {HEAD}*/\ndraw();\n"
    path.write_text(made + "// kept\n", "utf-8")
    HOOK["write"](path, VEGA_LITE)
    assert path.read_text("utf-8").endswith("// kept\n")
    HOOK["write"](path, "7.0")
    assert "for Vega-Lite 7.0 */\ndraw();\n" in path.read_text("utf-8")
    path.write_text("/* by another */\n", "utf-8")
    HOOK["write"](path, VEGA_LITE)
    assert path.read_text("utf-8") == made
    assert bundled == [VEGA_LITE, "7.0", VEGA_LITE]
    assert [*tmp_path.iterdir()] == [path]


@pytest.mark.slow
def test_what_is_installed_is_what_their_maker_gives():
    import vl_convert

    head, _, rest = scripts.read().partition("\n")
    assert head == f"/* chart scripts by {HEAD}*/"
    assert rest == vl_convert.javascript_bundle(vl_version=VEGA_LITE)


def test_they_read_the_grammar_that_charts_are_written_in():
    assert alt.SCHEMA_VERSION.startswith(f"v{VEGA_LITE}.")


@pytest.fixture
def without_scripts(monkeypatch):
    """As it is in a tree that nothing was installed from."""

    def read(*parts):
        raise FileNotFoundError(parts[-1])

    monkeypatch.setattr(resources, "read", read)


@pytest.mark.usefixtures("without_scripts")
def test_without_them_a_build_is_refused_before_it_begins(command, station):
    ran = command("build", station)
    assert ran.code == 2
    assert "charts are not there in chart-scripts.js" in ran.err
    assert "install the package again: pip install ." in ran.err
    assert "fault of the tool" not in ran.err
    assert not (station / "build").exists()
