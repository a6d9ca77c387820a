"""What is documented is what there is."""

from __future__ import annotations

from pathlib import Path

import pytest
from queen_outcomes.commands import cli

ROOT = Path(__file__).resolve().parents[1]
STATEMENTS = sorted((ROOT / "sql").rglob("*.sql"))


@pytest.mark.parametrize("name", sorted(cli.cli.commands))
def test_every_command_stands_in_the_readme(name):
    assert f"`{name}" in (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", STATEMENTS, ids=lambda path: path.stem)
def test_every_statement_opens_with_its_grain(path):
    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first.casefold().startswith("-- grain: ")


def test_no_two_statements_share_a_name():
    stems = [path.stem for path in STATEMENTS]
    assert len(stems) == len(set(stems))


def test_the_readme_gives_the_test_command_that_ci_runs():
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for part in ("-e '.[test]'", "-m pytest"):
        assert part in ci
        assert part in readme
