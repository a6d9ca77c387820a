"""Whether a finished build was made with the settings and the season's file as they are."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from queen_outcomes.base import folders
from queen_outcomes.build import unchanged
from queen_outcomes.build.latest_build import LatestBuild
from queen_outcomes.facts.settings import Settings

SEASON = {"sha256": "abc"}
USUAL = Settings()


@pytest.mark.parametrize(
    ("journal", "stands"),
    [
        ({"settings": USUAL.resolved(), "season": SEASON}, True),
        ({"settings": USUAL.resolved(), "season": {"sha256": "other"}}, False),
        ({"settings": USUAL.resolved(), "season": None}, False),
        ({"settings": USUAL.resolved()}, False),
        ({"settings": replace(USUAL, name="X").resolved(), "season": SEASON}, False),
        ({"season": SEASON}, False),
    ],
    ids=["same", "other season", "none", "without", "other settings", "no settings"],
)
def test_a_build_stands_on_settings_and_the_season_s_file(journal, stands):
    assert LatestBuild(None, journal).stands_on(USUAL, SEASON) is stands
    nothing = LatestBuild(None, {**journal, "season": None})
    assert nothing.stands_on(USUAL, {"sha256": None}) is ("settings" in journal and journal["settings"] == USUAL.resolved())


SAME = dict.fromkeys(unchanged.AS_IT_WAS, "same")
BEFORE = {**SAME, "season": SEASON, "plan_changed": False, "store_sha256": "made"}


@pytest.mark.parametrize(
    ("journal", "taken"),
    [
        (BEFORE, True),
        *(({**BEFORE, name: "other"}, False) for name in unchanged.AS_IT_WAS),
        ({**BEFORE, "season": {"sha256": "other"}}, False),
        ({**BEFORE, "plan_changed": True}, False),
        ({**BEFORE, "store_sha256": "damaged"}, False),
        (SAME, False),
    ],
    ids=["same", *unchanged.AS_IT_WAS, "season", "plan", "store", "of another version"],
)
def test_a_build_is_taken_over_where_all_that_it_stands_on_is_the_same(
    tmp_path, monkeypatch, journal, taken
):
    monkeypatch.setattr(unchanged, "folders", SimpleNamespace(
        STORE_FILE=folders.STORE_FILE, read_run=lambda _: journal, sha256=lambda _: "made"
    ))  # fmt: skip
    told = {**SAME, "season_read": "abc"}
    assert unchanged.find(None, told) is None
    assert unchanged.find(tmp_path, told) is None  # it has no store
    (tmp_path / folders.STORE_FILE).write_text("")
    found = unchanged.find(tmp_path, told)
    assert (found is not None) is taken
    assert not taken or found.journal is journal
