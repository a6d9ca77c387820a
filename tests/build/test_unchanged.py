"""What an unchanged build takes over is what a full build makes, to the byte."""

from __future__ import annotations

import dataclasses
import datetime as dt
import shutil

import pytest
from queen_outcomes.base import folders
from queen_outcomes.base.console import Console
from queen_outcomes.build import steps, unchanged, weekly
from queen_outcomes.dashboard import site
from queen_outcomes.records import expectations

pytestmark = pytest.mark.slow
QUIET = Console(quiet=True)
SETTINGS = 'name = "Test station"\nas_of = {}\n'


def write(station, name, rows):
    text = "".join(f"{','.join(map(str, row))}\n" for row in rows)
    (station / "records" / f"{name}.csv").write_text(text, encoding="utf-8")


def make(station):
    """Make a station of two seasons, and build it once: that fixes things for the season."""
    (station / "records").mkdir(parents=True)
    first = dt.date(2026, 5, 20)
    days = [first.replace(year=2025 + n % 2) + dt.timedelta(n) for n in range(30)]
    inseminations = [
        (f"Q{n}", day, "AB" if n % 3 else "CD") for n, day in enumerate(days)
    ]
    checks = [
        (f"Q{n}", day + dt.timedelta(wait), "yes" if n % 4 and wait > 7 else "no")
        for n, day in enumerate(days)
        for wait in (7, 16, 30)
    ]
    heading = ("queen_id", "inseminated_at", "operator")
    write(station, "inseminations", [heading, *inseminations])
    write(station, "checks", [("queen_id", "checked_on", "eggs"), *checks])
    (station / "station.toml").write_text(SETTINGS.format("2026-08-20"), "utf-8")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(expectations, "verify", lambda *_: None)
        weekly.build(station, QUIET)


@pytest.fixture
def kept(shared, tmp_path, monkeypatch):
    """A copy of that station."""
    monkeypatch.setattr(expectations, "verify", lambda *_: None)
    there = shared.folder("two_seasons", make)
    return shutil.copytree(there, tmp_path / "station", symlinks=True)


def made(station):
    """Build; give the bytes of all tables and pages, and what the steps counted."""
    built = weekly.build(station, QUIET)
    files = {
        path.relative_to(built.folder): path.read_bytes()
        for part in ("tables", "dashboard")
        for path in sorted((built.folder / part).rglob("*"))
        if path.is_file()
    }
    told = built.journal
    rows = {step["step"]: step["rows"] for step in told["steps"]}
    return files, rows, told["notes"], told["unread"], built.quarantined


def refuse_to_run(monkeypatch):
    def refuse(_):
        pytest.fail("a step was done again")

    only = tuple(
        dataclasses.replace(step, run=refuse) if step.kept else step
        for step in steps.STEPS
    )
    monkeypatch.setattr(steps, "STEPS", only)


def test_an_unchanged_build_takes_over_what_a_full_one_makes(kept, monkeypatch):
    with monkeypatch.context() as patched:
        refuse_to_run(patched)
        taken = made(kept)
    with monkeypatch.context() as patched:
        patched.setattr(unchanged, "find", lambda *_: None)
        again = made(kept)
    # only a step that waits for others has nothing to count where none was begun
    taken[1].pop("await"), again[1].pop("await")
    assert taken == again
    assert len(taken[0]) > 30


def test_the_first_unchanged_build_copies_the_pages(kept, monkeypatch):
    monkeypatch.setattr(site, "draw", lambda *_: pytest.fail("pages were drawn again"))
    assert made(kept)[1]["draw"] > 5


@pytest.mark.parametrize(
    "what", ["records", "settings", "season", "code", "journal", "store"]
)
def test_whatever_has_changed_is_built_again(kept, monkeypatch, what):
    place = kept / "build" / "latest"
    if what == "records":
        write(
            kept,
            "exits",
            [("queen_id", "left_on", "reason"), ("Q1", "2026-08-01", "dead")],
        )
    elif what == "settings":
        text = SETTINGS.format("2026-08-21")
        (kept / "station.toml").write_text(text, encoding="utf-8")
    elif what == "season":
        for path in (kept / "seasons").iterdir():
            path.unlink()
    elif what == "code":
        monkeypatch.setattr(weekly.resources, "fingerprint", lambda: "another")
    elif what == "store":
        with (place / folders.STORE_FILE).open("ab") as file:
            file.write(b"damage")
    else:
        (place / folders.RUN_FILE).write_text("{}", encoding="utf-8")
    refuse_to_run(monkeypatch)
    with pytest.raises(pytest.fail.Exception, match="done again"):
        weekly.build(kept, QUIET)
