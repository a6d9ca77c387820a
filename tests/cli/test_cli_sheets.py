"""`sheets` and `build --pdf`: paper that a station writes on and pins to the wall."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from queen_outcomes import settings
from queen_outcomes.store import Store


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


@pytest.mark.slow
def test_the_week_is_one_page_and_the_same_each_time(built_demo, tmp_path):
    from queen_outcomes.printing import week

    chosen = settings.load(built_demo.parent.parent)
    made = []
    with Store(built_demo / "station.duckdb", read_only=True) as store:
        for name in ("a", "b"):
            (tmp_path / name).mkdir()
            day = dt.date(2026, 7, 19)
            path = week.write(store, chosen, day, tmp_path / name)
            made.append(path.read_bytes())
    assert made[0] == made[1]
    assert made[0].count(b"/Type /Page\n") + made[0].count(b"/Type/Page/") <= 1
