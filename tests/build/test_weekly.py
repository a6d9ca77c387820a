"""What is settled before a build's first step."""

from __future__ import annotations

import datetime as dt
import os
from types import SimpleNamespace

import pytest
from queen_outcomes.base import folders
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError
from queen_outcomes.build import steps, weekly
from queen_outcomes.facts.settings import Settings, parse
from queen_outcomes.records import expectations

NOW = dt.datetime(2026, 7, 3, 9, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("gib", "limit"), [(4, "2.4GiB"), (8, "4.8GiB"), (64, "5.0GiB")]
)
def test_memory_is_a_share_of_the_machine_up_to_a_limit(gib, limit, monkeypatch):
    pages = {"SC_PAGE_SIZE": 4096, "SC_PHYS_PAGES": gib * 2**18}
    monkeypatch.setattr(os, "sysconf", pages.__getitem__)
    assert weekly.memory_limit(Settings()) == limit
    assert weekly.memory_limit(parse({"memory": "1.5 GB"})) == "1.5GB"


@pytest.mark.parametrize("said", ["much", 4, "0.1 GB", "-4 GB", "4 TB", True])
def test_a_memory_that_is_no_size_is_refused(said):
    with pytest.raises(UsageError, match="does not fit") as refused:
        parse({"memory": said})
    assert '"4 GB"' in refused.value.text()


def test_the_day_is_the_flag_s_else_the_settings_else_today():
    flag, own = dt.date(2026, 7, 1), Settings(as_of=dt.date(2026, 7, 2))
    assert weekly.pick_day(flag, own, NOW) == flag
    assert weekly.pick_day(None, own, NOW) == own.as_of
    assert weekly.pick_day(None, Settings(), NOW) == NOW.date()


def test_a_step_that_there_is_not_is_refused_with_the_nearest():
    weekly.check_step(None)
    weekly.check_step("derive")
    with pytest.raises(UsageError) as refused:
        weekly.check_step("derve")
    assert "did you mean derive?" in refused.value.text()
    with pytest.raises(UsageError) as refused:
        weekly.check_step("xyzzy")
    assert "did you mean" not in refused.value.text()


def test_the_build_before_goes_to_the_history_unless_it_lies_elsewhere(tmp_path):
    place = tmp_path / "build"
    names = [folders.new_run_id(NOW + dt.timedelta(days=at)) for at in range(4)]
    for name in names:
        (place / name).mkdir(parents=True)
        folders.write_run(place / name, {})
    weekly._swap(place, names[0], keep=1)
    assert not (place / folders.HISTORY).exists()
    for before, name, kept in zip(names, names[1:3], ([0], [1]), strict=False):
        weekly._swap(place, name, keep=1)
        assert folders.linked(place) == (place / name).resolve()
        history = [path.name for path in (place / folders.HISTORY).iterdir()]
        assert history == [names[at] for at in kept] == [before]
    # a link that somebody turned to a copy outside: the copy stays as it is
    copy = (place / names[2]).rename(tmp_path / names[2])
    (place / folders.LATEST).unlink()
    (place / folders.LATEST).symlink_to(copy)
    weekly._swap(place, names[3], keep=1)
    assert (copy / folders.RUN_FILE).is_file()
    assert [path.name for path in (place / folders.HISTORY).iterdir()] == [names[1]]


@pytest.mark.parametrize(
    ("verified", "unchanged", "until", "ready"),
    [(True, None, None, True), (True, None, "check", True), (True, None, "read", False), (False, None, None, False), (True, "before", None, False)],
)  # fmt: skip
def test_what_counts_a_second_time_is_got_ready_where_it_will_be_asked(
    monkeypatch, verified, unchanged, until, ready
):
    """It takes seconds to load, so it is loaded while the records are read."""
    seen = []
    monkeypatch.setattr(expectations, "get_ready", seen.append)
    monkeypatch.setattr(
        steps,
        "STEPS",
        tuple(steps.Step(name, lambda _: 1) for name in ("read", "check")),
    )
    work = SimpleNamespace(verified=verified, unchanged=unchanged, workers="them", awaited=[])
    done = steps.run_steps(work, Console(quiet=True), until=until)
    assert seen == ["them"] * ready
    names = ["read"] if until == "read" else ["read", "check"]
    assert [step["step"] for step in done] == names
