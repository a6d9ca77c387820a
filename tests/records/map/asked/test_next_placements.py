"""Nuclei used again in a season, and looks that name the nucleus alone."""

import datetime as dt

import pytest
from mapped_stations import run
from reading import accepted

ASKED = "next_placement:*:placements:colony_id"
PLACED = {"column:bench.csv:placements:placed_on": "yes"}


@pytest.fixture
def station(tmp_path):
    """Eight queens, of whom the last four go into the nuclei of the first four."""
    (tmp_path / "records").mkdir()
    rows = "".join(f"K{n},2025-0{5 + (n > 4)}-{10 + n},8,N{(n - 1) % 4 + 1}\n" for n in range(1, 9))
    (tmp_path / "records" / "bench.csv").write_text(f"Queen,Inseminated,Dose,Nuc\n{rows}", "utf-8")
    looks = "".join(f"2025-0{month}-28,N{n},eggs\n" for month in (5, 6) for n in range(1, 5))
    (tmp_path / "records" / "yard.csv").write_text(f"Date,Nuc,Seen\n{looks}", "utf-8")
    return tmp_path


def test_whether_the_queen_before_has_left_is_asked_and_written(station):
    begun, settings = run(station, PLACED)
    assert [(q.id, q.default) for q in begun.open] == [(ASKED, None)]
    assert "N1: K1, K5" in begun.open[0].evidence[0]
    assert "next_placement" not in settings["records"]
    _, settings = run(station, {ASKED: "yes"})  # in a later run
    assert settings["records"]["next_placement"] == "ends"
    assert len(accepted(station, dt.date(2025, 12, 31))["checks"]) == 8
    begun, _ = run(station)
    assert not begun.asked


def test_no_leaves_looks_at_two_queens_unread(station):
    _, settings = run(station, PLACED | {ASKED: "no"})
    assert "next_placement" not in settings["records"]
    assert len(accepted(station, dt.date(2025, 12, 31))["checks"]) == 4


def test_it_is_not_asked_where_each_queen_has_a_nucleus_of_her_own(station):
    path = station / "records" / "bench.csv"
    text = path.read_text("utf-8")
    for n in range(5, 9):
        text = text.replace(f"-{10 + n},8,N{n - 4}", f"-{10 + n},8,N{n}")
    path.write_text(text, "utf-8")
    begun, _ = run(station, PLACED)
    assert ASKED not in {question.id for question in begun.asked}


def test_it_is_not_asked_where_looks_name_the_queen(station):
    path = station / "records" / "yard.csv"
    path.write_text(path.read_text("utf-8").replace("Nuc", "Queen").replace("N", "K"), "utf-8")
    begun, _ = run(station)
    assert ASKED not in {question.id for question in begun.asked}
