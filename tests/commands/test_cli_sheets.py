"""`sheets` and `build --pdf`: paper that a station writes on and pins to the wall."""

from __future__ import annotations

import datetime as dt
import json
import re
import sys
from pathlib import Path

import polars as pl
import printed
import pytest
from queen_outcomes.base.store import Store
from queen_outcomes.facts import settings
from queen_outcomes.facts.settings import Settings
from queen_outcomes.paper import sheets, week

A4, LETTER = (595.276, 841.89), (612, 792)
"""Width and height in points: 210 x 297 mm (ISO 216), 8.5 x 11 inches."""


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


@pytest.fixture(params=["typst", "vl_convert"])
def without_pdf(monkeypatch, request):
    """As it is where the extra named paper was not installed, or a part of it was taken away."""
    monkeypatch.setitem(sys.modules, request.param, None)


@pytest.mark.usefixtures("without_pdf")
def test_without_what_sets_pdf_there_are_pages_and_a_word(command, built):
    ran = command("sheets", built, "--json")
    names = {Path(path).name for path in json.loads(ran.out)}
    assert (ran.code, names) == (0, {"bench.html", "yard.html"})
    assert "note: without PDF, for which pip install '.[paper]'" in ran.err


@pytest.mark.usefixtures("without_pdf")
def test_a_build_that_is_to_print_is_refused_before_it_begins(command, built):
    before = sorted((built / "build").rglob("*"))
    ran = command("build", built, "--pdf")
    assert ran.code == 2
    assert "pip install '.[paper]'" in ran.err
    assert sorted((built / "build").rglob("*")) == before


def test_the_yard_list_has_every_check_due_and_room_to_write(command, built):
    text = read(files(command, built)["yard.html"])
    assert "Yard list, by colony. Checks due: 1" in text
    cells = ("N7", "Q1", "14", "07-03", "07-17", "", "")
    assert "".join(f"<td>{cell}</td>" for cell in cells) in text
    framed = re.findall(r'<td class="look">', text)
    assert len(framed) == len(("eggs", "larvae", "sealed", "queen_seen"))


def test_the_bench_sheet_carries_the_station_s_own_headings_and_cautions(
    command, built
):
    with (built / "station.toml").open("a", encoding="utf-8") as file:
        file.write('\n[columns.inseminations]\nattempts = "Tries & <b>"\n')
    text = read(files(command, built)["bench.html"])
    assert "Tries &amp; &lt;b&gt;" in text
    assert "CO2 displaces air" in text


def test_the_sheets_speak_the_station_s_language_and_stay_readable(command, built):
    with (built / "station.toml").open("r+", encoding="utf-8") as file:
        told = file.read()
        file.seek(0)
        file.write(f'language = "cs"\n{told}')
    made = files(command, built)
    yard = read(made["yard.html"])
    assert '<html lang="cs">' in yard
    assert "Seznam na včelnici, podle včelstva. Prohlídky k provedení: 1" in yard
    assert 'Matka viděna<small class="name">queen_seen</small>' in yard
    assert "x = ano, 0 = ne" in yard
    assert "supersedure = tichá výměna" in yard
    assert "CO2 vytlačuje vzduch" in read(made["bench.html"])


def test_the_key_and_the_page_s_number_stand_on_every_page(
    command, built, small_steps, due_row
):
    small_steps["due"] = [
        due_row | {"queen_id": f"Q{n}", "course_id": f"Q{n}/1", "colony_id": f"N{n}"}
        for n in range(30)
    ]
    assert command("build", built).code == 0
    for paper, size in {"a4": A4, "letter": LETTER}.items():
        assert command("sheets", built, "--paper", paper).code == 0
        pages = printed.pages((built / "build" / "sheets" / "yard.pdf").read_bytes())
        assert len(pages) == 3
        for number, page in enumerate(pages, start=1):
            assert (page.height, page.width) == pytest.approx(size, abs=0.01)
            assert f"Page {number} of 3" in page.text
            assert "x = yes, 0 = no, empty = not looked." in page.text
            assert "Last useful day" in page.text
        html = read(built / "build" / "sheets" / "yard.html")
        assert f"size: {'A4' if paper == 'a4' else 'letter'} landscape" in html


def test_nothing_on_a_sheet_is_grey(command, built):
    for name, path in files(command, built).items():
        if name.endswith(".pdf"):
            content = b"".join(printed.contents(Path(path).read_bytes()))
            colours = re.findall(rb"([\d. ]+) (?:scn?|rgb?|gs?)\b", content.lower())
            assert {colour.strip() for colour in colours} == {b"0"}


def test_colonies_stand_as_people_count_or_as_the_last_round_went(due_row):
    rows = [
        due_row | {"queen_id": f"Q{n}", "colony_id": colony, "place": place}
        for n, (colony, place) in enumerate([("N10", 1), ("N9", 2), (None, None)])
    ]

    def order(by):
        made = sheets.yard(rows, Settings(), dt.date(2026, 7, 1), by, "a4")
        return [row["cells"][0] for row in made["rows"]]

    assert order("colony") == ["N9", "N10", ""]
    assert order("yard") == ["N10", "N9", ""]


def test_boxes_are_at_least_ten_millimetres(due_row):
    rows = [due_row | {"queen_id": "Q" * 40, "colony_id": "N" * 40, "place": None}]
    for paper in sheets.SIZES:
        made = sheets.yard(rows, Settings(), dt.date(2026, 7, 1), "colony", paper)
        boxes = made["heads"][len(sheets.TOLD) :]
        assert min(head["width"] for head in boxes if head["width"]) >= 10
        assert made["box"] >= 10
        whole = sum(head["width"] for head in made["heads"])
        room = sheets.SIZES[paper][2] - 2 * sheets.MARGIN - sheets.NOTE_LEAST
        assert whole == pytest.approx(room)


def test_a_new_station_s_bench_sheet_has_all_and_fits():
    for paper in sheets.SIZES:
        day = dt.date(2026, 7, 1)
        made = sheets.bench(Settings(), day, sheets.kept(None), paper)
        names = [head["name"] or head["caption"] for head in made["heads"]]
        assert {"Tip", "Instrument", "dose_ul", "co2_other_at"} <= set(names)
        assert min(head["width"] for head in made["heads"] if head["width"]) >= 10


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
    for part in ("Needs attention", "Checks due", "Failed since last week"):
        assert part in page.text
    found = pl.read_parquet(built_demo / "tables" / "attention.parquet")
    for sentence in found.sort("severity")["sentence"].head(3):
        # its beginning: letters that are set as one are not all told apart
        assert sentence[:25].replace(" ", "") in page.text.replace(" ", "")


@pytest.mark.slow
def test_another_process_sets_the_same_bytes(built_demo, week_sheet, tmp_path):
    chosen = settings.load(built_demo.parents[1])
    with Store(built_demo / "station.duckdb", read_only=True) as store:
        again = week.write(store, chosen, chosen.as_of, tmp_path)
    assert again.read_bytes() == week_sheet
