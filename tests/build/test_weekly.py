"""What is settled before a build's first step."""

from __future__ import annotations

import datetime as dt
import os

import pytest
from queen_outcomes.base.errors import UsageError
from queen_outcomes.build import weekly
from queen_outcomes.facts.settings import Settings


@pytest.mark.parametrize(
    ("gib", "limit"), [(4, "2.4GiB"), (8, "4.8GiB"), (64, "5.0GiB")]
)
def test_memory_is_a_share_of_the_machine_up_to_a_limit(gib, limit, monkeypatch):
    pages = {"SC_PAGE_SIZE": 4096, "SC_PHYS_PAGES": gib * 2**18}
    monkeypatch.setattr(os, "sysconf", pages.__getitem__)
    assert weekly.memory_limit() == limit


def test_the_day_is_the_flag_s_else_the_settings_else_today():
    now = dt.datetime(2026, 7, 3, 9, tzinfo=dt.UTC)
    flag, own = dt.date(2026, 7, 1), Settings(as_of=dt.date(2026, 7, 2))
    assert weekly.pick_day(flag, own, now) == flag
    assert weekly.pick_day(None, own, now) == own.as_of
    assert weekly.pick_day(None, Settings(), now) == now.date()


def test_a_step_that_there_is_not_is_refused_with_the_nearest():
    weekly.check_step(None)
    weekly.check_step("derive")
    with pytest.raises(UsageError) as refused:
        weekly.check_step("derve")
    assert "did you mean derive?" in refused.value.text()
    with pytest.raises(UsageError) as refused:
        weekly.check_step("xyzzy")
    assert "did you mean" not in refused.value.text()
