"""`sheets` and `build --pdf`: paper that a station writes on and pins to the wall."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import printed
import pytest
from queen_outcomes.base.store import Store
from queen_outcomes.facts import settings
from queen_outcomes.paper import week

A4 = (595.276, 841.89)
"""Width and height in points: 210 x 297 mm (ISO 216)."""


@pytest.fixture
def built(command, station, small_steps, due_row):
    small_steps["due"] = [due_row]
    assert command("build", station).code == 0
    return station


def files(command, station) -> dict:
    ran = command("sheets", station, "--json")
    assert ran.code == 0
    return {path.rsplit("/", 1)[-1]: path for path in json.loads(ran.out)}


def read(path) -> str:
    return Path(path).read_text(encoding="utf-8")


def test_bench_and_yard_each_have_a_page_and_a_pdf(command, built):
    made = files(command, built)
    assert set(made) == {"bench.pdf", "bench.html", "yard.pdf", "yard.html"}
    for name in ("bench.pdf", "yard.pdf"):
        assert Path(made[name]).read_bytes().startswith(b"%PDF-")


def test_the_yard_list_has_every_check_due_and_room_to_write(command, built):
    text = read(files(command, built)["yard.html"])
    assert "1 checks due" not in text
    assert "<td>N7</td><td>Q1</td><td>14</td>" in text
    assert text.count('class="blank"') == 8


def test_the_bench_sheet_carries_the_station_s_own_headings_and_cautions(
    command, built
):
    with (built / "station.toml").open("a", encoding="utf-8") as file:
        file.write('\n[columns.inseminations]\nattempts = "Tries & <b>"\n')
    text = read(files(command, built)["bench.html"])
    assert "Tries &amp; &lt;b&gt;" in text
    assert "CO2 displaces air" in text


def test_the_same_build_gives_the_same_paper(command, built):
    def paper():
        made = files(command, built)
        return [Path(path).read_bytes() for _, path in sorted(made.items())]

    assert paper() == paper()


def test_before_the_first_build_there_is_a_bench_sheet(command, station):
    ran = command("sheets", station)
    assert ran.code == 0
    assert "bench.pdf" in ran.out
    assert "yard" not in ran.out
    assert "no build yet" in ran.err


@pytest.fixture
def week_sheet(built_demo):
    """The sheet that ``build --pdf`` put beside the demo's pages."""
    return (built_demo / "dashboard" / "this-week.pdf").read_bytes()


@pytest.mark.slow
def test_build_pdf_prints_the_week_on_one_a4(week_sheet):
    (page,) = printed.pages(week_sheet)
    assert (page.width, page.height) == pytest.approx(A4, abs=0.01)


@pytest.mark.slow
def test_the_week_s_sheet_names_the_station_and_the_season_s_figure(
    built_demo, week_sheet
):
    (page,) = printed.pages(week_sheet)
    season = (
        pl.read_parquet(built_demo / "tables" / "rates.parquet")
        .filter(grouping="season", outcome="laying")
        .sort("level")
        .row(-1, named=True)
    )
    figures = (season[key] for key in ("estimate", "estimate_low", "estimate_high"))
    share, low, high = (round(100 * figure) for figure in figures)
    assert settings.load(built_demo.parents[1]).name in page.text
    assert f"this season: {share} % (95 % limits {low}–{high})" in page.text
    assert "Checks due" in page.text
    assert "Failed since last week" in page.text


@pytest.mark.slow
def test_another_process_sets_the_same_bytes(built_demo, week_sheet, tmp_path):
    chosen = settings.load(built_demo.parents[1])
    with Store(built_demo / "station.duckdb", read_only=True) as store:
        again = week.write(store, chosen, chosen.as_of, tmp_path)
    assert again.read_bytes() == week_sheet
