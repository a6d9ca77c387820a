"""`audit`: what it prints, writes and refuses, on the invented station's build."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys

import printed
import pytest
from queen_outcomes.base.store import Store

COUNTED_AGAIN = """
    WITH decided AS (
        SELECT courses.*, outcomes.state = 'no' AS failed
        FROM courses INNER JOIN outcomes USING (course_id)
        WHERE outcome = 'laying' AND window_days = 21 AND closed
            AND state IN ('yes', 'no')
    )
    SELECT
        own.course_id, own.attempts,
        (
            SELECT count(*) FILTER (failed) || ' of ' || nullif(count(*), 0)
            FROM decided WHERE d0 = own.d0 AND operator <> 'Birch'
        ) AS of_day,
        (
            SELECT count(*) FILTER (failed) || ' of ' || nullif(count(*), 0)
            FROM decided WHERE semen_batch = own.semen_batch AND operator <> 'Birch'
        ) AS of_load
    FROM decided AS own WHERE operator = 'Birch' AND failed
"""
"""Her failed courses once more, from the exported outcomes alone."""

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def station(built_demo, tmp_path_factory):
    copy = tmp_path_factory.mktemp("audit") / "station"
    shutil.copytree(built_demo.parent.parent, copy, symlinks=True)
    return copy


def test_batches_come_before_operators(command, station):
    ran = command("audit", station)
    assert ran.code == 0
    assert ran.out.index("Batches first") < ran.out.index("Operators")
    assert "good" not in ran.out


def test_expected_and_observed_failures_agree_over_all_operators(command, station):
    told = json.loads(command("audit", station, "--json").out)
    expected = sum(row["expected"] for row in told["operators"])
    filled = sum(row["filled_in"] for row in told["operators"])
    assert expected == pytest.approx(filled, abs=0.6)  # rounded to tenths
    assert filled > sum(row["failures"] for row in told["operators"]) > 100


def test_what_the_build_holds_is_shown_without_loading_statistics_or_charts(station):
    code = (
        "import sys; from queen_outcomes.commands.cli import run; "
        "code = run(['audit', '--quiet', sys.argv[1]]); "
        "print('loaded', *sys.modules); sys.exit(code)"
    )
    words = [sys.executable, "-c", code, station]
    out = subprocess.run(words, check=True, capture_output=True, text=True).stdout
    loaded = set(out.rpartition("loaded ")[2].split())
    assert "duckdb" in loaded
    assert not loaded & {"scipy", "polars", "altair", "typst", "vl_convert"}


def test_one_operator_has_a_page_and_a_sheet(command, station):
    told = json.loads(command("audit", station, "--operator", "Linden", "--json").out)
    page, paper = told["files"]
    sheets = printed.pages((station / paper).read_bytes())
    foot = "Made by queen-outcomes"
    for number, sheet in enumerate(sheets, 1):
        assert f"Page {number} of {len(sheets)}" in sheet.text
        # no page with a footer only
        assert len(sheet.text.split(foot)[0]) > 100
    text = (station / page).read_text(encoding="utf-8")
    assert "Linden" in text
    assert "<script" not in text
    assert (station / paper).read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("lacking", "lost"),
    [("typst", "without PDF, for"), ("vl_convert", "without PDF and without the picture")],
)
def test_without_the_extra_for_paper_she_has_a_page_and_a_word(
    command, station, monkeypatch, lacking, lost
):
    monkeypatch.setitem(sys.modules, lacking, None)
    ran = command("audit", station, "--operator", "Linden", "--json")
    (page,) = json.loads(ran.out)["files"]
    assert (ran.code, page.rpartition(".")[2]) == (0, "html")
    text = (station / page).read_text(encoding="utf-8")
    assert ("<svg" in text) is (lacking != "vl_convert")
    assert f"note: {lost}" in ran.err
    assert "pip install '.[paper]'" in ran.err


def test_her_failed_queens_are_listed_with_what_colleagues_had(command, station):
    told = json.loads(command("audit", station, "--operator", "Birch", "--json").out)
    failed = told["sheet"]["failed"]
    with Store(station / "build/latest/station.duckdb", read_only=True) as store:
        counted = store.records(COUNTED_AGAIN)
    assert {row["course_id"] for row in failed} == {row["course_id"] for row in counted}
    again = {row["course_id"]: row for row in counted}
    for row in failed:
        other = again[row["course_id"]]
        assert row["of_day"] == (other["of_day"] or "")
        assert row["of_load"] == (other["of_load"] or "")
        assert row["attempts"] == other["attempts"]
    days = [row["d0"] for row in failed]
    assert days == sorted(days, reverse=True)


def test_tips_add_up_to_all_her_courses(command, station):
    told = json.loads(command("audit", station, "--operator", "Hazel", "--json").out)
    (own,) = [row for row in told["operators"] if row["operator"] == "Hazel"]
    tips = [row for row in told["sheet"]["tools"] if row["tool"] == "Tip"]
    assert sum(row["courses"] for row in tips) == own["courses"]
    assert sum(row["failures"] for row in tips) == own["failures"]


def test_a_signal_is_set_between_before_and_since(command, station):
    told = json.loads(command("audit", station, "--operator", "Birch", "--json").out)
    (part,) = told["sheet"]["around"]
    before, since, known = part["rows"]
    assert before["failures"] > float(before["expected"])
    assert known["courses"] <= since["courses"]


def test_a_period_does_not_take_the_place_of_the_whole(command, station):
    words = ("audit", station, "--operator", "Hazel", "--json")
    whole = json.loads(command(*words).out)["files"]
    part = json.loads(command(*words, "--from", "2026-05-01").out)["files"]
    assert not set(whole) & set(part)
    assert all("from-2026-05-01" in name for name in part)


def test_the_same_build_gives_the_same_files(command, station):
    def files():
        told = json.loads(
            command("audit", station, "--operator", "Rowan", "--json").out
        )
        return [(station / path).read_bytes() for path in told["files"]]

    assert files() == files()


def test_a_period_has_its_own_expected_failures(command, station):
    words = ("--from", "2026-01-01", "--to", "2026-05-31", "--json")
    some = json.loads(command("audit", station, *words).out)["operators"]
    whole = json.loads(command("audit", station, "--json").out)["operators"]
    assert sum(r["courses"] for r in some) < sum(r["courses"] for r in whole)
    expected = sum(row["expected"] for row in some)
    assert expected == pytest.approx(sum(r["filled_in"] for r in some), abs=0.6)


def test_pseudonyms_leave_no_name(command, station):
    ran = command("audit", station, "--operator", "Birch", "--pseudonyms")
    assert ran.code == 0
    names = ("Alder", "Birch", "Hazel", "Linden", "Rowan", "Willow")
    assert not any(name in ran.out for name in names)
    assert "P-" in ran.out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--operator", "Lindn"), "did you mean Linden?"),
        (("--outcome", "layng"), 'did you mean "laying"?'),
        (("--days", "22"), "laying by day 21"),
        (("--from", "2026-06-01", "--to", "2026-05-01"), "ends before it begins"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_words(command, station, words, told):
    ran = command("audit", station, *words)
    assert (ran.code, ran.out) == (2, "")
    assert told in ran.err


def test_a_period_without_courses_ends_with_4(command, station):
    ran = command("audit", station, "--from", "2027-01-01")
    assert ran.code == 4
    assert "there is nothing to audit" in ran.err
