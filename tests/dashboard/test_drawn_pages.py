"""The pages as files: the same whoever draws them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from demo_station import journal
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import site
from queen_outcomes.facts import settings as station_settings


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.mark.slow
def test_every_chart_keeps_the_grammar(built_demo):
    settings = station_settings.load(built_demo.parent.parent)
    as_of = site.dt.date.fromisoformat(journal(built_demo)["as_of"])
    compared = 0
    with Store(built_demo / "station.duckdb", read_only=True) as store:
        for _, _, show in site.PAGES:
            for chart in show(store, settings, as_of).get("charts", {}).values():
                assert chart.to_dict(validate=False) == chart.to_dict(validate=True)
                compared += 1
    assert compared > 30


@pytest.mark.slow
def test_pages_drawn_by_one_are_those_that_all_cores_drew(built_demo, tmp_path):
    shutil.copy(built_demo / "station.duckdb", tmp_path)
    settings = station_settings.load(built_demo.parent.parent)
    drawn = tmp_path / "drawn"
    with Store(tmp_path / "station.duckdb") as store:
        as_of = site.dt.date.fromisoformat(journal(built_demo)["as_of"])
        pages = site.draw(store, settings, as_of, drawn)
    assert [page.name for page in pages] == [f"{name}.html" for name, *_ in site.PAGES]
    expected = files(built_demo / "dashboard")
    del expected["this-week.pdf"]  # the sheet of paper is printed behind them
    assert files(drawn) == expected
