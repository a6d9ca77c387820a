"""Dependencies run one way, and help starts at once."""

from __future__ import annotations

import ast
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
HEAVY = {
    *("great_expectations", "altair", "polars", "duckdb", "pandas", "scipy"),
    *("numpy", "statsmodels", "sqlalchemy", "vl_convert", "xlsxwriter"),
}
NOT_FOR_READING = HEAVY - {"duckdb", "numpy"}


def loaded(words: list[str], cwd: Path) -> set[str]:
    code = (
        "import sys; from queen_outcomes.commands.cli import run; run(sys.argv[1:]); "
        "print('\\n'.join(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        cwd=cwd,
        capture_output=True,
        text=True,
        check=True,
    )
    return {name.split(".")[0] for name in done.stderr.split()}


@pytest.mark.parametrize("words", [[], ["--help"], ["build", "--help"], ["--version"]])
def test_help_loads_nothing_heavy(words, tmp_path):
    assert not loaded(words, tmp_path) & HEAVY


@pytest.mark.parametrize("words", [["due"], ["explain", "Q1"], ["export", "out"]])
@pytest.mark.usefixtures("small_steps")
def test_reading_commands_load_no_statistics(words, station, command):
    assert command("build", station).code == 0
    assert not loaded(words, station) & NOT_FOR_READING


def test_a_check_loads_no_statistics_charts_or_expectations(station):
    for name, head in (("inseminations", "inseminated_at"), ("checks", "checked_on")):
        rows = f"queen_id,{head}\nQ-1,2026-05-01\n"
        (station / "records" / f"{name}.csv").write_text(rows, "utf-8")
    needed = {"duckdb", "numpy", "polars"}
    assert not loaded(["check"], station) & (HEAVY - needed)


def test_dependencies_run_one_way():
    code = "from importlinter.cli import lint_imports_command as c; c(['--no-cache'])"
    done = subprocess.run(
        [sys.executable, "-c", code],
        check=False,
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout


@pytest.mark.slow
def test_nothing_in_the_package_reads_how_the_demo_was_made():
    made = {path.stem for path in (ROOT / "demo").glob("*.py")}
    for path in (ROOT / "pipeline").rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                names = {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                names = {(node.module or "").split(".")[0]}
            else:
                continue
            assert not names & (made | {"demo"}), path


def test_no_module_leads_back_to_itself():
    """Imports that are late, or for types alone, count too."""
    places = {
        ".".join(path.relative_to(ROOT / "pipeline").with_suffix("").parts): path
        for path in (ROOT / "pipeline").rglob("*.py")
    }
    assert "queen_outcomes.records.staging" in places
    imported = {}
    for name, path in places.items():
        nodes = [
            node
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.ImportFrom) and node.module
        ]
        named = {f"{node.module}.{one.name}" for node in nodes for one in node.names}
        named |= {node.module for node in nodes if node.module in places}
        # a package's own name is no way into its modules
        imported[name] = {one for one in named if one in places}
    # CycleError names the circle
    assert len([*TopologicalSorter(imported).static_order()]) == len(places)
