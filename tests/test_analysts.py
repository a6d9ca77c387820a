"""What the README gives to analysts and to Mondays works as it stands there."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import duckdb
import pytest
from queen_outcomes.commands.failures import ENDINGS, FAULT, INTERRUPTED

README = (Path(__file__).resolve().parents[1] / "README.md").read_text(encoding="utf-8")


def part(title: str) -> str:
    """Give a part of the README."""
    return README.split(f"## {title}\n")[1].split("\n## ")[0]


def blocks(kind: str) -> list[str]:
    """Give the blocks of a kind for analysts."""
    return re.findall(rf"```{kind}\n(.*?)```", part("For analysts"), flags=re.DOTALL)


@pytest.mark.slow
@pytest.mark.parametrize("library", ["polars", "pandas", "duckdb"])
def test_the_tables_open_in_three_lines(library, built_demo, monkeypatch):
    pytest.importorskip(library)
    (code,) = [block for block in blocks("python") if f"import {library}" in block]
    lines = code.strip().splitlines()
    assert len(lines) == 3
    monkeypatch.chdir(built_demo.parents[2])
    station = built_demo.parents[1].name
    found: dict = {}
    exec("\n".join(lines[:-1]).replace("my-station", station), found)
    given = eval(lines[-1].replace("my-station", station), found)
    laid = given["laid"] if library != "duckdb" else given.df()["laid"]
    shares = list(laid)
    assert len(shares) >= 5
    assert all(0.5 < share < 1 for share in shares)


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("Rscript") is None, reason="no R on this machine")
def test_the_tables_open_in_r(built_demo):
    (code,) = blocks("r")
    assert len(code.strip().splitlines()) == 3
    has = ["Rscript", "-e", 'quit(status = !requireNamespace("duckdb"))']
    if subprocess.run(has, check=False, capture_output=True).returncode:
        pytest.skip("R has no duckdb here")
    code = code.replace("my-station", str(built_demo.parents[1]))
    done = subprocess.run(
        ["Rscript", "-e", code], capture_output=True, text=True, check=True
    )
    assert "laid" in done.stdout


@pytest.mark.slow
def test_the_lines_for_r_ask_what_the_lines_for_duckdb_ask(built_demo, monkeypatch):
    """Holds without R: its strings closed, its brackets paired, its statement run."""
    (code,) = blocks("r")
    strings = re.findall(r'"((?:[^"\\]|\\.)*)"', code)
    bare = re.sub(r'"(?:[^"\\]|\\.)*"', "", code)
    assert '"' not in bare
    while (less := re.sub(r"\([^()\[\]]*\)|\[[^()\[\]]*\]", "", bare)) != bare:
        bare = less
    assert not set(bare) & set("()[]")
    path, statement = (text.replace('\\"', '"') for text in strings)
    monkeypatch.chdir(built_demo.parents[2])
    path = path.replace("my-station", built_demo.parents[1].name)
    with duckdb.connect(path, read_only=True) as build:
        rows = [row for row in build.sql(statement).fetchall() if row[1] is not None]
    assert len(rows) >= 5
    assert all(0.5 < share < 1 for _, share in rows)


def test_every_exit_code_says_what_to_do_on_a_monday():
    told = part("Every Monday")
    rows = re.findall(r"^\| (\d+) \| (.+) \|$", told, flags=re.MULTILINE)
    # 4 is the end of `audit` and `compare`, 130 of somebody's Ctrl-C
    assert [int(code) for code, _ in rows] == sorted({*ENDINGS} - {4, INTERRUPTED})
    assert FAULT in ENDINGS
    for kind in ("cron", "systemd", "schtasks"):
        assert kind in told.casefold()
